#pragma once
// Which of a fish's values and a plate's wells the tables and the page speak of.

#include <string_view>
#include <vector>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// Nothing where there is none; both live in the fish.
struct ValueOfDraw {
    const BloodDraw* draw = nullptr;
    const BloodValue* value = nullptr;
};
/// The first value of the analyte, of that matrix, from a draw after a hook-up; of a fish with no hook-up
/// among its events (a control that was not angled) from its first draw.
[[nodiscard]] ValueOfDraw first_after_event(const Fish& fish, std::string_view analyte,
                                            std::string_view matrix);

/// Some sheet tells of this fish.
[[nodiscard]] bool is_told_of(const FishCondition& condition);

/// Blank wells with a response and without an exclusion.
[[nodiscard]] std::vector<const PlateWell*> blanks_that_count(const AssayPlate& plate);

} // namespace backeddy::report::detail
