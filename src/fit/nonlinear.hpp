#pragma once
// Least squares of curves that are not straight in their parameters.

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

/// Writes the weighted residuals, (observed - curve) * sqrt(weight), at the given parameters. May write NaN
/// where the curve has no value there; the step that led there is then shortened.
using Residuals = std::function<void(std::span<const double> parameters, std::span<double> residuals)>;
/// Writes their derivatives: row i, column j at jacobian[i + j * residuals].
using Jacobian = std::function<void(std::span<const double> parameters, std::span<double> jacobian)>;

struct NonlinearProblem {
    std::size_t residuals = 0; ///< how many; more than there are parameters
    std::vector<double> start;
    Residuals write_residuals;
    Jacobian write_jacobian; ///< empty: central differences, good to about eight digits
    /// Bounds, each empty or one per parameter; a step is cut back to them. A parameter that ends on a bound
    /// has no error.
    std::vector<double> lower;
    std::vector<double> upper;
};

struct NonlinearOptions {
    std::size_t most_iterations = 2000;
    /// Done when the residuals' angle to the curve's surface is flatter than this (orthogonality;
    /// scale-free), or when steps fall below the same share of the parameters.
    double tolerance = 1e-11;
};

struct NonlinearFit {
    std::vector<double> parameters;
    std::vector<double> se; ///< square roots of the covariance's diagonal
    std::vector<double>
        covariance; ///< row by row: residual variance times (J'J)^-1; zero rows for parameters on a bound
    std::vector<bool> is_on_bound;
    double residual_squares = 0.0; ///< weighted
    double residual_sd = 0.0;      ///< sqrt(residual_squares / freedom)
    std::size_t freedom = 0;       ///< residuals less parameters (those on a bound count too)
    std::size_t iterations = 0;

    [[nodiscard]] double covariance_of(std::size_t i, std::size_t j) const {
        return covariance[(i * parameters.size()) + j];
    }
};

/// Levenberg-Marquardt with More's scaling (More 1978, Lecture Notes in Mathematics 630:105), steps by QR of
/// the Jacobian beside the damping so that J'J is never formed, gain-ratio damping (Nielsen 1999,
/// IMM-REP-1999-05). Errors are those of the tangent plane at the minimum (Bates and Watts 1988, Nonlinear
/// regression analysis, eq. 2.14). A local minimum is what it finds: start near, or from several starts.
/// Fails with too_few (residuals not more than parameters), out_of_range (start not finite or residuals not
/// finite there), not_converged (iterations used up), degenerate (the Jacobian at the minimum has no full
/// rank: some parameter cannot be told from the others).
[[nodiscard]] Expected<NonlinearFit> fit_nonlinear(const NonlinearProblem& problem,
                                                   const NonlinearOptions& options = {});

} // namespace backeddy::fit
