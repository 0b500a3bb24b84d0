#pragma once
// Fisher's scoring of a generalised linear model, with coefficients held to linear constraints.

#include <cstddef>
#include <cstdint>
#include <optional>

#include <Eigen/Core>

#include "stats/detail/family.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats::detail {

/// A likelihood at some coefficients.
struct ScoringPoint {
    Eigen::VectorXd at; ///< orthogonal coefficients
    double value = 0.0; ///< what is maximised: with the penalty
    double log_likelihood = 0.0;
    Eigen::VectorXd score;
    Eigen::MatrixXd information; ///< expected
};

enum class ScoringEnd : std::uint8_t {
    reached,
    endless, ///< the likelihood rises along `step` for ever
    lost,    ///< no maximum in 200 steps
};

struct Peak {
    ScoringEnd end = ScoringEnd::lost;
    ScoringPoint point;
    Eigen::VectorXd step; ///< the last
    std::optional<double> theta;
};

/// Works in coefficients gamma = R beta of orthogonal columns Q, X = Q R, Q'Q = rows x identity.
class Scoring {
  public:
    Scoring(const Design& design, Observed observed, Family family, Link link, Penalty penalty);

    /// From where scoring may begin.
    [[nodiscard]] Eigen::VectorXd start() const;
    /// The maximum over `from` plus what the columns of `basis` span, and over theta.
    [[nodiscard]] Peak maximise(const Eigen::VectorXd& from, const Eigen::MatrixXd& basis) const;
    /// The same, theta being known.
    [[nodiscard]] Peak maximise_at(std::optional<double> theta, const Eigen::VectorXd& from,
                                   const Eigen::MatrixXd& basis) const {
        return climb(kind(theta), from, basis);
    }
    /// Every coefficient is free.
    [[nodiscard]] Eigen::MatrixXd all() const;
    /// What is free when these weighted sums of gamma, a row each, are held.
    [[nodiscard]] static Eigen::MatrixXd beside(const Eigen::MatrixXd& sums);
    /// beta = back() gamma.
    [[nodiscard]] const Eigen::MatrixXd& back() const { return back_; }
    /// The free direction of the design's column `k` alone.
    [[nodiscard]] Eigen::MatrixXd column(std::size_t k) const;
    [[nodiscard]] Eigen::VectorXd predictor(const Eigen::VectorXd& gamma) const;
    [[nodiscard]] const Observed& observed() const { return observed_; }
    /// Inverse observed information of gamma and log theta together.
    [[nodiscard]] Eigen::MatrixXd joint_covariance(const Eigen::VectorXd& gamma, double theta) const;
    /// Of the rows, +1 where the likelihood cannot fall while the predictor rises, -1 while it falls, 0 where
    /// it can either way.
    [[nodiscard]] int open_side(std::size_t row) const;

  private:
    [[nodiscard]] Kind kind(std::optional<double> theta) const;
    [[nodiscard]] ScoringPoint at(const Kind& kind, const Eigen::VectorXd& gamma) const;
    [[nodiscard]] Peak climb(const Kind& kind, const Eigen::VectorXd& from,
                             const Eigen::MatrixXd& basis) const;
    [[nodiscard]] bool is_endless(const Eigen::VectorXd& step) const;
    /// Counts' variance beyond Poisson's less that expected, and the theta that it suggests.
    [[nodiscard]] std::optional<double> first_theta(const Eigen::VectorXd& gamma) const;
    [[nodiscard]] double theta_score(const Eigen::VectorXd& gamma, double theta) const;

    Observed observed_;
    Family family_;
    Link link_;
    Penalty penalty_;
    double constants_ = 0.0; ///< of the log-likelihood
    Eigen::MatrixXd q_;
    Eigen::MatrixXd r_;
    Eigen::MatrixXd back_;
};

} // namespace backeddy::stats::detail
