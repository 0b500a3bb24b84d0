#pragma once
// Proportional hazards: how much likelier, at every moment, is the event for a fish of that rig, mass, air
// time?
//
//   const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
//   const auto fit = fit_cox(*design, follow_ups);
//   fit->hazard_ratios[0].value;             // rig: treble (against circle)
//   const auto check = test_proportional(*fit);   // do the ratios change with time?
//
// hazard(t; x) = hazard_0(t) exp(x' beta), hazard_0 any and, with strata, each stratum's own. There is no
// intercept: the design's is passed over.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/survival.hpp"
#include "stats/terms.hpp"

namespace backeddy::stats {

/// Events at the same time. Efron's (1977, J Am Stat Assoc 72:557) is close to what would be found if their
/// order were known; Breslow's (1974, Biometrics 30:89) shrinks the coefficients when there are many.
enum class Ties : std::uint8_t { efron, breslow };

struct CoxOptions {
    Ties ties = Ties::efron;
    double level = 0.95;
    const Factor* strata = nullptr; ///< each with a base hazard of its own; nothing: one for all
};

struct BaseHazard {
    double time = 0.0;       ///< of an event in the stratum
    double cumulative = 0.0; ///< of a fish whose columns are all at their mean
};

struct CoxFit {
    Design design;
    std::vector<FollowUp> fish;
    std::vector<std::size_t> strata;    ///< of every row; all 0 without
    std::vector<std::size_t> columns;   ///< places of the coefficients in the design's columns: no intercept
    std::vector<Estimate> coefficients; ///< logarithms of hazard ratios; normal
    std::vector<Ratio> hazard_ratios;   ///< exp of the coefficients and of their limits
    std::vector<double> covariance;     ///< of the coefficients, row by row: inverse information
    std::size_t n = 0;
    std::size_t events = 0;
    double log_likelihood_null = 0.0; ///< partial, all coefficients 0
    double log_likelihood = 0.0;      ///< partial, at the maximum
    ChiSquaredTest likelihood_ratio;  ///< of all coefficients being 0; the most trustworthy of the three
    ChiSquaredTest wald;
    ChiSquaredTest score;
    /// Share of the pairs of which it is known who had the event first in which that fish had the higher
    /// hazard, equal ones counting half (Harrell, Lee and Mark 1996, Stat Med 15:361); its se by the
    /// infinitesimal jackknife. 0.5: no better than a coin.
    double concordance = 0.0;
    double concordance_se = 0.0;
    std::vector<double> means;                        ///< of the columns
    std::vector<std::vector<BaseHazard>> base_hazard; ///< by stratum; Breslow 1972, with Efron's ties
    Ties ties = Ties::efron;
    double level = 0.95;

    [[nodiscard]] std::vector<double> values() const;
};

/// Cox's partial likelihood (1972, J R Stat Soc B 34:187; 1975, Biometrika 62:269) by Newton's steps on
/// centred and scaled columns, to 1e-10 of each column's spread. Fails as kaplan_meier() does of its fish,
/// and with
///   bad_relation   another number of fish or strata than the design has rows; a design without intercept
///                  (its factors then have a column too many);
///   too_few        fewer events than coefficients;
///   degenerate     a coefficient that the likelihood wants infinite, because at every event the fish that
///                  had it lay highest (or lowest) of all at risk in some combination of columns (monotone
///                  likelihood: Bryson and Johnson 1981, Technometrics 23:381): names them, and the groups
///                  without events that are the usual cause; or columns that depend on each other within the
///                  strata;
///   not_converged  50 steps did not reach the maximum.
[[nodiscard]] Expected<CoxFit> fit_cox(const Design& design, std::span<const FollowUp> fish,
                                       const CoxOptions& options = {});

/// Cumulative hazard and survival of a fish at a row of the design (Design::row_at()), by stratum; survival
/// is exp(-cumulative).
[[nodiscard]] std::vector<BaseHazard> cumulative_hazard(const CoxFit& fit, std::span<const double> row,
                                                        std::size_t stratum = 0);

/// Each term given all others, by Wald: term_hypotheses() with infinite denominator.
[[nodiscard]] std::vector<TermTest> term_tests(const CoxFit& fit);

struct ProportionalityTest {
    std::string name; ///< of the column, or "all"
    ChiSquaredTest test;
};

/// A fish that had the event: what its columns were beyond the mean of those at risk, scaled to look like its
/// coefficient at that time. To be drawn against `time`: a level band if hazards are proportional.
struct SchoenfeldResidual {
    std::size_t row = 0;
    double time = 0.0;
    std::vector<double> scaled; ///< by coefficient
};

struct Proportionality {
    std::vector<ProportionalityTest> tests; ///< by coefficient, then of all
    std::vector<SchoenfeldResidual> residuals;
};

/// Is each hazard ratio the same at all times? Score test of a further column x g(time) (Grambsch and
/// Therneau 1994, Biometrika 81:515, in its exact form with the information at each event), g being 1 - the
/// Kaplan-Meier estimate just before, of all fish. A small p says that a single ratio does not describe it.
/// Fails with degenerate (events at but one time).
[[nodiscard]] Expected<Proportionality> test_proportional(const CoxFit& fit);

} // namespace backeddy::stats
