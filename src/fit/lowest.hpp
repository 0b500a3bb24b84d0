#pragma once
// Means of the low end of a sample.

#include <cstddef>
#include <span>

#include "base/error.hpp"

namespace backeddy::fit {

/// A mean of some of the lowest values, and which.
struct LowestMean {
    double mean = 0.0;
    std::size_t dropped = 0; ///< how many of the very lowest were left out
    std::size_t used = 0;    ///< how many of the next were averaged
    double least = 0.0;      ///< smallest and greatest value averaged
    double greatest = 0.0;
};

/// Mean of the `count` lowest values (ten in Chabot, Steffensen and Farrell 2016, J Fish Biol 88:81). A fixed
/// count is a third of 30 values and a thirtieth of 300. Fails with too_few (fewer than `count` values, or
/// count 0) and out_of_range (not finite).
[[nodiscard]] Expected<LowestMean> mean_of_lowest(std::span<const double> values, std::size_t count = 10);

/// Drops the `drop` lowest values as suspect and averages the lowest `share` of the rest, their number
/// rounded to the nearest whole and at least one (five and a tenth in Chabot et al. 2016; taking the tenth of
/// what remains, not of all, and rounding are our reading of it). Fails with too_few (no more than `drop`
/// values) and out_of_range (not finite, share not in (0, 1]).
[[nodiscard]] Expected<LowestMean> mean_of_lowest_share(std::span<const double> values, double share = 0.1,
                                                        std::size_t drop = 5);

} // namespace backeddy::fit
