#pragma once
// Outcomes known only in part: below what an assay can tell, beyond the end of looking, between two looks.
//
//   const CensoredOutcome hours{.lower = {3.0, 12.0, 0.0, 5.0}, .upper = {3.0, endless, 2.0, 8.0}};
//   //                          exact 3, above 12, below 2, between 5 and 8
//   const auto fit = fit_censored(*design, hours, Distribution::weibull);
//   fit->ratios[1].value;                                 // how many times longer
//   const auto cortisol = censored_mean(values, Distribution::log_normal);   // some below the limit
//
// y, or log y, = x' beta + b + scale e: normal e of y (Tobin 1958, Econometrica 26:24) or of log y; and, for
// times, extreme-value e of log y (Weibull; exponential with scale 1) or logistic (Kalbfleisch and Prentice
// 2002, The Statistical Analysis of Failure Time Data, 2.2, 3.2). b: normal, of the row's level of a group,
// where there is one. turnbull.hpp asks for no form. What a value was hidden by must have nothing to do with
// the value beyond the interval it is known to be in.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/mixed.hpp"
#include "stats/profile.hpp"
#include "stats/random_intercept.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

/// Of every row the interval that its value is known to be in. Equal: the value itself. Infinite: open on
/// that side; for positive outcomes 0 or less is open too.
struct CensoredOutcome {
    std::vector<double> lower;
    std::vector<double> upper;
};

enum class Distribution : std::uint8_t { normal, log_normal, weibull, exponential, log_logistic };

struct CensoredOptions {
    double level = 0.95;
    const Factor* group = nullptr; ///< rows of one level resemble each other; nothing: all independent
    /// Of the adaptive Gauss-Hermite quadrature over the group's intercept, 5 to 100.
    std::size_t nodes = 15;
};

/// How many rows are known in which way.
struct CensoredCounts {
    std::size_t exact = 0;
    std::size_t below = 0;
    std::size_t above = 0;
    std::size_t within = 0;
};

struct CensoredFit {
    Design design;
    CensoredOutcome outcome;
    Distribution distribution = Distribution::normal;
    std::vector<std::size_t> groups; ///< of every row; empty without
    std::size_t nodes = 1;
    /// By the design's columns: on the outcome's own scale (normal), or on that of its logarithm; normal
    /// intervals (Wald).
    std::vector<Estimate> coefficients;
    /// Of all distributions but the normal, exp of the coefficients and of their limits: times are so many
    /// times longer; the intercept's is a time.
    std::vector<Ratio> ratios;
    double scale = 1.0;                ///< standard deviation (normal, log-normal); 1 / shape (Weibull)
    std::optional<Estimate> log_scale; ///< nothing for the exponential
    std::vector<double> covariance;    ///< of coefficients, then log scale, row by row: observed information
    std::optional<RandomIntercept> random;
    double log_likelihood = 0.0; ///< of the outcome, not of its logarithm
    double aic = 0.0;            ///< -2 log-likelihood + 2 parameters
    CensoredCounts counts;
    double level = 0.95;
    std::vector<Remark> remarks; ///< more than half known on one side only, no spread, few levels
};

/// Maximum likelihood by Newton's steps in the coefficients and the logarithm of the scale. Fails with
///   out_of_range   lower above upper, not a number, open on both sides, an infinite value, an outcome that
///                  is not above 0 where it has to be: names the row;
///   bad_relation   another number of outcomes or groups than the design has rows;
///   bad_setting    level, nodes;
///   too_few        fewer rows that tell where they are than numbers to find;
///   degenerate     nothing seen (all rows beyond the same side); a coefficient that the likelihood wants
///                  infinite, since all rows of a group lie beyond one side: names it; a scale of 0; a group
///                  of one level or one row a level;
///   not_converged  a hundred steps did not reach the maximum. With a group it is looked for with 40 and with
///                  100 nodes too before that is said: CensoredFit::nodes says how many it took.
[[nodiscard]] Expected<CensoredFit> fit_censored(const Design& design, const CensoredOutcome& outcome,
                                                 Distribution distribution,
                                                 const CensoredOptions& options = {});

/// By coefficient, then the scale: what the likelihood ratio does not refuse. Infinite where nothing on that
/// side is refused.
[[nodiscard]] std::vector<ProfileInterval> profile_intervals(const CensoredFit& fit);

/// Each term given all others (type III, see term_hypotheses()): twice the loss in log-likelihood without its
/// sum-to-zero columns. Fails as fit_censored() does.
[[nodiscard]] Expected<std::vector<TermChiSquared>> term_tests(const CensoredFit& fit);

/// Where rows are few chi-squared promises too much, for the spread is estimated too. Were every value of a
/// normal outcome known, twice the loss in log-likelihood would be n log(1 + q F / (n - p)), F with q and n -
/// p degrees of freedom exactly (least squares: Seber and Lee 2003, Linear Regression Analysis, 4.2); n rows,
/// p coefficients. Here the same is taken with any censoring and form: an approximation, for whose error see
/// docs/validation_questions.md. Not with a random intercept, nor for the exponential, which has no spread.
[[nodiscard]] double few_rows_p(const CensoredFit& fit, const ChiSquaredTest& test);
/// The level at which profile_intervals() of such a fit leave out what few_rows_p() refuses at its own level.
[[nodiscard]] double few_rows_level(const CensoredFit& fit);

/// The value below which a share in (0, 1) lies, at a row of the design (Design::row_at()), of a level of the
/// group whose intercept is 0; limits by the delta method, for all but the normal on the logarithm's scale.
/// Fails with bad_setting.
[[nodiscard]] Expected<Ratio> quantile_at(const CensoredFit& fit, std::span<const double> row, double share);

/// Of one sample, some of it only known to be below (or above) a limit.
struct CensoredMean {
    Ratio mean;      ///< arithmetic; log-normal: exp(mu + sigma^2 / 2), limits on the logarithm's scale
    Ratio median;    ///< log-normal: the geometric mean
    double sd = 0.0; ///< of the values; log-normal: of their logarithms
    CensoredCounts counts;
    double log_likelihood = 0.0;
    std::vector<Remark> remarks;
};

/// Maximum likelihood under a normal or log-normal (Cohen 1959, Technometrics 1:217; limits of a log-normal
/// mean: Zhou and Gao 1997, Stat Med 16:783, Cox's method). `labels` of the rows, for messages. Putting half
/// the limit in its place is not this: it has no reason and is wrong by design. Fails as fit_censored() does,
/// and with bad_setting (another distribution).
[[nodiscard]] Expected<CensoredMean> censored_mean(const CensoredOutcome& outcome, Distribution distribution,
                                                   const std::vector<std::string>& labels,
                                                   double level = 0.95);

} // namespace backeddy::stats
