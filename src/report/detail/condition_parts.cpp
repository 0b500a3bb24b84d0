#include "report/detail/condition_parts.hpp"

#include <algorithm>

namespace backeddy::report::detail {

const BloodDraw* first_after_event(const FishCondition& condition) {
    const auto found = std::ranges::find_if(condition.draws, &BloodDraw::is_first_after_event);
    return found != condition.draws.end() ? &*found : nullptr;
}

const BloodValue* value_of(const BloodDraw& draw, std::string_view analyte, std::string_view matrix) {
    const auto found = std::ranges::find_if(draw.values, [&](const BloodValue& value) {
        return value.analyte == analyte && value.matrix == matrix;
    });
    return found != draw.values.end() ? &*found : nullptr;
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
