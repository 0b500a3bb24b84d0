#pragma once
// Least squares on several columns, and two straight lines that meet.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

enum class Intercept : std::uint8_t { fitted, none };

struct RegressionOptions {
    Intercept intercept = Intercept::fitted;
    /// One per value, proportional to 1 / variance, > 0; empty: all alike.
    std::span<const double> weights;
};

struct Regression {
    std::vector<double> coefficients; ///< the intercept first, if fitted, then one per column
    std::vector<double> se;
    std::vector<double> covariance; ///< row by row
    std::size_t n = 0;
    std::size_t freedom = 0; ///< values less coefficients
    double residual_squares = 0.0;
    double residual_sd = 0.0;      ///< 0 when freedom is 0
    double r_squared = 0.0;        ///< about the (weighted) mean with an intercept, about zero without
    std::vector<double> residuals; ///< not weighted

    [[nodiscard]] double covariance_of(std::size_t i, std::size_t j) const {
        return covariance[(i * coefficients.size()) + j];
    }
};

/// Ordinary or weighted least squares of y on the columns by Householder QR with column pivoting, columns
/// scaled to one length and refined once, in extended precision where the machine has it (x86-64): ten
/// digits on ordinary data, six on the tenth-degree polynomial of NIST's Filip. Fails with too_few
/// (fewer values than coefficients), out_of_range (unequal lengths, not finite, weights not above 0) or
/// degenerate (columns that depend on each other, to 1e-15 of their lengths).
[[nodiscard]] Expected<Regression> fit_regression(std::span<const double> y,
                                                  std::span<const std::span<const double>> columns,
                                                  const RegressionOptions& options = {});

/// Two lines that meet at break_x: y = intercept_left + slope_left x up to it, slope_left + slope_change
/// beyond.
struct BrokenStick {
    double break_x = 0.0;
    double break_y = 0.0;
    double intercept_left = 0.0;
    double slope_left = 0.0;
    double intercept_right = 0.0;
    double slope_right = 0.0;
    double break_se = 0.0; ///< Gauss-Newton, all four parameters free (Bates and Watts 1988, eq. 2.14)
    double slope_left_se = 0.0;
    double slope_change_se = 0.0;
    double residual_squares = 0.0;
    double residual_sd = 0.0; ///< n - 4
    double one_line_residual_squares = 0.0;
};

/// Least squares over the break in every gap between neighbouring x, at least two different x on either side;
/// in each gap the sum of squares is minimised to the digits there are. Values in any order. Fails with
/// too_few (under five values or four different x), out_of_range (not finite, unequal lengths) or degenerate.
[[nodiscard]] Expected<BrokenStick> fit_broken_stick(std::span<const double> x, std::span<const double> y);

} // namespace backeddy::fit
