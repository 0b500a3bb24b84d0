#pragma once
// The share of a standard logistic distribution between two limits, without cancellation in the tails.

#include <cmath>

namespace backeddy::stats::detail {

/// F(x), to full precision also where it is near 0 or 1 - F(-x).
[[nodiscard]] inline double logistic(double x) {
    return x >= 0.0 ? 1.0 / (1.0 + std::exp(-x)) : std::exp(x) / (1.0 + std::exp(x));
}

/// log(F(x)).
[[nodiscard]] inline double log_logistic(double x) {
    return x >= 0.0 ? -std::log1p(std::exp(-x)) : x - std::log1p(std::exp(x));
}

/// Logarithm of F(upper) - F(lower) and its derivatives by either limit; 0 by one that is infinite.
struct LogisticShare {
    double log_share = 0.0;
    double by_lower = 0.0;
    double by_upper = 0.0;
    double by_lower_twice = 0.0;
    double by_upper_twice = 0.0;
    double by_both = 0.0;
};

/// lower < upper, either infinite. F(u) - F(l) = F(u) (1 - F(l)) (1 - exp(l - u)), and what follows.
[[nodiscard]] inline LogisticShare logistic_between(double lower, double upper) {
    LogisticShare out;
    const bool is_open = std::isinf(lower) || std::isinf(upper);
    const double width = upper - lower;
    const double q = is_open ? 0.0 : 1.0 / std::expm1(width);
    const double r = q * (1.0 + q);
    if (!is_open) {
        out.log_share = std::log(-std::expm1(-width));
        out.by_both = r;
    }
    if (!std::isinf(upper)) {
        out.log_share += log_logistic(upper);
        out.by_upper = logistic(-upper) + q;
        out.by_upper_twice = -(logistic(upper) * logistic(-upper)) - r;
    }
    if (!std::isinf(lower)) {
        out.log_share += log_logistic(-lower);
        out.by_lower = -logistic(lower) - q;
        out.by_lower_twice = -(logistic(lower) * logistic(-lower)) - r;
    }
    return out;
}

} // namespace backeddy::stats::detail
