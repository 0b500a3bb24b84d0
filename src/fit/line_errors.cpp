#include "fit/line_errors.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::fit {

Expected<LineErrors> LineErrors::make(const NoiseModel& noise, const Line& line,
                                      std::span<const double> times, std::span<const double> x) {
    auto slope = modelled_slope(noise, times, x);
    if (!slope) {
        return fail(std::move(slope).error());
    }
    LineErrors out;
    out.noise_ = noise;
    out.times_.assign(times.begin(), times.end());
    if (!std::ranges::equal(times, x)) {
        out.x_.assign(x.begin(), x.end());
    }
    out.slope_ = *slope;
    if (x.size() < 4) {
        return out;
    }
    const auto shape = detail::bend_shape(line, x);
    if (detail::bends(shape, line)) {
        const auto slope_weight = slope_weights(line, x);
        const auto bend_weight = bend_weights(line, x);
        out.shape_ = shape;
        out.slope_variance_ = variance_of_sum(noise, times, slope_weight);
        out.bend_variance_ = variance_of_sum(noise, times, bend_weight);
        out.covariance_ = covariance_of_sums(noise, times, bend_weight, slope_weight);
    }
    return out;
}

bool LineErrors::serves(const NoiseModel& noise, std::span<const double> times,
                        std::span<const double> x) const {
    return noise == noise_ && std::ranges::equal(times, times_) &&
           std::ranges::equal(x, x_.empty() ? times_ : x_);
}

std::optional<Curvature> LineErrors::curvature(const Line& line, std::span<const double> y) const {
    if (!shape_) {
        return std::nullopt;
    }
    Curvature out = detail::curvature_on(*shape_, line, x_.empty() ? times_ : x_, y);
    const double span = 2.0 * (line.x_greatest - line.x_least);
    out.bend_se = std::sqrt(bend_variance_);
    out.change_se = span * out.bend_se;
    if (line.slope == 0.0) {
        return out;
    }
    // share = span * bend / slope, a ratio of two sums of the same readings.
    const double variance = (span * span * bend_variance_) - (2.0 * span * out.share * covariance_) +
                            (out.share * out.share * slope_variance_);
    out.share_se = std::sqrt(std::max(0.0, variance)) / std::abs(line.slope);
    return out;
}

} // namespace backeddy::fit
