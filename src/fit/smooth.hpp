#pragma once
// A rate of change that varies smoothly, drawn out of noisy readings of the level by a slow sensor: the
// state-space way, which gives the rate at every reading and a band about it.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "fit/noise.hpp"

namespace backeddy::fit {

/// How the rate is thought to wander.
enum class RateWalk : std::uint8_t {
    /// The rate is a random walk: the level's estimate is the cubic smoothing spline (Wahba 1978, J R Stat
    /// Soc B 40:364).
    walk,
    /// The rate's own slope is a random walk: smoother rates, the default.
    integrated,
};

struct SmoothOptions {
    RateWalk walk = RateWalk::integrated;
    double sensor_lag =
        0.0; ///< tau of a first-order sensor, tau dy/dt = level - y; 0: readings are of the level itself
    /// Intensity of the walk (variance of its steps per unit of time); nothing: maximum likelihood, between a
    /// rate as good as straight and one that follows every reading.
    std::optional<double> intensity;
    /// The rate at the first reading and the level there are unknown, the sensor is taken to be in balance
    /// with the level give or take this (unit of the readings); nothing: unknown as well.
    std::optional<double> first_imbalance;
};

struct SmoothRate {
    std::vector<double> rate;    ///< d level / dt at each time; negative where the level falls
    std::vector<double> rate_se; ///< under noise and walk as given or estimated (their own error not counted)
    std::vector<double> level;   ///< of the water, not of the sensor
    std::vector<double> level_se;
    double intensity = 0.0;
    double log_likelihood = 0.0; ///< of the readings after those that fix the start
    bool is_at_limit = false;    ///< the estimated intensity is at an end of its range
};

/// Kalman filter and fixed-interval smoother (de Jong 1989, J Am Stat Assoc 84:1085) of level, rate (and its
/// slope), sensor, and the autoregressive part of the noise, with exact transitions over any interval (Van
/// Loan 1978, IEEE Trans Autom Control 23:395). Times strictly ascending; a reading that is NaN is bridged,
/// its rate given all the same. The noise must have a white part; without one a thousandth of the coloured
/// one stands in. Fails with too_few (under five readings), out_of_range (times not ascending, negative lag
/// or intensity), degenerate (no noise).
[[nodiscard]] Expected<SmoothRate> smooth_rate(const NoiseModel& noise, std::span<const double> times,
                                               std::span<const double> readings,
                                               const SmoothOptions& options = {});

} // namespace backeddy::fit
