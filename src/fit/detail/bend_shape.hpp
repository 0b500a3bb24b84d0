#pragma once
// The curve of curvature(), in parts: what depends on x alone, and the rest.

#include <span>

#include "fit/line.hpp"

namespace backeddy::fit::detail {

/// Second-degree polynomial p(x) = u^2 - shift - tilt u, u = x - x_mean, orthogonal to 1 and u over the
/// readings.
struct BendShape {
    double shift = 0.0;
    double tilt = 0.0;
    double squares = 0.0; ///< sum of p^2
    [[nodiscard]] double at(double u) const { return ((u - tilt) * u) - shift; }
};

/// Of the line, its x_mean, x_squares and n alone are used.
[[nodiscard]] BendShape bend_shape(const Line& line, std::span<const double> x);

/// Whether there are three distinct x to see a bend by.
[[nodiscard]] bool bends(const BendShape& shape, const Line& line);

/// curvature() of finite readings, at least four, on a shape that bends.
[[nodiscard]] Curvature curvature_on(const BendShape& shape, const Line& line, std::span<const double> x,
                                     std::span<const double> y);

} // namespace backeddy::fit::detail
