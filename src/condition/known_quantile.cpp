#include "condition/known_quantile.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

double quantile(std::vector<double> values, double p) {
    std::ranges::sort(values);
    const double place = p * static_cast<double>(values.size());
    const double whole = std::round(place);
    const bool is_whole = std::abs(place - whole) < 1e-9; // 0.1 times 10 is one by meaning, if not in binary
    const auto k = static_cast<std::size_t>(is_whole ? whole : std::ceil(place));
    return is_whole ? (values.at(k - 1) + values.at(k)) / 2.0 : values.at(k - 1);
}

} // namespace

Expected<stats::Interval> known_quantile(std::span<const stats::Interval> values, double p) {
    if (values.empty()) {
        return fail({.code = ErrorCode::too_few, .found = "no value", .expected = "at least one"});
    }
    if (!(p > 0.0 && p < 1.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("the quantile of a share of {}", p),
                     .expected = "a share above 0 and below 1"});
    }
    std::vector<double> lower;
    std::vector<double> upper;
    for (const auto& value : values) {
        if (!(value.lower <= value.upper)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("a value from {} to {}", value.lower, value.upper),
                         .expected = "numbers, the lower end first"});
        }
        lower.push_back(value.lower);
        upper.push_back(value.upper);
    }
    return stats::Interval{quantile(std::move(lower), p), quantile(std::move(upper), p)};
}

} // namespace backeddy::condition
