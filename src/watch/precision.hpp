#pragma once
// How long a sealed spell has to be, reckoned before it starts.
//
// The error of a least-squares slope over a window of length T falls as T^-1.5 once T is beyond the noise's
// memory. With readings dt apart, white noise s_w and autoregressive noise s_c of time constant tau, and a =
// T/2:
//
//   var(slope) = s_w^2 dt / X + s_c^2 I / X^2,    X = 2 a^3 / 3,
//   I = 4 tau a^3 / 3 - 2 tau^2 (a + tau) [(a - tau) + (a + tau) e^(-2a/tau)]
//
// (sums as integrals; I is the double integral of x y e^(-|x - y|/tau) over the window). A spell is never
// ended because its own running slope looks good: that picks out spells whose noise flattered them, and
// biases the slope.

#include <optional>

#include "watch/plan.hpp"

namespace backeddy::watch {

/// Standard error of the slope, mg/L per s, of readings over `length_s` > 0. A display step adds rounding as
/// white noise, step / sqrt(12). Within 2 % of fit::modelled_slope from 30 readings on.
[[nodiscard]] double slope_error(const ChamberPlan& chamber, double length_s);

/// What is known before a spell starts.
struct Prospect {
    double level_mg_per_l = 0.0; ///< oxygen at the start
    double floor_mg_per_l = 0.0;
    std::optional<double> fall_mg_per_l_s; ///< > 0; expected of this fish from its spells before
};

/// Seconds of the next spell, settle included: the timetable's, or as long as the wanted error needs, between
/// the shortest and the longest, and no longer than oxygen is likely to last (a fall of 1.3 times the
/// expected one reaches the floor at its end; at least settle and 60 s). Without an expected fall the
/// timetable's length.
[[nodiscard]] double next_sealed_s(const CycleSettings& cycle, const ChamberPlan& chamber,
                                   const Prospect& prospect);

} // namespace backeddy::watch
