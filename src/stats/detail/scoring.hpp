#pragma once
// Fisher's scoring of a generalised linear model, with coefficients held to linear constraints.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "stats/detail/family.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats::detail {

enum class ScoringEnd : std::uint8_t {
    reached,
    endless, ///< the likelihood rises along `direction` for ever
    lost,    ///< no maximum in 200 steps, with a penalty 4000
};

/// Where scoring ended.
struct Peak {
    ScoringEnd end = ScoringEnd::lost;
    std::vector<double> coefficients; ///< by the design's columns
    std::vector<double> covariance;   ///< inverse expected information, row by row; of best() only
    std::vector<double> predictor;    ///< of every row, with its offset
    std::vector<double> direction;    ///< of the coefficients: the last step
    double value = 0.0;               ///< what was maximised: with the penalty
    double log_likelihood = 0.0;
    std::optional<double> theta;
};

class Scoring {
  public:
    Scoring(const Design& design, Observed observed, Family family, Link link, Penalty penalty);
    ~Scoring();
    Scoring(Scoring&&) noexcept;
    Scoring& operator=(Scoring&&) noexcept;

    /// Over all coefficients, and theta.
    [[nodiscard]] Peak best() const;
    /// The same, these weighted sums of the coefficients being 0; begun at the best.
    [[nodiscard]] Peak without(const Peak& best, const std::vector<std::vector<double>>& sums) const;
    /// The linear predictor of the intercept (where there is one) and the offset alone, without penalty.
    [[nodiscard]] std::vector<double> null_predictor(std::optional<double> theta) const;
    /// Where the root of twice the loss, all others at their best, is `wanted`, above (1) or below (-1) the
    /// best value of a coefficient; infinite where it is not within a hundred standard errors.
    [[nodiscard]] double limit(const Peak& best, std::size_t coefficient, double wanted,
                               double direction) const;
    struct Joint {
        double log_theta_se = 0.0;
        std::vector<double> coefficient_se;
    };
    /// By the inverse observed information of coefficients and log theta together.
    [[nodiscard]] Joint joint(const Peak& best) const;
    /// Of a row, +1 where its likelihood cannot fall while the predictor rises, -1 while it falls, 0 where it
    /// can either way.
    [[nodiscard]] int open_side(std::size_t row) const;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace backeddy::stats::detail
