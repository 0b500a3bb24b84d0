#pragma once
// The part "The catch, rig by rig" of the report page.

#include <string>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// Steps with shares, rates and ratios, losses and landed species of each rig, and what was not written down.
[[nodiscard]] std::string catch_part(const Fishing& fishing);

} // namespace backeddy::report::detail
