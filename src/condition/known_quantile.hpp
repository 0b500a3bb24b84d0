#pragma once
// Medians and quartiles of values of which some are only known to lie below or above a limit.
//
//   const auto where = known_quantile({{0.0, 5.0}, {0.0, 5.0}, {0.0, 5.0}, {1.6, 1.6}}, 0.5);
//   where->lower;   // 0: whatever the truth, the median is 0 at least
//   where->upper;   // 5: and 5 at most

#include <span>

#include "base/error.hpp"
#include "stats/interval.hpp"

namespace backeddy::condition {

/// Where the quantile of a share `p` (above 0, below 1) of the true values lies, whatever each of them is
/// within its interval: [a, a] is a value, [0, limit] and [limit, infinite) one known by a limit alone. The
/// k-th smallest of them is between the k-th smallest lower and the k-th smallest upper bound, and can be
/// either. k is n p rounded up; where n p is whole, half way between that one and the next (so the median of
/// an even number). A number only where both ends agree. Nothing is assumed of how values are spread. Fails
/// with too_few (no value) or out_of_range (`p`; an interval upside down, or not a number).
[[nodiscard]] Expected<stats::Interval> known_quantile(std::span<const stats::Interval> values, double p);

} // namespace backeddy::condition
