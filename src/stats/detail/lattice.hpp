#pragma once
// Distributions on a few whole numbers, known by the ratios of neighbours.

#include <cstddef>
#include <vector>

#include "stats/interval.hpp"

namespace backeddy::stats::detail {

/// P(X = first), P(X = first + 1), ...
struct Lattice {
    std::size_t first = 0;
    std::vector<double> probability;

    [[nodiscard]] double at(std::size_t x) const { return probability[x - first]; }
    [[nodiscard]] double mean() const;
    [[nodiscard]] double at_most(std::size_t x) const;
    [[nodiscard]] double at_least(std::size_t x) const;
    /// Two-sided: all that is at most as likely as `x`, but for 1e-7.
    [[nodiscard]] Tails tails(std::size_t x) const;
    /// Twice the smaller tail, less the probability of `x` itself; at most 1.
    [[nodiscard]] double mid_p(std::size_t x) const;
};

/// Binomial of n and odds p / (1 - p) > 0.
[[nodiscard]] Lattice binomial_lattice(std::size_t n, double odds);

/// How many of `drawn` are among the `marked`, of `all`, when marked ones are `odds` times as likely:
/// Fisher's noncentral hypergeometric.
[[nodiscard]] Lattice hypergeometric_lattice(std::size_t marked, std::size_t drawn, std::size_t all,
                                             double odds);

} // namespace backeddy::stats::detail
