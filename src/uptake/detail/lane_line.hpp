#pragma once
// The straight line of one spell at a few nanoseconds a reading. Same estimate as fit::fit_line, in plain
// sums over four lanes instead of compensated ones: a spell's readings are few and lie close to each other
// after centring, so the slope stays within 1e-12 (relative to sd(y)/sd(x)) of the exact one, and a season's
// spells cost little beside reading them. The order of additions is fixed.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>

#include "fit/line.hpp"

namespace backeddy::uptake::detail {

/// Sum of term(i), i in [0, n), in four lanes.
template <typename Term>
double lane_sum(std::size_t n, const Term& term) {
    std::array<double, 4> lane{};
    std::size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        for (std::size_t k = 0; k < 4; ++k) {
            lane[k] += term(i + k);
        }
    }
    for (; i < n; ++i) {
        lane[0] += term(i);
    }
    return (lane[0] + lane[1]) + (lane[2] + lane[3]);
}

/// Nothing when there are fewer than two readings or all x are equal. All values finite, lengths equal, x
/// ascending.
inline std::optional<fit::Line> lane_line(std::span<const double> x, std::span<const double> y) {
    const std::size_t n = x.size();
    if (n < 2) {
        return std::nullopt;
    }
    const auto count = static_cast<double>(n);
    const double x_middle = lane_sum(n, [&](std::size_t i) { return x[i]; }) / count;
    const double y_middle = lane_sum(n, [&](std::size_t i) { return y[i]; }) / count;
    // The rounded means leave small sums behind; taking them out again removes what rounding the means did.
    const double sx = lane_sum(n, [&](std::size_t i) { return x[i] - x_middle; });
    const double sy = lane_sum(n, [&](std::size_t i) { return y[i] - y_middle; });
    const double sxx = lane_sum(n, [&](std::size_t i) { return (x[i] - x_middle) * (x[i] - x_middle); });
    const double sxy = lane_sum(n, [&](std::size_t i) { return (x[i] - x_middle) * (y[i] - y_middle); });
    const double syy = lane_sum(n, [&](std::size_t i) { return (y[i] - y_middle) * (y[i] - y_middle); });
    const double x_squares = sxx - (sx * sx / count);
    const auto [least, greatest] = std::minmax(x.front(), x.back());
    if (least == greatest || !(x_squares > 0.0)) {
        return std::nullopt;
    }
    fit::Line line{.n = n,
                   .x_mean = x_middle + (sx / count),
                   .level = y_middle + (sy / count),
                   .slope = (sxy - (sx * sy / count)) / x_squares,
                   .x_squares = x_squares,
                   .x_least = least,
                   .x_greatest = greatest};
    // From the residuals themselves: a difference of sums loses all digits of a close fit.
    line.residual_squares = lane_sum(n, [&](std::size_t i) {
        const double r = (y[i] - line.level) - (line.slope * (x[i] - line.x_mean));
        return r * r;
    });
    const double y_squares = std::max(syy - (sy * sy / count), 0.0);
    line.r_squared = y_squares > 0.0 ? std::max(1.0 - (line.residual_squares / y_squares), 0.0) : 0.0;
    if (n > 2) {
        line.residual_sd = std::sqrt(line.residual_squares / (count - 2.0));
        line.slope_se = line.residual_sd / std::sqrt(x_squares);
    }
    return line;
}

} // namespace backeddy::uptake::detail
