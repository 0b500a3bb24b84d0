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
    bool known = false;  ///< enough values for an answer
    double middle = 0.0; ///< median of the values
};

/// The median of the slopes of all pairs of values at different hours (Theil 1950; Sen 1968, J Am Stat Assoc
/// 63:1379); 0 when there is none. Hours ascending. The time is that of looking at every pair once.
[[nodiscard]] double pairwise_slope(std::span<const double> hours, std::span<const double> values);

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

/// Middles of spells in hours after handling, ascending, with where each begins (for the words) and its
/// value.
///
/// Where the stay allows, values count from `least_hours_after_handling` and no downward trend. Where it does
/// not, a record that is flat for as long as the trend's window may still be called recovered from where it
/// is flat on; a shorter one may be a plateau on the way down (one of 3.4 h: Zhang and others 2018).
[[nodiscard]] CutOff find_cut_off(std::span<const double> hours, std::span<const double> begins,
                                  std::span<const double> values, const RestingSettings& settings);

/// No fall that could matter: the interval of the fall from `first` to the end of the record holds zero and
/// stays below `trend_share` of the values' median, over no less than the trend's window.
[[nodiscard]] bool is_flat_from(std::span<const double> hours, std::span<const double> values,
                                std::size_t first, const RestingSettings& settings);

/// Of values that count from `first` on: a fall beyond its errors and by a quarter of `trend_share` per trend
/// window, that goes on (by a tenth of it) through the record's last trend window. Too little to say that the
/// fish is not at rest, too much to measure recovery from (choice). Looks at one trend window at least,
/// before `first` if need be.
[[nodiscard]] bool still_falls(std::span<const double> hours, std::span<const double> values,
                               std::size_t first, const RestingSettings& settings);

[[nodiscard]] std::vector<CutOffPoint>
cut_off_curve(std::span<const double> hours, std::span<const double> values, const RestingSettings& settings);

} // namespace backeddy::uptake::detail
