#pragma once
// Linear mixed models: rows that share a fish, a day, a boat resemble each other.
//
//   const auto model = MixedModel::make(table, {.outcome = "mo2",
//                                               .fixed = {.terms = crossed({"rig", "temp"})},
//                                               .random = {{.group = "fish"}, {.group = "day"}}});
//   const auto fit = fit_mixed(*model);                                        // REML
//   const auto exact = SmallSample::make(*model, *fit, FreedomMethod::kenward_roger);  // small_sample.hpp
//   exact->coefficients();  exact->term_tests();
//
// y = X beta + Z b + e; b of one group's level normal with its own variance (intercept and slope correlated),
// levels and groups independent, e normal with variance sigma^2 / weight, or tau^2 + a known variance.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/random.hpp"
#include "stats/estimate.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

enum class RandomKind : std::uint8_t {
    intercept,           ///< every level of the group has a height of its own
    intercept_and_slope, ///< and a slope of its own, correlated with the height
    slope, ///< a slope alone; beside an intercept term of the same group: not correlated with it
};

struct RandomTerm {
    std::string group; ///< a factor
    RandomKind kind = RandomKind::intercept;
    std::string slope; ///< a column of numbers, where there is a slope
};

struct MixedTerms {
    std::string outcome;
    Terms fixed;
    /// Nested or crossed, any number. Levels numbered anew within another group: with_nested() first.
    std::vector<RandomTerm> random;
    /// A column proportional to 1 / residual variance, > 0. Empty: all alike.
    std::string weights;
    /// A column of each outcome's own measurement variance, in the outcome's unit squared, > 0. The residual
    /// variance of a row is then this plus one that is estimated (what is left over between equal rows).
    /// Empty: none is known. Not together with weights.
    std::string known_variance;
};

/// A group as a model sees it.
struct Grouping {
    RandomTerm term;
    std::vector<std::string> levels;
    std::vector<std::size_t> codes; ///< of every row
    std::vector<double> slope;      ///< of every row; empty without
    double slope_scale = 1.0;       ///< root mean square of `slope`: the optimiser works in slope / scale

    [[nodiscard]] bool has_intercept() const { return term.kind != RandomKind::slope; }
    [[nodiscard]] bool has_slope() const { return term.kind != RandomKind::intercept; }
};

/// A warning with what to do, for the reader.
struct Remark {
    enum class About : std::uint8_t {
        few_levels,
        no_variance,
        full_correlation,
        no_residual,
        empty_score,
        rare_score,
        much_censored,
        over_dispersed,
        not_over_dispersed,
    };
    About about = About::few_levels;
    std::string text;
};

/// Rows, columns and groups that fit together. A value: cheap to copy, safe to read from several threads.
class MixedModel {
  public:
    /// Fails as make_design() and check_outcome() do, and with
    ///   too_few       no random term, or fewer than two rows more than coefficients;
    ///   bad_relation  a group that holds numbers, a slope that holds words, empty cells, weights with a
    ///   known
    ///                 variance;
    ///   out_of_range  a weight or known variance that is not above 0;
    ///   duplicate     a random term twice, or two groups that part the rows alike;
    ///   degenerate    a group of one level, of one row a level (unless variances are known), or that the
    ///                 fixed terms tell apart already; a slope that does not vary inside any level.
    [[nodiscard]] static Expected<MixedModel> make(const Table& table, const MixedTerms& terms);
    /// The same rows with other outcomes, for simulation and bootstrap. As many as rows, finite.
    [[nodiscard]] MixedModel with_outcome(std::vector<double> outcome) const;

    [[nodiscard]] const MixedTerms& made_of() const { return parts_->terms; }
    [[nodiscard]] const Design& design() const { return parts_->design; }
    [[nodiscard]] std::span<const double> outcome() const { return outcome_; }
    [[nodiscard]] const std::vector<Grouping>& groups() const { return parts_->groups; }
    [[nodiscard]] const std::vector<double>& weights() const { return parts_->weights; } ///< or empty
    [[nodiscard]] const std::vector<double>& known_variance() const { return parts_->known_variance; }
    [[nodiscard]] const std::vector<Remark>& remarks() const { return parts_->remarks; }

  private:
    struct Parts {
        MixedTerms terms;
        Design design;
        std::vector<Grouping> groups;
        std::vector<double> weights;
        std::vector<double> known_variance;
        std::vector<Remark> remarks;
    };
    std::shared_ptr<const Parts> parts_;
    std::vector<double> outcome_;
};

enum class Criterion : std::uint8_t {
    reml, ///< restricted likelihood: variances as if the fixed part had cost no degrees of freedom
    ml,   ///< likelihood: for comparing models with other fixed terms
};

/// What a group adds.
struct RandomEffect {
    std::string group;
    std::string slope_of; ///< empty without a slope
    std::vector<std::string> levels;
    double intercept_sd = 0.0; ///< between levels
    double slope_sd = 0.0;
    double correlation = 0.0; ///< of intercept and slope; 0 when one of them is not there or does not vary
    std::vector<double> intercepts; ///< conditional modes by level; empty without an intercept
    std::vector<double> slopes;     ///< the same
    /// Lower triangle, by columns, of the factor T with variance = residual variance T T' (relative to the
    /// root mean known variance where variances are known); in the slope's own unit.
    std::vector<double> theta;
};

struct MixedFit {
    Criterion criterion = Criterion::reml;
    /// By the design's columns. Intervals and p are the normal's (Wald), which promise too much in small
    /// studies: SmallSample mends that.
    std::vector<Estimate> coefficients;
    std::vector<double> covariance; ///< of the coefficients, row by row
    std::vector<RandomEffect> random;
    double residual_sd = 0.0;    ///< of a row of weight 1; beside a known variance: what is estimated
    double log_likelihood = 0.0; ///< the restricted one under REML
    double aic = 0.0;            ///< -2 log-likelihood + 2 parameters
    double bic = 0.0;            ///< -2 log-likelihood + log(rows) parameters
    std::size_t n = 0;
    std::size_t parameters = 0;            ///< coefficients and variance parameters
    bool is_singular = false;              ///< some variance is 0, or a correlation 1 or -1; said in remarks
    std::vector<double> fixed_part;        ///< X beta
    std::vector<double> fitted;            ///< X beta + Z b
    std::vector<double> residuals;         ///< outcome - fitted
    std::vector<double> residual_variance; ///< of each row: by its weight, known part included
    std::size_t evaluations = 0;           ///< of the criterion
    std::vector<Remark> remarks;           ///< the model's, and what the fit adds

    [[nodiscard]] std::vector<double> values() const;
};

/// The maximum of the (restricted) likelihood. The profiled deviance over the relative factors theta >= 0
/// (Bates, Machler, Bolker and Walker 2015, J Stat Softw 67(1), eqs. 34, 35, 41, 42) is minimised by BOBYQA
/// (Powell 2009) from theta = 1 and finished by Newton's steps, so that theta is good to about 1e-8 of
/// itself. The group with the most columns is eliminated level by level, the rest by a dense Cholesky factor:
/// time grows with the cube of the columns of all but the largest group. Fails with not_converged, or
/// degenerate (nothing is left over between rows of one level).
[[nodiscard]] Expected<MixedFit> fit_mixed(const MixedModel& model, Criterion criterion = Criterion::reml,
                                           double level = 0.95);

/// Twice the gain in log-likelihood of the larger of two nested models, against chi-squared. The same rows,
/// both ML, or both REML with the same fixed terms; otherwise bad_relation. For one variance more the true
/// null lies on its boundary, and p is halved (Stram and Lee 1994, Biometrics 50:1171, case 5); beyond one
/// the plain p is conservative.
struct LikelihoodRatio {
    double chi_squared = 0.0;
    double freedom = 0.0;
    double p = 0.0;
    std::optional<double> p_boundary; ///< halved, where REML fits differ by one variance
};
[[nodiscard]] Expected<LikelihoodRatio> likelihood_ratio(const MixedFit& larger, const MixedFit& smaller);

/// Shares of the variance (Nakagawa and Schielzeth 2013, Methods Ecol Evol 4:133, eqs. 26, 30), that of the
/// fixed part being the sample variance (n - 1) of X beta. Random intercepts only; nothing otherwise, or
/// where variances are known.
struct VarianceShares {
    double marginal = 0.0;    ///< of the fixed part
    double conditional = 0.0; ///< of the fixed part and the groups
    double groups = 0.0;      ///< of the groups in what the fixed part leaves (intraclass correlation)
};
[[nodiscard]] std::optional<VarianceShares> variance_shares(const MixedModel& model, const MixedFit& fit);

/// Outcomes that the fitted model might as well have given: new effects of every level, new residuals.
[[nodiscard]] std::vector<double> simulate_outcome(const MixedModel& model, const MixedFit& fit,
                                                   Random& random);

} // namespace backeddy::stats
