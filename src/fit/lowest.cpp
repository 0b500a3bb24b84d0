#include "fit/lowest.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <fmt/format.h>

namespace backeddy::fit {

namespace {

Expected<LowestMean> mean_between(std::span<const double> values, std::size_t drop, std::size_t count) {
    if (count == 0 || values.size() < drop + count) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values", values.size()),
                     .expected = fmt::format("at least {}", drop + std::max<std::size_t>(count, 1))});
    }
    if (!std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); })) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a missing or infinite value",
                     .expected = "finite values only"});
    }
    std::vector<double> sorted(values.begin(), values.end());
    std::partial_sort(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(drop + count),
                      sorted.end());
    LowestMean out{
        .dropped = drop, .used = count, .least = sorted[drop], .greatest = sorted[drop + count - 1]};
    double sum = 0.0; // of differences from the first, to keep digits
    for (std::size_t i = drop; i < drop + count; ++i) {
        sum += sorted[i] - out.least;
    }
    out.mean = out.least + (sum / static_cast<double>(count));
    return out;
}

} // namespace

Expected<LowestMean> mean_of_lowest(std::span<const double> values, std::size_t count) {
    return mean_between(values, 0, count);
}

Expected<LowestMean> mean_of_lowest_share(std::span<const double> values, double share, std::size_t drop) {
    if (!(share > 0.0 && share <= 1.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("a share of {}", share),
                     .expected = "above 0 and at most 1"});
    }
    if (values.size() <= drop) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values", values.size()),
                     .expected = fmt::format("more than the {} that are dropped", drop)});
    }
    const auto rest = static_cast<double>(values.size() - drop);
    const auto count = static_cast<std::size_t>(std::max(1.0, std::round(share * rest)));
    return mean_between(values, drop, count);
}

} // namespace backeddy::fit
