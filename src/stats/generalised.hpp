#pragma once
// Generalised linear models: which fish are landed, how many bites in how many rod-hours, of what rig and
// mass.
//
//   const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
//   const auto hours = log_exposure(table, "rod_hours");
//   const auto fit = fit_generalised(*design, table.numbers("bites"),
//                                    {.family = Family::poisson, .offset = *hours});
//   fit->ratios[1].value;                         // rate ratio; odds ratio under the logit
//   const auto limits = profile_intervals(*fit);  // trust these before Wald's where rows are few
//   const auto tests = term_tests(*fit);          // likelihood ratios
//   const ContrastTest test = [&](auto name, auto weights) { return contrast(*fit, name, weights); };
//   const auto means = marginal_means(*design, {.of = {"rig"}}, test);                    // means.hpp
//   on_response_scale(*fit, means->front().estimate);                                    // a share, or a
//   rate
//
// g(mean of y) = X beta + offset, y binomial, Poisson or negative binomial given X (Nelder and Wedderburn
// 1972, J R Stat Soc A 135:370; McCullagh and Nelder 1989, Generalized Linear Models).

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "stats/estimate.hpp"
#include "stats/mixed.hpp"
#include "stats/profile.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

enum class Family : std::uint8_t {
    binomial,          ///< so many of so many; logit, probit or complementary log-log
    poisson,           ///< counts whose variance is their mean; log
    negative_binomial, ///< counts of variance mean + mean^2 / theta; log
};

enum class Link : std::uint8_t { logit, probit, complementary_log_log, log };

enum class Penalty : std::uint8_t {
    none, ///< maximum likelihood
    /// The likelihood times the root of its information's determinant (Firth 1993, Biometrika 80:27), which
    /// is finite where columns part the outcomes, and less biased in small studies (Heinze and Schemper 2002,
    /// Stat Med 21:2409). Binomial with logit, and Poisson.
    firth,
};

struct GeneralisedOptions {
    Family family = Family::binomial;
    std::optional<Link> link; ///< nothing: logit for the binomial, log for counts
    /// Of the binomial, one a row, whole, >= 1; empty: the outcome is 0 or 1.
    std::span<const double> trials;
    /// Added to the linear predictor, one a row: the logarithm of the effort. Empty: none.
    std::span<const double> offset;
    Penalty penalty = Penalty::none;
    double level = 0.95; ///< of the intervals
};

/// Of the negative binomial.
struct Theta {
    double value = 0.0; ///< > 0; the smaller, the more counts vary beyond Poisson's
    double se = 0.0;    ///< from the observed information of coefficients and theta together
    double lower = 0.0; ///< normal on the log scale
    double upper = 0.0;
    /// Of the coefficients from the same information, which counts theta as unknown. A fit's own count it as
    /// known; in expectation the two are independent (Lawless 1987, Can J Stat 15:209).
    std::vector<double> coefficient_se;
};

struct GeneralisedFit {
    Design design;
    Family family = Family::binomial;
    Link link = Link::logit;
    Penalty penalty = Penalty::none;
    std::vector<double> outcome;
    std::vector<double> trials; ///< of every row; 1 for counts
    std::vector<double> offset; ///< of every row
    /// By the design's columns, on the link's scale; normal (Wald). Their covariance: inverse expected
    /// information.
    std::vector<Estimate> coefficients;
    std::vector<double> covariance; ///< row by row
    /// exp of the coefficients and of their limits: odds ratios under the logit, rate ratios under the log.
    /// Empty under the other links. That of the intercept is the odds or rate itself where all columns are 0.
    std::vector<Ratio> ratios;
    /// Of the negative binomial. Nothing where the counts vary no more than Poisson's (theta grows for ever):
    /// said in remarks, and the rest is the Poisson fit.
    std::optional<Theta> theta;
    double deviance = 0.0; ///< twice what a model with a mean for every row gains in log-likelihood
    double null_deviance =
        0.0; ///< of the intercept (where there is one) and the offset; negative binomial: at theta
    double log_likelihood = 0.0;           ///< with all its constants; without the penalty
    double penalised_log_likelihood = 0.0; ///< up to a constant of the design; the same without penalty
    double aic = 0.0;                      ///< -2 log-likelihood + 2 parameters; theta is one
    double bic = 0.0;                      ///< -2 log-likelihood + log(rows) parameters
    std::size_t n = 0;
    std::size_t parameters = 0;
    double freedom = 0.0;             ///< rows less coefficients
    double pearson_chi_squared = 0.0; ///< sum of squared Pearson residuals
    double dispersion = 0.0;          ///< that over `freedom`; 0 where that is 0. Of 0/1 rows it says nothing
    std::vector<double> fitted;       ///< shares of the binomial, else means
    std::vector<double> pearson;      ///< residuals: (y - mean) / standard deviation
    std::vector<double> deviance_residuals; ///< root of each row's deviance, signed
    double level = 0.95;
    std::vector<Remark> remarks;

    [[nodiscard]] std::vector<double> values() const;
};

/// Maximum likelihood by Fisher's scoring (iterated weighted least squares), halved while it leads down, on
/// orthogonal columns, until steps are under 1e-10 of the linear predictor; theta by the root of its
/// profile's score. Fails with
///   bad_relation   another number of outcomes, trials or offsets than rows; trials for counts; a link that
///   the
///                  family has not; the penalty where it is not offered;
///   bad_setting    level;
///   out_of_range   a number that is not finite, a count that is negative or not whole, more than its trials,
///   trials
///                  of 0, 0/1 expected: names the row;
///   too_few        fewer rows than coefficients;
///   degenerate     the outcome is the same in every row; or some combination of columns parts the outcomes
///                  (binomial: none from all; counts: rows of 0 from others), so that a coefficient would be
///                  infinite (Albert and Anderson 1984, Biometrika 71:1; Konis 2007): names columns, and the
///                  levels that are the usual cause;
///   not_converged  200 steps (with Firth's penalty 4000) did not reach the maximum.
[[nodiscard]] Expected<GeneralisedFit> fit_generalised(const Design& design, std::span<const double> outcome,
                                                       const GeneralisedOptions& options = {});

/// Logarithms of a column of efforts (rod-hours), for an offset. Fails with unknown_name, bad_relation
/// (words, or empty cells) or out_of_range (an effort that is not above 0: names the row).
[[nodiscard]] Expected<std::vector<double>> log_exposure(const Table& table, std::string_view column);

/// The sum of `weights` times the coefficients, on the link's scale; normal.
[[nodiscard]] Estimate contrast(const GeneralisedFit& fit, std::string name, std::span<const double> weights);

/// The mean (share, or count at an offset of 0) at an estimate of the linear predictor, and at its limits.
/// Under the log a difference of predictors becomes a ratio of rates.
[[nodiscard]] Ratio on_response_scale(Link link, const Estimate& predictor);

/// By coefficient: the values at which twice the loss of the (penalised) likelihood, all others and theta at
/// their best, is below the chi-squared quantile; to about 1e-9 of the standard error. Penalised: Heinze and
/// Schemper 2002, the penalty being that of the whole model. Infinite where nothing on that side is refused.
[[nodiscard]] Expected<std::vector<ProfileInterval>> profile_intervals(const GeneralisedFit& fit);

/// Each term given all others, averaged over what it interacts with (type III, see term_hypotheses()): twice
/// the loss of the (penalised) likelihood where the term does nothing.
[[nodiscard]] Expected<std::vector<TermChiSquared>> term_tests(const GeneralisedFit& fit);

struct TermBootstrapOptions {
    std::size_t draws = 500;
    std::uint64_t seed = 1;
    double level = 0.95; ///< of `critical`
    Threads threads;
    /// How many draws are done, of `draws`. Called from one thread at a time.
    std::function<void(std::size_t done, std::size_t total)> drawn;
};

struct TermBootstrap {
    std::string term;
    double chi_squared = 0.0; ///< of the data
    double p = 0.0;           ///< (1 + draws with at least that) / (1 + draws)
    /// The likelihood ratio beyond which p is at most 1 - level: chi-squared's quantile where rows are many.
    /// Infinite where so few draws cannot tell.
    double critical = 0.0;
    std::size_t draws = 0;  ///< that could be fitted
    std::size_t failed = 0; ///< that could not; left out
};

/// Parametric bootstrap of a term's likelihood ratio (Davison and Hinkley 1997, Bootstrap Methods, 4.2):
/// outcomes simulated from the fit without the term, fitted with it and without, theta anew each time; the
/// fit's own penalty. Draws are numbered, each with random numbers of its own: the same for any number of
/// threads. Outcomes that cannot be fitted (all the same, or parted by the term) are left out and counted.
/// Fails with too_few (under 20 draws, or half of them could not be fitted), bad_relation (no such term), or
/// as fits do.
[[nodiscard]] Expected<TermBootstrap> bootstrap_term(const GeneralisedFit& fit, std::size_t term,
                                                     const TermBootstrapOptions& options = {});

/// The coefficients with their standard errors times the root of the dispersion, by t of `freedom`
/// (quasi-likelihood: Wedderburn 1974, Biometrika 61:439). For counts that vary more than the family's, where
/// no cause is known. Fails with too_few (no freedom is left) or bad_relation (0/1 outcomes, whose dispersion
/// says nothing).
[[nodiscard]] Expected<std::vector<Estimate>> quasi_coefficients(const GeneralisedFit& fit);

} // namespace backeddy::stats
