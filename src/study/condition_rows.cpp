#include "study/condition_rows.hpp"

#include <algorithm>

namespace backeddy::study {

const SampleRow* ConditionSheets::find(const SampleId& id) const {
    const auto found = std::ranges::find(samples, id, &SampleRow::id);
    return found == samples.end() ? nullptr : &*found;
}

const PlateRow* ConditionSheets::find(const PlateId& id) const {
    const auto found = std::ranges::find(plates, id, &PlateRow::id);
    return found == plates.end() ? nullptr : &*found;
}

} // namespace backeddy::study
