#include "stats/detail/check.hpp"

#include <cmath>

#include <fmt/format.h>

namespace backeddy::stats::detail {

Expected<void> check_level(double level) {
    if (level > 0.0 && level < 1.0) {
        return {};
    }
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("a level of confidence of {}", level),
                 .expected = "a share between 0 and 1",
                 .remedy = "say 0.95 for 95 %"});
}

Expected<void> check_finite(std::span<const double> values, std::string_view what) {
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!std::isfinite(values[i])) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("{} {} is {}", what, i + 1,
                                              std::isnan(values[i]) ? "not a number" : "infinite"),
                         .expected = "finite numbers (the logarithm of zero and a division by zero are not)",
                         .remedy = "mend the value, or leave it out and say so"});
        }
    }
    return {};
}

Expected<void> check_count(std::size_t n, std::size_t least, std::string_view what) {
    if (n >= least) {
        return {};
    }
    return fail({.code = ErrorCode::too_few,
                 .found = fmt::format("{} {}", n, what),
                 .expected = fmt::format("at least {}", least)});
}

} // namespace backeddy::stats::detail
