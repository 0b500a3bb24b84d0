#pragma once
// Scores that have an order and no distances (reflexes lost, injury none / slight / severe): proportional
// odds.
//
//   const auto design = make_design(table, {.terms = {{{"rig"}}, {{"air"}}}});
//   const auto fit = fit_ordinal(*design, table.factor("injury"));     // levels in order, the lowest first
//   fit->odds_ratios[0].value;                  // above 1: higher scores with rig: treble (against circle)
//   const auto check = test_proportional_odds(*fit);  // is one ratio enough for every cut of the scores?
//
// log odds(score <= j; x) = threshold_j - x' beta - b (McCullagh 1980, J R Stat Soc B 42:109, eq. 2.3): the
// odds of a score above any level are multiplied by exp(beta) per unit of x, the same at every level. A
// coefficient above 0 goes with higher scores. b: normal, of the row's level of a group, where there is one.
// Thresholds take the intercept's place: the design's is passed over.

#include <cstddef>
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

struct OrdinalOptions {
    double level = 0.95;
    const Factor* group = nullptr; ///< rows of one level resemble each other; nothing: all independent
    /// Of the adaptive Gauss-Hermite quadrature over the group's intercept, 5 to 100.
    std::size_t nodes = 15;
};

struct OrdinalFit {
    Design design;
    std::vector<std::size_t> scores; ///< of every row: its place in `levels`
    std::vector<std::string> levels; ///< that some row has, the lowest first
    std::vector<std::size_t> groups; ///< of every row; empty without
    std::size_t nodes = 1;
    std::vector<std::size_t> columns;   ///< places of the coefficients in the design's columns: no intercept
    std::vector<Estimate> thresholds;   ///< ascending, "slight or lower": log odds where all columns are 0
    std::vector<Estimate> coefficients; ///< log odds ratios; normal (Wald)
    /// exp of the coefficients and of their limits: odds of a score above any level, over those of the
    /// reference, or per unit.
    std::vector<Ratio> odds_ratios;
    std::vector<double> covariance; ///< of thresholds, then coefficients, row by row: observed information
    std::optional<RandomIntercept> random;
    double log_likelihood = 0.0;
    double aic = 0.0; ///< -2 log-likelihood + 2 parameters
    std::size_t n = 0;
    double level = 0.95;
    std::vector<Remark> remarks; ///< scores that no or few rows have, no spread between levels, few levels
};

/// Maximum likelihood by Newton's steps, halved while they lead down or thresholds cross, to 1e-9 of the
/// columns' spread. `scores`: levels in their order, the lowest first; one that no row has is passed over,
/// and said. Fails with
///   bad_relation   another number of scores or groups than the design has rows; a design without intercept;
///   bad_setting    level, nodes;
///   too_few        fewer rows than numbers to find;
///   degenerate     all rows have the same score; a coefficient that the likelihood wants infinite, since
///   some
///                  combination of columns parts the scores (complete or quasi-complete separation: Albert
///                  and Anderson 1984, Biometrika 71:1): names them; a group of one level or one row a level;
///   not_converged  a hundred steps did not reach the maximum.
[[nodiscard]] Expected<OrdinalFit> fit_ordinal(const Design& design, const Factor& scores,
                                               const OrdinalOptions& options = {});

/// By coefficient: what the likelihood ratio does not refuse. Trust these before Wald's where rows are few.
/// Infinite where nothing on that side is refused.
[[nodiscard]] std::vector<ProfileInterval> profile_intervals(const OrdinalFit& fit);

/// Each term given all others, averaged over what it interacts with (type III, see term_hypotheses()): twice
/// the loss in log-likelihood without its sum-to-zero columns. Fails as fit_ordinal() does.
[[nodiscard]] Expected<std::vector<TermChiSquared>> term_tests(const OrdinalFit& fit);

/// Shares of the scores, by level, at a row of the design (Design::row_at()), of a level of the group whose
/// intercept is 0.
[[nodiscard]] std::vector<double> score_shares(const OrdinalFit& fit, std::span<const double> row);

/// Is each odds ratio the same at every cut of the scores? By term, then of "all": score test of coefficients
/// that differ between cuts, with expected information (McCullagh 1980; Peterson and Harrell 1990, Appl Stat
/// 39:205). A small p says that one ratio does not tell all: look at the cuts one by one; from few rows a
/// large one says little. Fails with
///   too_few       two scores: there is one cut;
///   bad_relation  a fit with a group, which the test knows nothing of;
///   degenerate    no coefficient; cuts that cannot be told apart.
[[nodiscard]] Expected<std::vector<TermChiSquared>> test_proportional_odds(const OrdinalFit& fit);

} // namespace backeddy::stats
