#pragma once
// Ranks that share ties, and the exact distributions of their sums.

#include <cstddef>
#include <span>
#include <vector>

#include "stats/interval.hpp"

namespace backeddy::stats::detail {

/// Ranks from 1, doubled so that the mean rank of a tie is a whole number.
struct Midranks {
    std::vector<std::size_t> doubled; ///< in the order of the values
    std::vector<std::size_t> ties;    ///< how many values share each rank that is shared
};

/// Ascending neighbours that lie at most `rounding` apart are tied.
[[nodiscard]] Midranks midranks(std::span<const double> values, double rounding = 0.0);

/// Probability of each doubled sum of ranks 0, 1, ... when every rank takes part or not by the toss of a
/// coin: the signed-rank statistic without an effect. Adds one rank at a time (Streitberg and Rohmel 1986,
/// Stat Softw Newsl 12:10, shift algorithm), all terms positive.
[[nodiscard]] std::vector<double> signed_rank_distribution(std::span<const std::size_t> doubled);

/// Probability of each doubled sum of ranks 0, 1, ... when `drawn` of them are drawn, every choice alike: the
/// rank sum of one of two groups without an effect. The same algorithm.
[[nodiscard]] std::vector<double> rank_sum_distribution(std::span<const std::size_t> doubled,
                                                        std::size_t drawn);

/// Of an observed sum under such a distribution: two-sided, all sums at least as far from the mean.
[[nodiscard]] Tails exact_tails(std::span<const double> probability, std::size_t observed);

/// Of (sum - mean) / sd under a normal distribution; `step` is what a continuity correction takes off the
/// distance, 0 for none.
[[nodiscard]] Tails normal_tails(double excess, double sd, double step);

/// The smallest sum s with P(sum <= s) >= p, of a distribution whose place is the sum.
[[nodiscard]] std::size_t quantile_place(std::span<const double> probability, double p);

} // namespace backeddy::stats::detail
