#include "fit/area.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "fit/detail/sum.hpp"

namespace backeddy::fit {

namespace {

Expected<void> check(std::span<const double> x, std::span<const double> y) {
    if (x.size() != y.size() || x.size() < 2) {
        return fail({.code = x.size() == y.size() ? ErrorCode::too_few : ErrorCode::out_of_range,
                     .found = fmt::format("{} values of x and {} of y", x.size(), y.size()),
                     .expected = "at least two points"});
    }
    for (std::size_t i = 0; i < x.size(); ++i) {
        if (!std::isfinite(x[i]) || !std::isfinite(y[i]) || (i > 0 && !(x[i] > x[i - 1]))) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("x = {}, y = {} at point {}", x[i], y[i], i + 1),
                         .expected = "finite values, x strictly ascending"});
        }
    }
    return {};
}

} // namespace

Expected<double> trapezoid_area(std::span<const double> x, std::span<const double> y) {
    if (auto fine = check(x, y); !fine) {
        return fail(std::move(fine).error());
    }
    return trapezoid_area(x, y, x.front(), x.back());
}

Expected<double> trapezoid_area(std::span<const double> x, std::span<const double> y, double from,
                                double to) {
    if (auto fine = check(x, y); !fine) {
        return fail(std::move(fine).error());
    }
    const double low = std::min(from, to);
    const double high = std::max(from, to);
    if (!(low >= x.front() && high <= x.back())) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("an area from {} to {}", from, to),
                     .expected = fmt::format("limits between {} and {}", x.front(), x.back())});
    }
    detail::Sum sum;
    for (std::size_t i = 0; i + 1 < x.size(); ++i) {
        const double a = std::max(low, x[i]);
        const double b = std::min(high, x[i + 1]);
        if (a >= b) {
            continue;
        }
        const double rise = (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
        sum.add((b - a) * (y[i] + (rise * ((0.5 * (a + b)) - x[i]))));
    }
    return to < from ? -sum.value() : sum.value();
}

Expected<NaturalSpline> NaturalSpline::through(std::span<const double> x, std::span<const double> y) {
    if (auto fine = check(x, y); !fine) {
        return fail(std::move(fine).error());
    }
    NaturalSpline out;
    out.x_.assign(x.begin(), x.end());
    out.y_.assign(y.begin(), y.end());
    const std::size_t n = x.size();
    out.second_.assign(n, 0.0);
    // Tridiagonal and diagonally dominant: elimination without pivoting is stable.
    std::vector<double> diagonal(n, 1.0);
    std::vector<double> right(n, 0.0);
    for (std::size_t i = 1; i + 1 < n; ++i) {
        const double before = x[i] - x[i - 1];
        const double after = x[i + 1] - x[i];
        diagonal[i] = 2.0 * (before + after);
        right[i] = 6.0 * (((y[i + 1] - y[i]) / after) - ((y[i] - y[i - 1]) / before));
        if (i > 1) {
            const double f = before / diagonal[i - 1];
            diagonal[i] -= f * before;
            right[i] -= f * right[i - 1];
        }
    }
    for (std::size_t i = n - 1; i-- > 1;) {
        out.second_[i] = (right[i] - ((x[i + 1] - x[i]) * out.second_[i + 1])) / diagonal[i];
    }
    out.areas_.assign(n, 0.0);
    detail::Sum area;
    for (std::size_t i = 1; i < n; ++i) {
        const double h = x[i] - x[i - 1];
        area.add(0.5 * h * (y[i] + y[i - 1]));
        area.add(-h * h * h * (out.second_[i] + out.second_[i - 1]) / 24.0);
        out.areas_[i] = area.value();
    }
    return out;
}

std::size_t NaturalSpline::piece_of(double x) const {
    const auto after = std::upper_bound(x_.begin() + 1, x_.end() - 1, x);
    return static_cast<std::size_t>(after - x_.begin()) - 1;
}

double NaturalSpline::at(double x) const {
    if (x < x_.front() || x > x_.back()) {
        const bool is_before = x < x_.front();
        const double edge = is_before ? x_.front() : x_.back();
        return (is_before ? y_.front() : y_.back()) + ((x - edge) * slope_at(edge));
    }
    const std::size_t i = piece_of(x);
    const double h = x_[i + 1] - x_[i];
    const double a = (x_[i + 1] - x) / h;
    const double b = (x - x_[i]) / h;
    return (a * y_[i]) + (b * y_[i + 1]) +
           ((((a * a * a) - a) * second_[i]) + (((b * b * b) - b) * second_[i + 1])) * h * h / 6.0;
}

double NaturalSpline::slope_at(double x) const {
    const double inside = std::clamp(x, x_.front(), x_.back()); // straight beyond the ends
    const std::size_t i = piece_of(inside);
    const double h = x_[i + 1] - x_[i];
    const double a = (x_[i + 1] - inside) / h;
    const double b = (inside - x_[i]) / h;
    return ((y_[i + 1] - y_[i]) / h) +
           (((1.0 - (3.0 * a * a)) * second_[i]) + (((3.0 * b * b) - 1.0) * second_[i + 1])) * h / 6.0;
}

double NaturalSpline::area_to(double x) const {
    if (x < x_.front()) {
        return (x - x_.front()) * 0.5 * (at(x) + y_.front());
    }
    if (x > x_.back()) {
        return areas_.back() + ((x - x_.back()) * 0.5 * (at(x) + y_.back()));
    }
    const std::size_t i = piece_of(x);
    const double h = x_[i + 1] - x_[i];
    const double b = (x - x_[i]) / h;
    const double a = 1.0 - b;
    // Integrals of a, b, a^3 - a and b^3 - b from the piece's start.
    const double of_a = b - (0.5 * b * b);
    const double of_b = 0.5 * b * b;
    const double of_a3 = (0.25 * (1.0 - (a * a * a * a))) - of_a;
    const double of_b3 = (0.25 * b * b * b * b) - of_b;
    return areas_[i] + (h * ((of_a * y_[i]) + (of_b * y_[i + 1]))) +
           (h * h * h * ((of_a3 * second_[i]) + (of_b3 * second_[i + 1])) / 6.0);
}

double NaturalSpline::area(double from, double to) const {
    return area_to(to) - area_to(from);
}

} // namespace backeddy::fit
