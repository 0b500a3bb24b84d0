#pragma once
// Errors of many lines whose readings have the same times: a logger's spells mostly do.

#include <optional>
#include <span>
#include <vector>

#include "fit/detail/bend_shape.hpp"
#include "fit/line.hpp"
#include "fit/noise.hpp"

namespace backeddy::fit {

/// What modelled_slope() and modelled_curvature() need of noise and times, made once: each further line on
/// the same times costs two passes over its readings.
class LineErrors {
  public:
    /// For readings at `times` (ascending), on `x`; of `line`, fitted on them, what depends on x alone. Fails
    /// as modelled_slope().
    [[nodiscard]] static Expected<LineErrors> make(const NoiseModel& noise, const Line& line,
                                                   std::span<const double> times, std::span<const double> x);

    /// Whether it was made for this noise, these times and this x.
    [[nodiscard]] bool serves(const NoiseModel& noise, std::span<const double> times,
                              std::span<const double> x) const;

    /// As modelled_slope() gives it.
    [[nodiscard]] const ModelledSlope& slope() const { return slope_; }

    /// As modelled_curvature() gives it, share_se but for the last digits: it is the root of a quadratic form
    /// in the variances of bend and slope, not of a sum over the readings. `y`, finite, at the x it was made
    /// for, `line` through them. Nothing under four readings or three distinct x.
    [[nodiscard]] std::optional<Curvature> curvature(const Line& line, std::span<const double> y) const;

  private:
    NoiseModel noise_;
    std::vector<double> times_;
    std::vector<double> x_; ///< empty: the times themselves
    ModelledSlope slope_;
    std::optional<detail::BendShape> shape_;
    double slope_variance_ = 0.0;
    double bend_variance_ = 0.0;
    double covariance_ = 0.0; ///< of bend and slope
};

} // namespace backeddy::fit
