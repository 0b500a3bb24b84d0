#pragma once
// Times (or values) known to lie between two looks, asked for no form: Turnbull's estimate.
//
//   const auto curve = turnbull({.lower = {0.0, 12.0, 5.0}, .upper = {2.0, endless, 8.0}});
//   share_beyond(*curve, 6.0);          // from .lower to .upper: between looks nothing is known
//
// The data cannot say more than how much of the whole lies within each of a few innermost intervals; where in
// them it lies they leave open. With all times exact or beyond a limit this is Kaplan and Meier's curve.

#include <cstddef>
#include <vector>

#include "base/error.hpp"
#include "stats/censored.hpp"
#include "stats/interval.hpp"

namespace backeddy::stats {

/// From `from`, itself not included unless it is `to`, to `to`.
struct InnermostInterval {
    double from = 0.0;
    double to = 0.0; ///< infinite: beyond the last look
    double share = 0.0;
};

struct TurnbullCurve {
    std::vector<InnermostInterval> intervals; ///< ascending, those with a share above 0
    double log_likelihood = 0.0;
    /// By how much the highest log-likelihood that there can be is above this one, at most: the likelihood is
    /// concave in the shares, so that its steepest rise towards any one interval bounds what is left (Lindsay
    /// 1983, Ann Stat 11:86).
    double short_of_highest = 0.0;
    std::size_t n = 0;
    CensoredCounts counts;
};

/// The shares that make the intervals most probable (Turnbull 1976, J R Stat Soc B 38:290; innermost
/// intervals: Peto 1973, Appl Stat 22:86): self-consistent steps, then Newton's on those above 0, until
/// short_of_highest is under 1e-8. There is one such set of shares: some row ends with each innermost
/// interval, so that row by row no share can be changed without changing what is seen. A row's interval is
/// open below and closed above, (lower, upper]; an exact one is that value. Fails with out_of_range as
/// fit_censored() does (any sign is allowed), bad_relation (lower and upper of different lengths), too_few
/// (no row), not_converged.
[[nodiscard]] Expected<TurnbullCurve> turnbull(const CensoredOutcome& outcome,
                                               const std::vector<std::string>& labels = {});

/// The share of the whole beyond a time: from what is so for sure to what may be.
[[nodiscard]] Interval share_beyond(const TurnbullCurve& curve, double time);

} // namespace backeddy::stats
