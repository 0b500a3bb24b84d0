#pragma once
// Which of a fish's values and a plate's wells the tables and the page speak of.

#include <string_view>
#include <vector>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// The draw that is the first after the event; nothing where there is none. It lives in the fish.
[[nodiscard]] const BloodDraw* first_after_event(const FishCondition& condition);
/// The first of the analyte in that matrix: where a draw has several, this one counts.
[[nodiscard]] const BloodValue* value_of(const BloodDraw& draw, std::string_view analyte,
                                         std::string_view matrix);

/// Some sheet tells of this fish.
[[nodiscard]] bool is_told_of(const FishCondition& condition);

/// Blank wells with a response and without an exclusion.
[[nodiscard]] std::vector<const PlateWell*> blanks_that_count(const AssayPlate& plate);

} // namespace backeddy::report::detail
