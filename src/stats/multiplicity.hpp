#pragma once
// Many comparisons at once: p-values and intervals that keep their promise for all of them together.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace backeddy::stats {

enum class Adjustment : std::uint8_t {
    none,               ///< each comparison by itself
    holm,               ///< the chance of any false finding; any set of tests (Holm 1979, Scand J Stat 6:65)
    tukey,              ///< the same, for every pair of a set of means; intervals to match
    benjamini_hochberg, ///< the share of false ones among the findings (Benjamini and Hochberg 1995, J R Stat
                        ///< Soc B 57:289); for screening
};

/// Adjusted p-values, in the order given; each p in [0, 1].
[[nodiscard]] std::vector<double> holm(std::span<const double> p);
[[nodiscard]] std::vector<double> benjamini_hochberg(std::span<const double> p);

/// P(Q > q), Q the range of `means` (>= 2) independent standard normals over an independent estimate of their
/// standard deviation with `freedom` (> 0, or infinite) degrees of freedom; q >= 0. The double integral of
/// Tukey 1953 (as in Copenhaver and Holland 1988, J Stat Comput Simul 30:1, eqs. 1, 2), its complement
/// integrated directly: within 1e-10 of itself wherever it is above 1e-80, for freedom from 1 to 1e5.
[[nodiscard]] double studentized_range_upper(double q, std::size_t means, double freedom);
/// The q that Q exceeds with probability 1 - level; level in (0, 1).
[[nodiscard]] double studentized_range_quantile(double level, std::size_t means, double freedom);

} // namespace backeddy::stats
