#pragma once
// From when on a night's values count. Not for use outside this folder.

#include <span>
#include <string>
#include <vector>

#include "uptake/resting.hpp"

namespace backeddy::uptake::detail {

/// The trend of the values within one window of hours.
struct Fall {
    double fall = 0.0;  ///< from the window's first to its last value, positive when falling
    double error = 0.0; ///< standard error, neighbours' likeness allowed for
    bool falling = false;
    bool known = false; ///< enough values for an answer
};

/// By the median of all pairwise slopes (Theil 1950; Sen 1968, J Am Stat Assoc 63:1379), which a burst of
/// activity cannot tilt; its error from the robust spread of the residuals, widened by sqrt((1 + r)/(1 - r))
/// for a lag-one correlation r.
[[nodiscard]] Fall fall_from(std::span<const double> hours, std::span<const double> values, std::size_t first,
                             const RestingSettings& settings);

struct CutOff {
    std::size_t first = 0; ///< index of the first value that counts
    bool recovered = false;
    std::string why;
};

/// Hours after handling, ascending, with their values.
[[nodiscard]] CutOff find_cut_off(std::span<const double> hours, std::span<const double> values,
                                  const RestingSettings& settings);

[[nodiscard]] std::vector<CutOffPoint>
cut_off_curve(std::span<const double> hours, std::span<const double> values, const RestingSettings& settings);

} // namespace backeddy::uptake::detail
