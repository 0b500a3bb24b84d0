#pragma once
// Mean and spread of a few values.

#include <cmath>
#include <cstddef>
#include <span>

namespace backeddy::stats::detail {

struct Moments {
    std::size_t n = 0;
    double mean = 0.0;
    double variance = 0.0; ///< divisor n - 1; 0 for one value

    [[nodiscard]] double sd() const { return std::sqrt(variance); }
};

/// Of at least one value. In two passes, the mean corrected by what the first left over, so that values far
/// from zero keep their digits.
[[nodiscard]] inline Moments moments_of(std::span<const double> values) {
    Moments out{.n = values.size()};
    const auto n = static_cast<double>(values.size());
    double sum = 0.0;
    for (const double v : values) {
        sum += v;
    }
    const double first = sum / n;
    double rest = 0.0;
    for (const double v : values) {
        rest += v - first;
    }
    out.mean = first + (rest / n);
    double squares = 0.0;
    for (const double v : values) {
        squares += (v - out.mean) * (v - out.mean);
    }
    out.variance = out.n > 1 ? squares / (n - 1.0) : 0.0;
    return out;
}

} // namespace backeddy::stats::detail
