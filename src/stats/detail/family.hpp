#pragma once
// What one outcome says of its linear predictor.

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/generalised.hpp"

namespace backeddy::stats::detail {

/// Of what kind the outcomes are. Without theta the negative binomial is the Poisson.
struct Kind {
    Family family = Family::binomial;
    Link link = Link::logit;
    std::optional<double> theta;
};

/// Log-likelihood of a row and its derivatives by the linear predictor.
struct RowSlopes {
    double value = 0.0; ///< without row_constant()
    double first = 0.0;
    double second = 0.0;   ///< observed
    double expected = 0.0; ///< of -second, >= 0: the weight in scoring
    double bend = 0.0;     ///< derivative of log `expected`, for canonical links; 0 for others
};
[[nodiscard]] RowSlopes row_slopes(const Kind& kind, double y, double trials, double eta);
/// The same without theta_part(): whoever moves predictors alone need not count it again.
[[nodiscard]] RowSlopes predictor_slopes(const Kind& kind, double y, double trials, double eta);
/// What of a negative binomial row's log-likelihood depends on theta and not on its predictor: the logarithm
/// of theta (theta + 1) ... (theta + y - 1) / theta^y. 0 of the other families.
[[nodiscard]] double theta_part(const Kind& kind, double y);

/// What of a row's log-likelihood depends neither on its predictor nor on theta.
[[nodiscard]] double row_constant(Family family, double y, double trials);

/// Derivatives of a negative binomial row's log-likelihood that have part in theta; by log theta.
struct ThetaSlopes {
    double first = 0.0;
    double second = 0.0;
    double cross = 0.0; ///< by log theta and the linear predictor
};
[[nodiscard]] ThetaSlopes theta_slopes(double theta, double y, double eta);

/// Share or mean at a linear predictor.
[[nodiscard]] double mean_at(Link link, double eta);
/// Variance of an outcome whose mean is `trials` x `mean`.
[[nodiscard]] double variance_at(const Kind& kind, double mean, double trials);
/// Twice what a mean of its own gains a row.
[[nodiscard]] double row_deviance(const Kind& kind, double y, double trials, double mean);

/// Outcomes, trials and offset of every row.
struct Observed {
    std::vector<double> outcome;
    std::vector<double> trials;
    std::vector<double> offset;
};
/// Counts, trials and offsets that can be what they are said to be: as fit_generalised() says.
[[nodiscard]] Expected<Observed> check_observed(const std::vector<std::string>& rows,
                                                std::span<const double> outcome,
                                                const GeneralisedOptions& options);
/// The link asked for, or the family's usual one. Fails with bad_relation.
[[nodiscard]] Expected<Link> check_link(Family family, std::optional<Link> link);

} // namespace backeddy::stats::detail
