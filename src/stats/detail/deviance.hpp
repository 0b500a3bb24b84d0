#pragma once
// The criterion of a mixed model as a function of its relative factors, and what it knows at a point.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "stats/mixed.hpp"

namespace backeddy::stats::detail {

/// log determinants and sum of squares: all that the likelihood needs. Under weights w: the model's rows are
/// multiplied by sqrt(w).
struct Pieces {
    double log_det_random = 0.0; ///< log |T' Z'WZ T + I|
    double log_det_fixed = 0.0;  ///< log |X' V^-1 X|, V in units of the residual variance
    double squares = 0.0;        ///< penalised: (y - X beta)' V^-1 (y - X beta)
    double log_weights = 0.0;    ///< sum of log w
};

/// At the best coefficients for a theta.
struct Solution {
    std::vector<double> coefficients;
    std::vector<double> covariance;           ///< in units of the residual variance, row by row
    std::vector<std::vector<double>> effects; ///< by group: intercepts, then slopes (in slope / scale)
};

/// Columns X (each of n), outcome y (n), groups and weights (n, or empty) prepared once; then cheap to
/// evaluate at any theta. Theta stands group by group: 1 number, or 3 (lower triangle by columns) for an
/// intercept with a slope; slopes are in units of slope / slope_scale.
class Profile {
  public:
    Profile(const std::vector<std::span<const double>>& columns, std::span<const double> y,
            const std::vector<Grouping>& groups, std::span<const double> weights);
    ~Profile();
    Profile(Profile&&) noexcept;
    Profile& operator=(Profile&&) noexcept;
    Profile(const Profile&) = delete;
    Profile& operator=(const Profile&) = delete;

    /// Squares of 0 or below when rounding leaves nothing.
    [[nodiscard]] Pieces at(std::span<const double> theta) const;
    [[nodiscard]] Solution solve(std::span<const double> theta) const;
    [[nodiscard]] std::size_t rows() const;
    [[nodiscard]] std::size_t columns() const;

  private:
    struct Impl;
    std::unique_ptr<Impl> impl_;
};

/// -2 log-likelihood with the residual variance at its best.
[[nodiscard]] double profiled_deviance(const Profile& profile, std::span<const double> theta,
                                       Criterion criterion);
/// -2 log-likelihood at a residual variance.
[[nodiscard]] double deviance_at(const Profile& profile, std::span<const double> theta, double variance,
                                 Criterion criterion);

/// What a number of theta is. The criterion does not change when a column of a factor changes its sign: it is
/// even in `scale` and `second`, and in `first` and `cross` together.
enum class ThetaRole : std::uint8_t {
    scale,  ///< of a group with one column a level
    first,  ///< upper left of a group with two
    cross,  ///< lower left
    second, ///< lower right
};
[[nodiscard]] std::vector<ThetaRole> theta_roles(const std::vector<Grouping>& groups);

} // namespace backeddy::stats::detail
