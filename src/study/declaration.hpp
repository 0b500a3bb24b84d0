#pragma once
// Start here for declarations: what was asked of a study before its numbers were known. `backeddy declare`
// adds a row to declarations.csv with the moment, the question's form and the settings of the analysis as
// hashes, how many fish had been met and whether results lay there; here that becomes the words of the
// report.
//
//   const auto state = declared_state({question, settings_sha256(brief)}, tables.declarations,
//                                     first_met(tables));
//   state.declared;   // Declared::before_any_fish
//   state.text;       // "declared 1 May 2026, 09:12 UTC, by A. Keen, before the first fish"

#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "series/instant.hpp"
#include "study/brief.hpp"
#include "study/nouns.hpp"
#include "study/question.hpp"

namespace backeddy::study {

/// What was declared of a question, and when.
enum class Declared : std::uint8_t {
    never,           ///< exploratory
    before_any_fish, ///< before the first fish was met
    before_results,  ///< fish had been met; nothing had been computed yet
    after_results,   ///< results lay in the folder already
    changed_since,   ///< declared, and it or the settings changed after that
};

/// What declarations.csv holds of a question's form: SHA-256 of Question::declared_form().
[[nodiscard]] std::string form_sha256(const Question& question);

/// The same of the settings on which answers rest: SHA-256 of analysis_form().
[[nodiscard]] std::string settings_sha256(const Brief& brief);

/// A question as it would be declared now.
struct Declarable {
    const Question& question;
    std::string settings_sha256;
};

/// The earliest row that declares the question in its present form under its present settings; nullptr when
/// there is none.
[[nodiscard]] const Declaration* declaration_of(const Declarable& now, std::span<const Declaration> rows);

struct DeclaredState {
    Declared declared = Declared::never;
    std::string text; ///< a half-sentence: "never declared: exploratory"
};

/// By the earliest row of the question's present form whose settings are the present ones or were not
/// recorded, which is told. `first_met`: when the first fish was met, where the tables say it; fish met
/// before they were typed in make no declaration come before them. Other forms and other settings that were
/// declared under the same name are told.
[[nodiscard]] DeclaredState declared_state(const Declarable& now, std::span<const Declaration> rows,
                                           std::optional<Instant> first_met = std::nullopt);

/// The earliest time of an encounter or of a stay with a fish.
[[nodiscard]] std::optional<Instant> first_met(const Tables& tables);

} // namespace backeddy::study
