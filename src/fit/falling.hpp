#pragma once
// A curve that never rises, through values in order.

#include <span>
#include <vector>

namespace backeddy::fit {

/// The never-rising sequence with the least sum of absolute deviations from `values`, one for each of them:
/// neighbours that rise are pooled, and a pool stands at its median, so that a burst lifts no more than its
/// own few values (pool adjacent violators; for medians Robertson and Waltman 1968, Ann Math Stat 39:1030,
/// from memory). A pool of an even number stands at the mean of its middle two. Values must be finite; none
/// give none. Time grows with the square of their number at worst.
[[nodiscard]] std::vector<double> falling_medians(std::span<const double> values);

} // namespace backeddy::fit
