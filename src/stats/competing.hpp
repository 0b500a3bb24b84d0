#pragma once
// Fates that exclude each other: recovered, died, escaped, withdrawn. How much of each by when, none treated
// as if the others could have been prevented.
//
//   const std::vector<FateTime> fish{{.time = 3.0, .fate = 0}, {.time = 9.0, .fate = 1}, {.time = 20.0}};
//   const auto shares = cumulative_incidence(fish, {"died", "escaped"});
//   at_time(shares->fates[0], 10.0);                   // share that died by then
//   gray_test(fish, {"died", "escaped"}, 0, rig)->p;   // whether the rigs differ in it
//
// One minus the Kaplan-Meier estimate of one fate, with the others as censored, is not such a share: it is
// too large, and the shares of all fates would add up to more than 1.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/interval.hpp"
#include "stats/table.hpp"

namespace backeddy::stats {

/// One fish: what became of it, and when.
struct FateTime {
    double time = 0.0;               ///< > 0, in any unit
    std::optional<std::size_t> fate; ///< its place among the fates; nothing: none yet when last looked at
};

struct IncidenceStep {
    double time = 0.0; ///< at which at least one fish met this fate
    std::size_t at_risk = 0;
    std::size_t events = 0;
    double incidence = 0.0; ///< share that has met it up to and including `time`
    double se = 0.0;
    /// On the scale log(-log): incidence^exp(-+ z se / (F log F)). Nothing where the share is 1.
    std::optional<Interval> limits;
};

struct FateIncidence {
    std::string name;
    std::size_t events = 0;
    std::vector<IncidenceStep> steps; ///< by time; none for a fate that nobody met
};

struct CumulativeIncidence {
    std::size_t n = 0;
    double last_time = 0.0; ///< to which anyone was followed
    double level = 0.95;
    std::vector<FateIncidence> fates; ///< in the order given
    std::vector<double> times;        ///< at which any fate was met
    std::vector<double> without;      ///< share without any fate yet, at `times`; with all incidences it is 1
};

/// Aalen and Johansen's estimate (1978, Scand J Stat 5:141): sum of S(before) d / n, S that of no fate yet.
/// Its variance is Aalen's (1978, Ann Stat 6:534), each time's share multiplied by (n - d) / (n - 1) where
/// events are tied: for t at or beyond the times u,
///   sum over this fate of (1 - (F(t) - F(u)) / S(u))^2 S(u-)^2 d (n - d) / (n^2 (n - 1))
///   + the same sum over all others with ((F(t) - F(u)) / S(u))^2.
/// Fails with
///   out_of_range  a time infinite, not a number or not above 0: names the fish; a fate that is not there;
///   too_few       no fish, or none met a fate;
///   bad_setting   level.
[[nodiscard]] Expected<CumulativeIncidence> cumulative_incidence(std::span<const FateTime> fish,
                                                                 const std::vector<std::string>& fates,
                                                                 double level = 0.95);

struct FateGroup {
    std::string name;
    std::size_t n = 0;
    double observed = 0.0; ///< that met the fate
    double expected = 0.0; ///< if all groups met it alike
};

struct FateTest {
    std::vector<FateGroup> groups; ///< in the order of the factor's levels
    double chi_squared = 0.0;
    double freedom = 0.0;
    double p = 0.0;
};

/// Do groups meet one fate in the same shares by the same times, other fates being what they are? Gray's test
/// with weight 1 (1988, Ann Stat 16:1141): observed less expected as in the log-rank test, but a group's
/// fish at risk Y count as R = Y (1 - F(t-)) / S(t-), F its share with this fate and S without any, so that
/// who met another fate goes on to count as one who will not meet this one. A log-rank test compares instead
/// the rates among those who still wait. The variance is Gray's, with the shares after each time in it, the
/// hypergeometric factor (n - d) / (n - 1) where events are tied, and the covariance of fates met at the same
/// time; other programs take the shares before, which moves the statistic in the fourth digit. Of 40 fish in
/// each group a nominal 5 % is 5 to 6 % (simulated). Fails as cumulative_incidence() does, with bad_relation
/// (group of another length) and degenerate (one group; nobody met the fate; at no such time was a fish of
/// another group at risk).
[[nodiscard]] Expected<FateTest> gray_test(std::span<const FateTime> fish,
                                           const std::vector<std::string>& fates, std::size_t fate,
                                           const Factor& group);

/// The last step at or before a time; nothing before the first: nobody had met it.
[[nodiscard]] std::optional<IncidenceStep> at_time(const FateIncidence& fate, double time);

} // namespace backeddy::stats
