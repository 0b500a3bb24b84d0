#pragma once
// Areas under points: trapezoids, and the natural cubic spline through them.

#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

/// Area under straight lines between the points, from the first x to the last. Fails with too_few (under two
/// points) or out_of_range (x not strictly ascending, not finite, unequal lengths).
[[nodiscard]] Expected<double> trapezoid_area(std::span<const double> x, std::span<const double> y);
/// The same between `from` and `to`, both within the x (out_of_range otherwise); negative when to < from.
[[nodiscard]] Expected<double> trapezoid_area(std::span<const double> x, std::span<const double> y,
                                              double from, double to);

/// The natural cubic spline: through every point, second derivative continuous, zero at both ends; straight
/// beyond them (de Boor 1978, A practical guide to splines, ch. 4). A value; the points are copied.
class NaturalSpline {
  public:
    /// Fails as trapezoid_area.
    [[nodiscard]] static Expected<NaturalSpline> through(std::span<const double> x,
                                                         std::span<const double> y);

    [[nodiscard]] double at(double x) const;
    [[nodiscard]] double slope_at(double x) const;
    /// Exact integral of the pieces; any limits.
    [[nodiscard]] double area(double from, double to) const;

  private:
    NaturalSpline() = default;
    [[nodiscard]] std::size_t piece_of(double x) const;
    [[nodiscard]] double area_to(double x) const; ///< from the first x

    std::vector<double> x_;
    std::vector<double> y_;
    std::vector<double> second_; ///< second derivatives at the points
    std::vector<double> areas_;  ///< from the first point to each
};

} // namespace backeddy::fit
