#pragma once
// An interval, the p-values of a test with two sides, and what rank tests share.

#include <cstdint>

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

/// Whether half a step is taken off a whole-numbered statistic before the normal distribution is asked.
enum class Continuity : std::uint8_t { corrected, none };

/// By how much one side is moved against the other, with an interval from ordered differences: its level can
/// only be one of a few.
struct ShiftEstimate {
    double value = 0.0;
    Interval interval;
    double level_reached = 0.0; ///< at least what was asked, unless even the widest interval falls short
    bool is_exact = false;      ///< the level by the exact distribution, or by the normal
};

} // namespace backeddy::stats
