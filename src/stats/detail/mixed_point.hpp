#pragma once
// The criterion of a mixed model over all that is searched, whether variances are known or not.

#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "stats/detail/deviance.hpp"
#include "stats/detail/minimise.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats::detail {

/// A model's criterion with nothing known beyond its rows. What is searched: theta; where variances are known
/// also tau over their root mean, last, since the residual variance then has a scale that cannot be profiled.
class MixedCriterion {
  public:
    /// With `without` a fixed column is held at `held` instead of being estimated.
    MixedCriterion(const MixedModel& model, Criterion criterion,
                   std::optional<std::size_t> without = std::nullopt, double held = 0.0);

    [[nodiscard]] double operator()(std::span<const double> searched) const;
    [[nodiscard]] Expected<Minimum> minimise() const;
    [[nodiscard]] Expected<Minimum> minimise_from(std::vector<double> start, double step) const;
    /// The unprofiled -2 log-likelihood: factors in the outcome's own unit, and the residual standard
    /// deviation (beside known variances: tau).
    [[nodiscard]] double full(std::span<const double> factors, double residual_sd) const;

    struct Point {
        std::vector<double> theta;
        double variance = 0.0; ///< that theta is relative to
        double residual_sd = 0.0;
        std::vector<double> residual_variance; ///< of each row
        Solution solution;
    };
    [[nodiscard]] Point point(std::span<const double> searched) const;

  private:
    [[nodiscard]] Profile profile_at(double tau) const;
    [[nodiscard]] Bounds bounds() const;
    /// What ends beside 0 with nothing to gain from it is 0; signs as they are written (diagonals not below
    /// 0).
    void settle(Minimum& found) const;
    /// Newton's steps with all that is 0 left at 0.
    [[nodiscard]] Minimum polished(Minimum found) const;

    const MixedModel* model_;
    Criterion criterion_;
    std::vector<std::span<const double>> columns_;
    std::vector<double> y_;
    std::vector<ThetaRole> roles_;   ///< of all that is searched
    double known_scale_ = 0.0;       ///< root mean known variance; 0 without
    std::optional<Profile> profile_; ///< where weights do not depend on what is searched
};

} // namespace backeddy::stats::detail
