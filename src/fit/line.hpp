#pragma once
// Start here: straight lines through readings, with errors that can be believed.
//
//   const auto line = fit::fit_line(time_s, oxygen);     // least squares; a value or an Error
//   line->slope;  line->slope_se;                        // error as if readings were independent
//   fit::modelled_slope(noise, time_s)->slope_se;        // error under the sensor's noise (noise.hpp)
//
// This folder is plain numerics: spans of doubles in, aggregates out; no units, no files, no clock.
//
//   noise.hpp       what a sensor's noise does to a slope: white + autoregressive, pooled over series
//   windows.hpp     a line in every sliding window of a given length; the steepest
//   selection.hpp   by how much the steepest of many windows flatters itself
//   quantile.hpp, lowest.hpp, mixture.hpp     low ends of samples
//   bootstrap.hpp   their intervals, when neighbouring values resemble each other
//   nonlinear.hpp, decay.hpp, regression.hpp  curves, decays in phases, many columns, a broken stick
//   area.hpp        areas under points
//   smooth.hpp      a rate drawn out of noisy readings of its level
//
// tests/fit/line_test.cpp is a small example, the coverage test in tests/fit/noise_test.cpp a full one.

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

/// A straight line y = level + slope (x - x_mean) and how well it sits. Both anchors lie inside the data, so
/// that neither is an extrapolation.
struct Line {
    std::size_t n = 0;
    double x_mean = 0.0;
    double level = 0.0; ///< of the line at x_mean: the mean of y
    double slope = 0.0;
    double slope_se = 0.0;    ///< ordinary: residual_sd / sqrt(x_squares); 0 when n = 2
    double residual_sd = 0.0; ///< sqrt(residual_squares / (n - 2)); 0 when n = 2
    double r_squared = 0.0;   ///< share of the variation about the mean; 0 when y does not vary
    double x_squares = 0.0;   ///< sum of (x - x_mean)^2
    double residual_squares = 0.0;
    double x_least = 0.0;
    double x_greatest = 0.0;

    [[nodiscard]] double at(double x) const { return level + (slope * (x - x_mean)); }
};

/// Least squares of y on x, same lengths, any order. Sums are centred and compensated: within 1e-12 of
/// sd(y)/sd(x) of the exact slope for x and y as given. Two passes. Fails with too_few (under two readings),
/// out_of_range (a value is not finite, unequal lengths) or degenerate (all x equal).
[[nodiscard]] Expected<Line> fit_line(std::span<const double> x, std::span<const double> y);

/// y - line.at(x), in the order given. Lengths must be equal.
[[nodiscard]] std::vector<double> residuals(const Line& line, std::span<const double> x,
                                            std::span<const double> y);

/// The usual automatic lag for n readings: floor(4 (n/100)^(2/9)) (Newey and West 1994, Rev Econ Stud 61:631,
/// rule of thumb for the Bartlett kernel).
[[nodiscard]] std::size_t newey_west_lag(std::size_t n);

/// Standard error of the line's slope that allows for correlation of neighbouring residuals up to `lag`
/// readings (nothing: newey_west_lag(n)): Bartlett weights 1 - l/(lag + 1), no prewhitening, no small-sample
/// factor (Newey and West 1987, Econometrica 55:703, eq. 5). Readings in time order. Covers too little when
/// the noise's correlation is long beside `lag`; for comparison only.
[[nodiscard]] double newey_west_slope_se(const Line& line, std::span<const double> x,
                                         std::span<const double> y,
                                         std::optional<std::size_t> lag = std::nullopt);

/// How much the slope changes along the window: from y = a + b (x - x_mean) + q p(x), where p is the square
/// of x made orthogonal to the line. Errors are ordinary (residual variance of the bent fit, n - 3); those
/// under a noise model are in noise.hpp.
struct Curvature {
    double bend = 0.0; ///< q, per x squared
    double bend_se = 0.0;
    double change = 0.0; ///< slope at x_greatest less slope at x_least: 2 q (x_greatest - x_least)
    double change_se = 0.0;
    double share = 0.0;    ///< change / slope; 0 with infinite error when the slope is 0
    double share_se = 0.0; ///< first order in both (JCGM 100:2008, 5.1.2)
};

/// Fails with too_few (under four readings) or degenerate (fewer than three distinct x).
[[nodiscard]] Expected<Curvature> curvature(const Line& line, std::span<const double> x,
                                            std::span<const double> y);

/// Weights c such that the sum of c_i y_i is the least-squares slope: (x - x_mean) / x_squares.
[[nodiscard]] std::vector<double> slope_weights(const Line& line, std::span<const double> x);
/// Weights such that the sum of c_i y_i is Curvature::bend; empty when there are fewer than three distinct x.
[[nodiscard]] std::vector<double> bend_weights(const Line& line, std::span<const double> x);

} // namespace backeddy::fit
