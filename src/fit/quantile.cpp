#include "fit/quantile.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include <fmt/format.h>

namespace backeddy::fit {

QuantilePlace quantile_place(std::size_t n, double p, QuantileType type) {
    const auto count = static_cast<double>(n);
    double a =
        0.0; // position = a + p (n + 1 - a - b), Hyndman and Fan 1996, eq. 1 with m = a + p (1 - a - b)
    double b = 0.0;
    switch (type) {
    case QuantileType::inverse:
    case QuantileType::averaged_inverse:
    case QuantileType::linear_inverse:
        a = 0.0;
        b = 1.0;
        break;
    case QuantileType::nearest_even:
        a = -0.5;
        b = 1.5;
        break;
    case QuantileType::hazen:
        a = b = 0.5;
        break;
    case QuantileType::weibull:
        a = b = 0.0;
        break;
    case QuantileType::gumbel:
        a = b = 1.0;
        break;
    case QuantileType::median_unbiased:
        a = b = 1.0 / 3.0;
        break;
    case QuantileType::normal_unbiased:
        a = b = 3.0 / 8.0;
        break;
    }
    const double position = a + (p * (count + 1.0 - a - b));
    // A position that is whole but for rounding counts as whole.
    const double fuzz = 4.0 * std::numeric_limits<double>::epsilon() * std::max(1.0, count);
    const double whole = std::floor(position + fuzz);
    double weight = position - whole;
    if (std::abs(weight) < fuzz) {
        weight = 0.0;
    }
    if (type == QuantileType::inverse) {
        weight = weight > 0.0 ? 1.0 : 0.0;
    } else if (type == QuantileType::averaged_inverse) {
        weight = weight > 0.0 ? 1.0 : 0.5;
    } else if (type == QuantileType::nearest_even) {
        weight = weight > 0.0 || std::fmod(whole, 2.0) != 0.0 ? 1.0 : 0.0;
    }
    const auto index = [&](double place) {
        return static_cast<std::size_t>(std::clamp(place, 1.0, count)) - 1;
    };
    return {.lower = index(whole), .upper = index(whole + 1.0), .weight = weight};
}

double quantile_of_sorted(std::span<const double> sorted, double p, QuantileType type) {
    const auto place = quantile_place(sorted.size(), p, type);
    const double low = sorted[place.lower];
    const double high = sorted[place.upper];
    if (place.weight == 0.0) {
        return low;
    }
    return place.weight == 1.0 ? high : low + (place.weight * (high - low));
}

Expected<double> quantile(std::span<const double> values, double p, QuantileType type) {
    if (values.empty()) {
        return fail({.code = ErrorCode::too_few, .found = "no values", .expected = "at least one"});
    }
    if (!(p >= 0.0 && p <= 1.0) ||
        !std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); })) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("the {} quantile of {} values", p, values.size()),
                     .expected = "a share between 0 and 1, and finite values only"});
    }
    std::vector<double> sorted(values.begin(), values.end());
    const auto place = quantile_place(sorted.size(), p, type);
    const auto lower = sorted.begin() + static_cast<std::ptrdiff_t>(place.lower);
    std::nth_element(sorted.begin(), lower, sorted.end());
    double high = *lower;
    if (place.upper > place.lower) {
        high = *std::min_element(lower + 1, sorted.end());
    }
    if (place.weight == 0.0) {
        return *lower;
    }
    return place.weight == 1.0 ? high : *lower + (place.weight * (high - *lower));
}

} // namespace backeddy::fit
