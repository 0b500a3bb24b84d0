#include "fit/line.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "fit/detail/bend_shape.hpp"
#include "fit/detail/sum.hpp"

namespace backeddy::fit {

namespace {

using detail::Sum;

bool all_finite(std::span<const double> values) {
    return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

double mean_of(std::span<const double> values) {
    Sum sum;
    for (const double v : values) {
        sum.add(v);
    }
    return sum.value() / static_cast<double>(values.size());
}

Expected<void> check_columns(std::span<const double> x, std::span<const double> y, std::size_t least) {
    if (x.size() != y.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} values of x and {} of y", x.size(), y.size()),
                     .expected = "as many of one as of the other"});
    }
    if (x.size() < least) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} readings", x.size()),
                     .expected = fmt::format("at least {}", least)});
    }
    if (!all_finite(x) || !all_finite(y)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a missing or infinite value among the readings",
                     .expected = "finite numbers only"});
    }
    return {};
}

} // namespace

namespace detail {

BendShape bend_shape(const Line& line, std::span<const double> x) {
    Sum cubes;
    for (const double v : x) {
        const double u = v - line.x_mean;
        cubes.add(u * u * u);
    }
    BendShape shape{.shift = line.x_squares / static_cast<double>(line.n),
                    .tilt = cubes.value() / line.x_squares};
    Sum squares;
    for (const double v : x) {
        const double p = shape.at(v - line.x_mean);
        squares.add(p * p);
    }
    shape.squares = squares.value();
    return shape;
}

bool bends(const BendShape& shape, const Line& line) {
    // With two distinct x, p is zero but for rounding.
    const double scale = line.x_squares / static_cast<double>(line.n);
    return shape.squares > 1e-20 * scale * scale * static_cast<double>(line.n);
}

} // namespace detail

using detail::bend_shape;
using detail::bends;
using detail::BendShape;

Expected<Line> fit_line(std::span<const double> x, std::span<const double> y) {
    if (auto fine = check_columns(x, y, 2); !fine) {
        return fail(std::move(fine).error());
    }
    const auto n = static_cast<double>(x.size());
    const double x_mean = mean_of(x);
    const double y_mean = mean_of(y);
    Sum sx;
    Sum sy;
    Sum sxx;
    Sum sxy;
    Sum syy;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double dx = x[i] - x_mean;
        const double dy = y[i] - y_mean;
        sx.add(dx);
        sy.add(dy);
        sxx.add(dx * dx);
        sxy.add(dx * dy);
        syy.add(dy * dy);
    }
    // The rounded means leave small sums behind; taking them out again removes what rounding the means did.
    const double x_squares = sxx.value() - (sx.value() * sx.value() / n);
    const double products = sxy.value() - (sx.value() * sy.value() / n);
    const double y_squares = syy.value() - (sy.value() * sy.value() / n);
    const auto [least, greatest] = std::minmax_element(x.begin(), x.end());
    if (*least == *greatest || !(x_squares > 0.0)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} readings, all at x = {}", x.size(), x[0]),
                     .expected = "at least two different x"});
    }
    Line line{.n = x.size(),
              .x_mean = x_mean + (sx.value() / n),
              .level = y_mean + (sy.value() / n),
              .slope = products / x_squares,
              .x_squares = x_squares,
              .x_least = *least,
              .x_greatest = *greatest};
    // From the residuals themselves: y_squares - slope * products loses all digits of a close fit.
    Sum rss;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double r = y[i] - line.level - (line.slope * (x[i] - line.x_mean));
        rss.add(r * r);
    }
    line.residual_squares = rss.value();
    line.r_squared = y_squares > 0.0 ? std::clamp(1.0 - (line.residual_squares / y_squares), 0.0, 1.0) : 0.0;
    if (x.size() > 2) {
        line.residual_sd = std::sqrt(line.residual_squares / (n - 2.0));
        line.slope_se = line.residual_sd / std::sqrt(x_squares);
    }
    return line;
}

std::vector<double> residuals(const Line& line, std::span<const double> x, std::span<const double> y) {
    std::vector<double> out(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        out[i] = y[i] - line.at(x[i]);
    }
    return out;
}

std::size_t newey_west_lag(std::size_t n) {
    return static_cast<std::size_t>(4.0 * std::pow(static_cast<double>(n) / 100.0, 2.0 / 9.0));
}

double newey_west_slope_se(const Line& line, std::span<const double> x, std::span<const double> y,
                           std::optional<std::size_t> lag) {
    const std::size_t reach = std::min(lag.value_or(newey_west_lag(x.size())), x.size() - 1);
    std::vector<double> score(x.size()); // slope weight times residual
    for (std::size_t i = 0; i < x.size(); ++i) {
        score[i] = (x[i] - line.x_mean) / line.x_squares * (y[i] - line.at(x[i]));
    }
    const double whole = static_cast<double>(lag.value_or(newey_west_lag(x.size()))) + 1.0;
    Sum variance;
    for (std::size_t l = 0; l <= reach; ++l) {
        const double weight = l == 0 ? 1.0 : 2.0 * (1.0 - (static_cast<double>(l) / whole));
        for (std::size_t i = l; i < score.size(); ++i) {
            variance.add(weight * score[i] * score[i - l]);
        }
    }
    return std::sqrt(std::max(0.0, variance.value()));
}

std::vector<double> slope_weights(const Line& line, std::span<const double> x) {
    std::vector<double> weights(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        weights[i] = (x[i] - line.x_mean) / line.x_squares;
    }
    return weights;
}

std::vector<double> bend_weights(const Line& line, std::span<const double> x) {
    const BendShape shape = bend_shape(line, x);
    if (!bends(shape, line)) {
        return {};
    }
    std::vector<double> weights(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        weights[i] = shape.at(x[i] - line.x_mean) / shape.squares;
    }
    return weights;
}

Expected<Curvature> curvature(const Line& line, std::span<const double> x, std::span<const double> y) {
    if (auto fine = check_columns(x, y, 4); !fine) {
        return fail(std::move(fine).error());
    }
    const BendShape shape = bend_shape(line, x);
    if (!bends(shape, line)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "readings at only two different x",
                     .expected = "at least three different x to see a bend"});
    }
    return detail::curvature_on(shape, line, x, y);
}

Curvature detail::curvature_on(const BendShape& shape, const Line& line, std::span<const double> x,
                               std::span<const double> y) {
    Sum products;
    for (std::size_t i = 0; i < x.size(); ++i) {
        products.add(shape.at(x[i] - line.x_mean) * (y[i] - line.at(x[i])));
    }
    const double bend = products.value() / shape.squares;
    Sum rss;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double r = y[i] - line.at(x[i]) - (bend * shape.at(x[i] - line.x_mean));
        rss.add(r * r);
    }
    const double variance = rss.value() / static_cast<double>(x.size() - 3);
    const double span = 2.0 * (line.x_greatest - line.x_least);
    Curvature out{.bend = bend, .bend_se = std::sqrt(variance / shape.squares)};
    out.change = span * out.bend;
    out.change_se = span * out.bend_se;
    if (line.slope == 0.0) {
        out.share_se = std::numeric_limits<double>::infinity();
        return out;
    }
    out.share = out.change / line.slope;
    // Bend and slope are uncorrelated by construction.
    out.share_se =
        std::hypot(out.change_se / line.slope, out.share * std::sqrt(variance / line.x_squares) / line.slope);
    return out;
}

} // namespace backeddy::fit
