#pragma once
// What a sensor's noise does to a slope. Real sensors are slow: their noise is white (electronics, rounding)
// plus a part that remembers itself, here first-order autoregressive with correlation exp(-dt /
// correlation_time) over any interval dt, so that irregular spacing needs nothing special. Estimate it once
// per sensor from blanks and long spells; then every slope of that sensor has an error that means something.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "fit/line.hpp"

namespace backeddy::fit {

/// Independent noise plus autoregressive noise. Standard deviations in the unit of the readings, >= 0; the
/// correlation time in the unit of the times, > 0 wherever coloured_sd > 0.
struct NoiseModel {
    double white_sd = 0.0;
    double coloured_sd = 0.0; ///< standing (marginal) standard deviation of the autoregressive part
    double correlation_time = 0.0;

    [[nodiscard]] double variance() const { return (white_sd * white_sd) + (coloured_sd * coloured_sd); }
    [[nodiscard]] bool is_coloured() const { return coloured_sd > 0.0 && correlation_time > 0.0; }
    friend bool operator==(const NoiseModel&, const NoiseModel&) = default;
};

/// The autoregressive model whose correlation between readings `interval` apart is phi, 0 < phi < 1.
[[nodiscard]] NoiseModel autoregressive(double sd, double phi, double interval);

/// Variance of the sum of weights_i * reading_i under the noise: c' Sigma c, in one pass. Times ascending, in
/// the unit of the correlation time.
[[nodiscard]] double variance_of_sum(const NoiseModel& noise, std::span<const double> times,
                                     std::span<const double> weights);
/// Covariance of two such sums.
[[nodiscard]] double covariance_of_sums(const NoiseModel& noise, std::span<const double> times,
                                        std::span<const double> weights, std::span<const double> others);

/// The error of the ordinary least-squares slope when the noise is as modelled.
struct ModelledSlope {
    double slope_se = 0.0;
    /// Readings that would give the same error if the noise had its variance but no memory: n * (slope
    /// variance independent / slope variance as modelled). About n (1 - phi)/(1 + phi) for pure
    /// autoregressive noise in a long window; close to n for white noise.
    double effective_n = 0.0;
};

/// Error of the slope of readings on their times. Fails as fit_line (too_few, degenerate, out_of_range);
/// times must ascend.
[[nodiscard]] Expected<ModelledSlope> modelled_slope(const NoiseModel& noise, std::span<const double> times);
/// The same where the regressor x is not time itself (lagged_times).
[[nodiscard]] Expected<ModelledSlope> modelled_slope(const NoiseModel& noise, std::span<const double> times,
                                                     std::span<const double> x);

/// Curvature with its errors under the noise; the estimates are those of curvature() in line.hpp.
[[nodiscard]] Expected<Curvature> modelled_curvature(const NoiseModel& noise, const Line& line,
                                                     std::span<const double> x, std::span<const double> y,
                                                     std::span<const double> times);

/// Generalised least squares: the line weighted as the noise deserves. Least error of all unbiased lines if
/// the model is true; for slow noise the gain over the ordinary slope is a few per cent, so the ordinary
/// slope with modelled_slope() is the default elsewhere.
struct WeightedLine {
    double x_mean = 0.0;
    double level = 0.0; ///< of the line at x_mean
    double level_se = 0.0;
    double slope = 0.0;
    double slope_se = 0.0; ///< the model's noise taken at its word
    /// Sum of squared one-step errors, each over its variance; about n - 2 when the model's size is right.
    double chi_squared = 0.0;
    double log_likelihood = 0.0;            ///< at the estimates (maximum likelihood)
    double restricted_log_likelihood = 0.0; ///< with line integrated out (Patterson and Thompson 1971)
};

/// y on x under the noise, readings at `times` ascending. Fails as fit_line, and degenerate when the noise
/// has no variance.
[[nodiscard]] Expected<WeightedLine> weighted_line(const NoiseModel& noise, std::span<const double> times,
                                                   std::span<const double> x, std::span<const double> y);

/// The regressor of a steady fall seen by a first-order sensor of lag `tau` (> 0) that was in equilibrium
/// when the fall began at `began`: t + tau exp(-(t - began)/tau). Solves tau dy/dt = x - y with x = x0 + b (t
/// - began), y(began) = x0: y = x0 - b tau + b (t - began) + b tau exp(-(t - began)/tau). A line through
/// readings on these "times" has the true slope b, transient and all.
[[nodiscard]] std::vector<double> lagged_times(std::span<const double> times, double began, double tau);

/// One stretch of one sensor's readings: a blank or a long spell, times ascending, no missing values, no gap
/// that a flush made.
struct NoiseSeries {
    std::span<const double> times;
    std::span<const double> values;
};

/// What is taken out of each series before what is left counts as noise.
enum class Trend : std::uint8_t {
    level,    ///< its mean
    straight, ///< a straight line
    bend,     ///< a second-degree curve: for spells whose uptake may change
};

struct NoiseOptions {
    Trend trend = Trend::bend;
    /// Smallest step of the sensor's output; white_sd is at least step / sqrt(12) (uniform rounding error).
    double reading_step = 0.0;
    /// Colour is believed when it raises the restricted log-likelihood by more than this: 3.0 is half of the
    /// 95 % point of chi-squared with two degrees of freedom. [choice]
    double colour_gain = 3.0;
    /// Series are used in turn, evenly over those given, until this many readings: cost grows with them,
    /// precision hardly. [choice]
    std::size_t most_readings = 40000;
};

struct NoiseEstimate {
    NoiseModel model;
    std::size_t readings = 0;
    std::size_t series = 0;
    /// By how much colour raised the restricted log-likelihood.
    double colour_gain = 0.0;
    /// The correlation time reached the longest it may be (half of the longest series): noise and drift
    /// cannot be told apart in these series.
    bool is_slow_as_series = false;
};

/// Pooled restricted maximum likelihood over all series: each has its own trend, integrated out exactly, so
/// that what detrending takes with it is accounted for; the noise is common. Likelihood by a Kalman filter of
/// the autoregressive state, one pass a trial (Harvey 1989, Forecasting, structural time series models and
/// the Kalman filter, ch. 3; Ansley and Kohn 1985, Ann Stat 13:1286 for the trend by filtering its columns).
/// Series of fewer than three readings more than the trend's terms are passed over. Fails with too_few (under
/// 20 readings beyond those the trends use), out_of_range (not finite, times not ascending), degenerate
/// (readings do not vary and no reading_step).
[[nodiscard]] Expected<NoiseEstimate> estimate_noise(std::span<const NoiseSeries> series,
                                                     const NoiseOptions& options = {});

/// The smallest step of a digital reading: the greatest step of which all differences between neighbours are
/// whole multiples (within a hundredth), among the smallest difference seen; 0 when readings follow no such
/// step.
[[nodiscard]] double reading_step(std::span<const double> values);

} // namespace backeddy::fit
