#pragma once
// Shares and counts of rows that share a fish, a day, a boat: generalised linear mixed models.
//
//   const auto model = GeneralisedMixedModel::make(table, {.outcome = "bites",
//                                                          .fixed = {.terms = {{{"rig"}}}},
//                                                          .random = {"day", "boat"},
//                                                          .family = Family::poisson,
//                                                          .effort = "rod_hours"});
//   const auto fit = fit_generalised_mixed(*model);
//   fit->ratios[1].value;  fit->random[0].sd;
//   const auto tests = term_tests(*model, *fit);                    // likelihood ratios
//   const auto again = bootstrap_term(*model, *fit, 0);             // where rows or levels are few
//
// g(mean of y given b) = X beta + Z b + offset, b normal, of each level of each group, with one variance a
// group; groups nested or crossed, any number (Breslow and Clayton 1993, J Am Stat Assoc 88:9).

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "base/random.hpp"
#include "stats/estimate.hpp"
#include "stats/generalised.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats {

struct GeneralisedMixedTerms {
    std::string outcome;
    Terms fixed;
    std::vector<std::string> random; ///< factors: an intercept of each level. Numbered anew within another:
                                     ///< with_nested() first
    Family family = Family::binomial;
    std::optional<Link> link; ///< nothing: logit for the binomial, log for counts
    std::string trials;       ///< a column, of the binomial; empty: the outcome is 0 or 1
    std::string effort;       ///< a column above 0 whose logarithm is the offset; empty: none
};

/// Rows, columns and groups that fit together. A value: cheap to copy, safe to read from several threads.
class GeneralisedMixedModel {
  public:
    /// Fails as MixedModel::make(), log_exposure() and fit_generalised() do of their columns.
    [[nodiscard]] static Expected<GeneralisedMixedModel> make(const Table& table,
                                                              const GeneralisedMixedTerms& terms);
    /// The same rows with other outcomes, for simulation and bootstrap. As many as rows.
    [[nodiscard]] GeneralisedMixedModel with_outcome(std::vector<double> outcome) const;

    [[nodiscard]] const Design& design() const { return rows_.design(); }
    [[nodiscard]] std::span<const double> outcome() const { return rows_.outcome(); }
    [[nodiscard]] const std::vector<Grouping>& groups() const { return rows_.groups(); }
    [[nodiscard]] const std::vector<Remark>& remarks() const { return rows_.remarks(); }
    [[nodiscard]] Family family() const { return family_; }
    [[nodiscard]] Link link() const { return link_; }
    [[nodiscard]] const std::vector<double>& trials() const { return trials_; } ///< of every row
    [[nodiscard]] const std::vector<double>& offset() const { return offset_; } ///< of every row

  private:
    MixedModel rows_;
    Family family_ = Family::binomial;
    Link link_ = Link::logit;
    std::vector<double> trials_;
    std::vector<double> offset_;
};

/// What a group adds to the linear predictor.
struct GroupSpread {
    std::string group;
    std::vector<std::string> levels;
    double sd = 0.0; ///< between levels; 0 is said in remarks
    /// Of the sd, normal on the log scale, from the observed information; nothing where it is 0.
    std::optional<double> log_se;
    std::vector<double> modes; ///< by level: where its own intercept most probably is
};

struct MixedTheta {
    double value = 0.0;
    double log_se = 0.0;
};

struct GeneralisedMixedOptions {
    double level = 0.95;
    /// 1: Laplace's approximation. With a single group 3 to 100: adaptive Gauss-Hermite quadrature, better
    /// where a level has few rows of 0 and 1 (Pinheiro and Bates 1995, J Comput Graph Stat 4:12).
    std::size_t nodes = 1;
};

struct GeneralisedMixedFit {
    Family family = Family::binomial;
    Link link = Link::logit;
    std::size_t nodes = 1;
    /// By the design's columns, on the link's scale, for a level whose own intercept is 0; normal (Wald).
    std::vector<Estimate> coefficients;
    std::vector<double> covariance; ///< row by row; observed information, spreads and theta unknown
    std::vector<Ratio> ratios;      ///< exp of the coefficients, as in GeneralisedFit
    std::vector<GroupSpread> random;
    std::optional<MixedTheta> theta; ///< as in GeneralisedFit
    double log_likelihood = 0.0;     ///< with all constants, by the approximation asked for
    double aic = 0.0;
    double bic = 0.0;
    std::size_t n = 0;
    std::size_t parameters = 0;     ///< coefficients, spreads and theta
    bool is_singular = false;       ///< some spread is 0; said in remarks
    std::vector<double> fixed_part; ///< X beta + offset
    std::vector<double> fitted;     ///< shares or means at the levels' modes
    std::size_t evaluations = 0;    ///< of the likelihood
    double level = 0.95;
    std::vector<Remark> remarks; ///< the model's, and what the fit adds

    [[nodiscard]] std::vector<double> values() const;
};

/// The maximum of the likelihood over coefficients, spreads and theta together, the levels' intercepts
/// integrated out about their conditional modes, which penalised iterated least squares finds (Bates,
/// Machler, Bolker and Walker 2015, J Stat Softw 67(1); for binomial and Poisson Breslow and Clayton 1993,
/// eq. 4, with the observed second derivative in its determinant). BOBYQA (Powell 2009) from the fit without
/// groups, finished by Newton's steps. Fails as fit_generalised() does without groups, and with
///   bad_setting    level, nodes;
///   degenerate     levels so far apart that their spread has no end (rows of each are all 0, or all 1);
///   not_converged  the search, or a likelihood too flat for standard errors.
[[nodiscard]] Expected<GeneralisedMixedFit>
fit_generalised_mixed(const GeneralisedMixedModel& model, const GeneralisedMixedOptions& options = {});

/// The sum of `weights` times the coefficients, on the link's scale; normal.
[[nodiscard]] Estimate contrast(const GeneralisedMixedFit& fit, std::string name,
                                std::span<const double> weights);

/// Each term given all others (type III, see term_hypotheses()): twice the loss in log-likelihood where it
/// does nothing. Against chi-squared, which promises too much where levels are few: bootstrap_term().
[[nodiscard]] Expected<std::vector<TermChiSquared>> term_tests(const GeneralisedMixedModel& model,
                                                               const GeneralisedMixedFit& fit);

/// Of the groups having any spread: against the fit of the same rows and fixed terms without. For one group p
/// is halved too, the true null lying on its boundary (Stram and Lee 1994). Fails with bad_relation.
[[nodiscard]] Expected<LikelihoodRatio> likelihood_ratio(const GeneralisedMixedFit& larger,
                                                         const GeneralisedFit& without);

/// Outcomes that a model of these numbers might give: new intercepts of every level, new counts. `fixed`: X
/// beta + offset; `sds` by group.
[[nodiscard]] std::vector<double> simulate_outcome(const GeneralisedMixedModel& model,
                                                   std::span<const double> fixed, std::span<const double> sds,
                                                   std::optional<double> theta, Random& random);

/// Parametric bootstrap of a term's likelihood ratio (Davison and Hinkley 1997, Bootstrap Methods, 4.2):
/// outcomes simulated from the fit without the term, fitted with it and without. Draws are numbered, each
/// with random numbers of its own: the same for any number of threads. Fails with too_few (under 20 draws, or
/// half of them could not be fitted), bad_relation (no such term), or as fits do.
[[nodiscard]] Expected<TermBootstrap> bootstrap_term(const GeneralisedMixedModel& model,
                                                     const GeneralisedMixedFit& fit, std::size_t term,
                                                     const TermBootstrapOptions& options = {});

} // namespace backeddy::stats
