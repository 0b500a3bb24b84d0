#pragma once
// Times to an event, some of them only known to be longer: curves, medians, means, and groups compared.
//
//   const std::vector<FollowUp> fish{{.time = 3.0, .is_event = true}, {.time = 20.0}};  // the second lived
//   const auto curve = kaplan_meier(fish);           // curve->steps, median(*curve), restricted_mean(...)
//   const auto test = log_rank(fish, rig);           // test->p
//
// A fish is at risk from its entry (not at that moment itself) to its time (that moment included): one whose
// follow-up ends at a time at which others die was still at risk of it. When follow-up ends must have nothing
// to do with what would have come; fates that preclude the event are for competing.hpp. Of a time of which it
// is only known that the event lay between two looks, none of this knows. cox.hpp adjusts.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"
#include "stats/table.hpp"

namespace backeddy::stats {

/// One fish, from when it could first have been seen to have the event, to the event or the end of looking.
struct FollowUp {
    double time = 0.0; ///< > entry, in any unit: of the event, or to which nothing had happened
    bool is_event = false;
    double entry = 0.0; ///< >= 0; above 0 for one that is only known of because nothing happened before
};

/// The scale on which limits of survival are symmetric. Log-minus-log limits stay within 0 and 1 and cover
/// best with few fish (Kalbfleisch and Prentice 1980, The Statistical Analysis of Failure Time Data, 1.3).
/// Those of the others are cut to [0, 1].
enum class LimitScale : std::uint8_t { log_minus_log, log, plain };

struct SurvivalStep {
    double time = 0.0; ///< at which at least one event was
    std::size_t at_risk = 0;
    std::size_t events = 0;
    double survival = 0.0;    ///< share without the event up to and including `time`
    std::optional<double> se; ///< nothing where survival has reached 0: the formula divides by those left
    std::optional<Interval> limits;
    double cumulative_hazard = 0.0; ///< Nelson 1972 and Aalen 1978: sum of events / at risk
};

struct SurvivalCurve {
    std::size_t n = 0;
    std::size_t events = 0;
    double last_time = 0.0; ///< to which anyone was followed
    double level = 0.95;
    LimitScale scale = LimitScale::log_minus_log;
    std::vector<SurvivalStep> steps; ///< by time
    /// The first time at which entries above 0 let the risk set run empty, so that what follows says nothing.
    std::optional<double> ran_empty;
};

struct SurvivalOptions {
    double level = 0.95;
    LimitScale scale = LimitScale::log_minus_log;
};

/// Kaplan and Meier's estimate (1958, J Am Stat Assoc 53:457) with Greenwood's variance S^2 sum d / (n (n -
/// d)) (1926). Limits: S^exp(-+ z se / (S log S)), S exp(-+ z se / S) or S -+ z se. Fails with
///   out_of_range  a time not above its entry, an entry below 0, infinite or not a number: names the row;
///   too_few       no fish, or no event (a share of none has exact limits: counts.hpp);
///   bad_setting   level.
[[nodiscard]] Expected<SurvivalCurve> kaplan_meier(std::span<const FollowUp> fish,
                                                   const SurvivalOptions& options = {});

/// Nothing where the curve, or its limit, does not fall that far: the true one is then longer than was
/// looked.
struct SurvivalQuantile {
    double share = 0.0; ///< that has had the event
    std::optional<double> time;
    std::optional<double> lower;
    std::optional<double> upper;
};

/// The time by which a share of the fish, in (0, 1), has had the event: the first at which survival is at
/// most 1 - share; where the curve is level at just that (to 1.5e-8), the middle of that step, which the last
/// look ends. Limits are the same of the curve's limits (Brookmeyer and Crowley 1982, Biometrics 38:29).
/// Fails with bad_setting.
[[nodiscard]] Expected<SurvivalQuantile> survival_quantile(const SurvivalCurve& curve, double share);
/// Of a half.
[[nodiscard]] SurvivalQuantile median_time(const SurvivalCurve& curve);

struct RestrictedMean {
    double horizon = 0.0;
    double value = 0.0; ///< mean time without the event, counting nothing beyond the horizon
    double se = 0.0;
    Interval limits; ///< normal
    /// The horizon lies beyond the last time looked while some had no event: the curve is held level to it,
    /// and the mean may be too long.
    bool is_held_level = false;
};

/// Area under the curve to the horizon, its variance sum A^2 d / (n (n - d)), A the area that remains beyond
/// each event (Klein and Moeschberger 2003, Survival Analysis, eq. 4.5.1-2). Fails with bad_setting (horizon
/// not above 0, or infinite).
[[nodiscard]] Expected<RestrictedMean> restricted_mean(const SurvivalCurve& curve, double horizon);

struct LogRankOptions {
    /// Fish are compared within its levels only (day, boat); nothing: all with all.
    const Factor* strata = nullptr;
    /// Weight survival^rho before each event (Harrington and Fleming 1982, Biometrika 69:553): 0 the log-rank
    /// test, 1 Peto and Peto's, which counts early events more.
    double rho = 0.0;
};

struct LogRankGroup {
    std::string name;
    std::size_t n = 0;
    double observed = 0.0; ///< events, weighted
    double expected = 0.0; ///< if the groups did not differ
};

struct LogRank {
    std::vector<LogRankGroup> groups;
    std::vector<double> variance; ///< of observed less expected, row by row
    double chi_squared = 0.0;
    double freedom = 0.0;
    double p = 0.0;
    /// Groups in which no event was. The test holds; no ratio of hazards can be given for them.
    std::vector<std::string> without_events;
};

/// Do groups of fish have the event at the same rate? (Mantel 1966, Cancer Chemother Rep 50:163; Peto and
/// Peto 1972, J R Stat Soc A 135:185; variance with ties hypergeometric.) Fails as kaplan_meier() does, with
/// bad_relation (group or strata of another length) and degenerate (one group; at no event was a fish of
/// another group at risk).
[[nodiscard]] Expected<LogRank> log_rank(std::span<const FollowUp> fish, const Factor& group,
                                         const LogRankOptions& options = {});

} // namespace backeddy::stats
