#include "stats/detail/standard.hpp"

#include <cmath>
#include <limits>
#include <numbers>

#include <boost/math/distributions/normal.hpp>

namespace backeddy::stats::detail {

namespace {

const double log_root_two_pi = 0.5 * std::log(2.0 * std::numbers::pi);

/// F(x) of the logistic, to full precision where it is near 0.
double logistic(double x) {
    return x >= 0.0 ? 1.0 / (1.0 + std::exp(-x)) : std::exp(x) / (1.0 + std::exp(x));
}

double log_logistic(double x) {
    return x >= 0.0 ? -std::log1p(std::exp(-x)) : x - std::log1p(std::exp(x));
}

/// log F(x) of the normal; below -35, where F itself runs out of numbers, by its asymptotic series
/// (Abramowitz and Stegun 1964, 26.2.12), there good to 1e-11.
double log_normal_below(double x) {
    if (x > -35.0) {
        return std::log(0.5 * std::erfc(-x / std::numbers::sqrt2));
    }
    const double r = 1.0 / (x * x);
    return (-0.5 * x * x) - std::log(-x) - log_root_two_pi +
           std::log1p(-r * (1.0 - (r * (3.0 - (15.0 * r)))));
}

double log_normal_between(double lower, double upper) {
    if (lower > 0.0) {
        return log_normal_between(-upper, -lower);
    }
    const double below = log_normal_below(upper);
    return std::isinf(lower) ? below : below + std::log1p(-std::exp(log_normal_below(lower) - below));
}

double log_extreme_between(double lower, double upper) {
    if (std::isinf(upper)) {
        return -std::exp(lower);
    }
    if (std::isinf(lower)) {
        return upper < -30.0 ? upper - (0.5 * std::exp(upper)) : std::log(-std::expm1(-std::exp(upper)));
    }
    const double hazard = std::exp(lower);
    return std::log(-std::expm1(-hazard * std::expm1(upper - lower))) - hazard;
}

/// F(u) - F(l) = F(u) (1 - F(l)) (1 - exp(l - u)), and what follows.
ShareBetween logistic_between(double lower, double upper) {
    ShareBetween out;
    const bool is_open = std::isinf(lower) || std::isinf(upper);
    const double q = is_open ? 0.0 : 1.0 / std::expm1(upper - lower);
    const double r = q * (1.0 + q);
    if (!is_open) {
        out.log_share = std::log(-std::expm1(lower - upper));
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

} // namespace

Density density(Standard which, double z) {
    if (which == Standard::normal) {
        return {.log_density = (-0.5 * z * z) - log_root_two_pi, .first = -z, .second = -1.0};
    }
    if (which == Standard::extreme) {
        const double hazard = std::exp(z);
        return {.log_density = z - hazard, .first = 1.0 - hazard, .second = -hazard};
    }
    return {.log_density = log_logistic(z) + log_logistic(-z),
            .first = logistic(-z) - logistic(z),
            .second = -2.0 * logistic(z) * logistic(-z)};
}

ShareBetween share_between(Standard which, double lower, double upper) {
    if (which == Standard::logistic) {
        return logistic_between(lower, upper);
    }
    ShareBetween out{.log_share = which == Standard::normal ? log_normal_between(lower, upper)
                                                            : log_extreme_between(lower, upper)};
    // f / (F(u) - F(l)) at either end; what is 0 there stays so, whatever it is multiplied with.
    const auto at_end = [&](double z, double& part, double& twice, double sign) {
        const auto own = density(which, z);
        const double height = std::exp(own.log_density - out.log_share);
        part = sign * height;
        twice = height > 0.0 ? (part * own.first) - (height * height) : 0.0;
        return height;
    };
    const double up = std::isinf(upper) ? 0.0 : at_end(upper, out.by_upper, out.by_upper_twice, 1.0);
    const double low = std::isinf(lower) ? 0.0 : at_end(lower, out.by_lower, out.by_lower_twice, -1.0);
    out.by_both = up * low;
    return out;
}

double standard_quantile(Standard which, double share) {
    if (which == Standard::normal) {
        return boost::math::quantile(boost::math::normal(), share);
    }
    return which == Standard::extreme ? std::log(-std::log1p(-share)) : std::log(share) - std::log1p(-share);
}

} // namespace backeddy::stats::detail
