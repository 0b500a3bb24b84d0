#pragma once
// A line in every sliding window of one length, moved on by one reading at a time. The caller passes the
// readings of one sealed spell: nothing here knows of flushes, and a window never reaches beyond the readings
// given.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "fit/line.hpp"

namespace backeddy::fit {

/// Readings [first, end) and their least-squares line.
struct WindowLine {
    std::size_t first = 0;
    std::size_t end = 0;
    double slope = 0.0;
    double slope_se = 0.0; ///< ordinary; 0 for two readings
    double x_mean = 0.0;
    double level = 0.0; ///< of the line at x_mean
    double r_squared = 0.0;

    [[nodiscard]] std::size_t n() const { return end - first; }
};

struct WindowOptions {
    double length =
        60.0; ///< in the unit of x; a window holds the readings with x_first <= x <= x_first + length
    std::size_t least_readings = 3;
};

/// Every window, in order of its first reading: one begins at each reading whose window ends no later than
/// the last reading, unless it holds fewer than `least_readings` readings or all at one x. A thousandth of a
/// millionth of `length` is allowed for times that are no round numbers in binary.
///
/// Cost per reading does not depend on the length. Sums are only ever added to, about an anchor no more than
/// a window away (a window is the tail of one run of readings and the head of the next), so nothing cancels
/// or drifts: within 1e-12 of long-double sums, relative to the slope or to sd(y)/sd(x) where the slope is
/// near 0. slope_se and r_squared come from differences of sums and lose digits when a line fits perfectly
/// (r_squared above 1 - 1e-12).
///
/// Fails with too_few (no window fits), out_of_range (x not ascending, a value not finite, lengths unequal or
/// length not above 0).
[[nodiscard]] Expected<std::vector<WindowLine>>
sliding_lines(std::span<const double> x, std::span<const double> y, const WindowOptions& options);

enum class Steepest : std::uint8_t { falling, rising };

/// The window with the most negative (falling) or most positive (rising) slope; the first of equals (slopes
/// are compared as the sums have them, without dividing). As `sliding_lines`, without keeping the others; the
/// line itself is made anew from its readings. Some 3 ns a reading where readings come evenly.
[[nodiscard]] Expected<WindowLine> steepest_window(std::span<const double> x, std::span<const double> y,
                                                   const WindowOptions& options, Steepest direction);

} // namespace backeddy::fit
