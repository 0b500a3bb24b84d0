#pragma once
// Which of a fish's weighings holds for a stay: fish.csv has one mass without a date, and events.csv may have
// more, each an event "weighed" with a value in g or kg.

#include <optional>
#include <string_view>

#include "study/nouns.hpp"

namespace backeddy::study {

// NOLINTNEXTLINE(cppcoreguidelines-pro-type-member-init): a mass has no default, so this has none either
struct MassAt {
    Mass mass;
    std::optional<Mass> uncertainty; ///< that of fish.csv; a balance is no better on another day
    const Event* weighed = nullptr;  ///< nothing: the mass of fish.csv
};

/// "g" or "kg" (in any case): nothing for another unit, nothing for a mass that is not above 0.
[[nodiscard]] std::optional<Mass> mass_from(double value, std::string_view unit);

/// Whether a row is a weighing of this fish with its result. A weighing may name the stay instead of the
/// fish.
[[nodiscard]] bool is_weighing_of(const Fish& fish, const Event& event, const Tables& tables);

/// The last weighing of events.csv up to the end of the stay; where there is none, the mass of fish.csv;
/// where that is empty, the first weighing after the stay. Nothing: the fish was never weighed. `weighed`
/// points into the tables.
[[nodiscard]] std::optional<MassAt> mass_for(const Fish& fish, const Stay& stay, const Tables& tables);

/// The same up to a moment, instead of the end of a stay.
[[nodiscard]] std::optional<MassAt> mass_by(const Fish& fish, Instant moment, const Tables& tables);

} // namespace backeddy::study
