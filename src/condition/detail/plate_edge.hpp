#pragma once
// Whether the outer wells of a plate read otherwise than the inner ones.

#include <vector>

#include "condition/detail/plate_groups.hpp"
#include "condition/plate.hpp"

namespace backeddy::condition::detail {

/// `variance`: of the responses. See EdgeEffect.
[[nodiscard]] EdgeEffect edge_effect(const std::vector<const Group*>& groups,
                                     const ResponseVariance& variance, const PlateSettings& settings);

} // namespace backeddy::condition::detail
