#pragma once
// What a plate can tell from nothing.

#include <vector>

#include "condition/detail/plate_groups.hpp"
#include "condition/detail/plate_materials.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition::detail {

/// `standards` by concentration, the zero wells, if any, first.
[[nodiscard]] DetectionLimits detection_limits(const std::vector<StandardLevel>& standards,
                                               const Reading& reading);

} // namespace backeddy::condition::detail
