#pragma once
// An interval, and the p-values of a test with two sides.

namespace backeddy::stats {

/// From lower to upper, both of them in it; either may be infinite where a method has no bound there.
struct Interval {
    double lower = 0.0;
    double upper = 0.0;

    [[nodiscard]] bool holds(double value) const { return lower <= value && value <= upper; }
};

/// Of the same observation: against no effect either way, and against none upward or downward.
struct Tails {
    double two_sided = 1.0;
    double greater = 1.0; ///< small when the statistic is larger than without an effect
    double less = 1.0;
};

} // namespace backeddy::stats
