#pragma once
// Linear models by ordinary and weighted least squares.

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

struct LinearOptions {
    /// One a row, proportional to 1 / variance, > 0; empty: all alike.
    std::span<const double> weights;
    double level = 0.95; ///< of the intervals
};

struct LinearFit {
    Design design;
    std::vector<Estimate> coefficients; ///< by the design's columns
    std::vector<double> covariance;     ///< of the coefficients, row by row
    std::size_t n = 0;
    double freedom = 0.0;        ///< rows less coefficients
    double residual_sd = 0.0;    ///< of a row of weight 1
    double r_squared = 0.0;      ///< about the (weighted) mean with an intercept, about zero without
    double log_likelihood = 0.0; ///< at the maximum; normal errors
    double aic = 0.0;            ///< -2 log-likelihood + 2 (coefficients + 1) (Akaike 1974)
    std::vector<double> fitted;
    std::vector<double> residuals; ///< not weighted
    std::vector<double> leverage;  ///< share of each row in its own fitted value; empty for a perfect fit
    std::vector<double> weights;   ///< as given
    double level = 0.95;

    [[nodiscard]] std::vector<double> values() const;
};

/// Least squares of the outcome on the design's columns by fit::fit_regression (its accuracy: NIST's eleven
/// sets, tests/fit), with t intervals. Fails with too_few (no row more than coefficients: nothing is left to
/// judge errors by), out_of_range (outcome or weights of another length, not finite, a weight not above 0) or
/// degenerate (the outcome is the same in every row).
[[nodiscard]] Expected<LinearFit> fit_linear(const Design& design, std::span<const double> outcome,
                                             const LinearOptions& options = {});

/// The sum of `weights` times the coefficients. As many weights as coefficients.
[[nodiscard]] Estimate contrast(const LinearFit& fit, std::string name, std::span<const double> weights);

/// Each term given all others: term_hypotheses() by F.
[[nodiscard]] std::vector<TermTest> term_tests(const LinearFit& fit);

} // namespace backeddy::stats
