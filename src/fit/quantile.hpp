#pragma once
// Sample quantiles in the nine published definitions.

#include <cstddef>
#include <cstdint>
#include <span>

#include "base/error.hpp"

namespace backeddy::fit {

/// Definitions by their numbers in Hyndman and Fan 1996, Am Stat 50:361, table 1. 1-3 pick values (3: the
/// nearest even), 4-9 interpolate. Type 7, on (n - 1)p + 1, is the default here; state it, since short series
/// differ by type.
enum class QuantileType : std::uint8_t {
    inverse = 1,          ///< of the empirical distribution
    averaged_inverse = 2, ///< mean of the two at a step
    nearest_even = 3,
    linear_inverse = 4, ///< n p
    hazen = 5,          ///< n p + 0.5
    weibull = 6,        ///< (n + 1) p
    gumbel = 7,         ///< (n - 1) p + 1
    median_unbiased = 8,
    normal_unbiased = 9,
};

/// The p-quantile, 0 <= p <= 1, of values in any order (a copy is partly sorted). Exact but for the rounding
/// of the interpolation. Fails with too_few (no values) and out_of_range (a value not finite, p outside).
[[nodiscard]] Expected<double> quantile(std::span<const double> values, double p,
                                        QuantileType type = QuantileType::gumbel);

/// The same of values already ascending and not empty, p within [0, 1]; no checks.
[[nodiscard]] double quantile_of_sorted(std::span<const double> sorted, double p,
                                        QuantileType type = QuantileType::gumbel);

/// Which two order statistics (from 0) a quantile lies between and the weight of the second, 0 to 1.
struct QuantilePlace {
    std::size_t lower = 0;
    std::size_t upper = 0;
    double weight = 0.0;
};
[[nodiscard]] QuantilePlace quantile_place(std::size_t n, double p, QuantileType type);

} // namespace backeddy::fit
