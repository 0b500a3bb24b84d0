#pragma once
// The columns that a question can name beside those of fish.csv and encounters.csv: what a run itself makes
// of a study's fish, spells and lines. `check` knows their names from this list, docs/study-folder.md prints
// it, and `app` fills them.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy::study {

/// When a column became known, seen from the treatment (design roles). Those of [columns] are all but the
/// first.
enum class Stage : std::uint8_t { unknown, assigned, before, during, after };

struct ObservedDefinition {
    std::string name;  ///< as a question writes it: "peak_after_capture"
    std::string title; ///< for sentences: "peak after capture"
    std::string unit;  ///< "mg/kg/h"; empty for words and pure numbers
    Stage stage = Stage::unknown;
    std::string what; ///< one sentence, for people
};

[[nodiscard]] const std::vector<ObservedDefinition>& observed_columns();
/// Nullptr when there is none of that name.
[[nodiscard]] const ObservedDefinition* find_observed(std::string_view name);

} // namespace backeddy::study
