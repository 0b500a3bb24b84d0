#include "report/detail/condition_parts.hpp"

#include <algorithm>

namespace backeddy::report::detail {

ValueOfDraw first_after_event(const Fish& fish, std::string_view analyte, std::string_view matrix) {
    const bool is_hooked = std::ranges::find(fish.events, "hook_up", &Event::word) != fish.events.end();
    for (const BloodDraw& draw : fish.condition.draws) {
        if (is_hooked && !draw.since_hook_up_min.has_value()) {
            continue;
        }
        const auto found = std::ranges::find_if(draw.values, [&](const BloodValue& value) {
            return value.analyte == analyte && value.matrix == matrix;
        });
        if (found != draw.values.end()) {
            return {.draw = &draw, .value = &*found};
        }
    }
    return {};
}

bool is_told_of(const FishCondition& condition) {
    return !condition.draws.empty() || !condition.fins.empty() || !condition.body.empty() ||
           !condition.reflexes.empty() || !condition.handling.empty() || condition.fate ||
           !condition.reminders.empty() || !condition.doubts.empty();
}

std::vector<const PlateWell*> blanks_that_count(const AssayPlate& plate) {
    std::vector<const PlateWell*> all;
    for (const PlateWell& well : plate.wells) {
        if (well.kind == "blank" && well.response && well.excluded.empty()) {
            all.push_back(&well);
        }
    }
    return all;
}

} // namespace backeddy::report::detail
