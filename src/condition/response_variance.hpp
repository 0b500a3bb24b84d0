#pragma once
// How the variance of a response goes with its mean: what the weights of a curve are made of.

#include <vector>

namespace backeddy::condition {

/// One part of a variance: coefficient * |mean|^power, both >= 0.
struct VariancePart {
    double coefficient = 1.0;
    double power = 0.0;
};

/// The sum of its parts. A curve takes only its shape: there a common factor of the coefficients says
/// nothing.
struct ResponseVariance {
    std::vector<VariancePart> parts{VariancePart{}}; ///< as it stands: alike everywhere
    std::vector<double> covariance; ///< of the coefficients, row by row; empty: they count as known

    /// 0: alike everywhere; 1: counts; 2: a constant CV.
    [[nodiscard]] static ResponseVariance of_power(double power);

    [[nodiscard]] double at(double mean) const;
    /// Of ln variance, by each coefficient.
    [[nodiscard]] std::vector<double> log_gradient(double mean) const;
    /// Whether a response of 0 has a variance above 0, and so a weight.
    [[nodiscard]] bool has_floor() const;
    [[nodiscard]] bool is_alike_everywhere() const;
    /// Of ln variance at `mean` less `reference` (a log_gradient, or a mean of such): how well the shape is
    /// known there.
    [[nodiscard]] double log_variance_error(double mean, const std::vector<double>& reference) const;
};

} // namespace backeddy::condition
