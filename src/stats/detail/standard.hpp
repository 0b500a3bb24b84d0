#pragma once
// Standard normal, smallest extreme value (the logarithm of an exponential) and logistic distributions:
// densities and shares between two limits with their derivatives, without cancellation in the tails.

#include <cstdint>

namespace backeddy::stats::detail {

enum class Standard : std::uint8_t { normal, extreme, logistic };

/// Logarithm of the density, and its derivatives.
struct Density {
    double log_density = 0.0;
    double first = 0.0;
    double second = 0.0;
};
[[nodiscard]] Density density(Standard which, double z);

/// Logarithm of F(upper) - F(lower) and its derivatives by either limit; 0 by one that is infinite.
struct ShareBetween {
    double log_share = 0.0;
    double by_lower = 0.0;
    double by_upper = 0.0;
    double by_lower_twice = 0.0;
    double by_upper_twice = 0.0;
    double by_both = 0.0;
};
/// lower < upper, either infinite. Relative error of the derivatives about 1e-16 over the width, of the
/// second over its square: limits closer than 1e-5 are better taken as a density.
[[nodiscard]] ShareBetween share_between(Standard which, double lower, double upper);

/// The z below which a share in (0, 1) lies.
[[nodiscard]] double standard_quantile(Standard which, double share);

} // namespace backeddy::stats::detail
