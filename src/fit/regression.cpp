#include "fit/regression.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <Eigen/Dense>
#include <boost/math/tools/minima.hpp>
#include <fmt/format.h>

#include "fit/detail/sum.hpp"

namespace backeddy::fit {

namespace {

using Matrix = Eigen::Matrix<long double, Eigen::Dynamic, Eigen::Dynamic>;
using Vector = Eigen::Matrix<long double, Eigen::Dynamic, 1>;

bool all_finite(std::span<const double> values) {
    return std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); });
}

Expected<void> check(std::span<const double> y, std::span<const std::span<const double>> columns,
                     const RegressionOptions& options) {
    bool is_fine =
        all_finite(y) && all_finite(options.weights) &&
        (options.weights.empty() || options.weights.size() == y.size()) &&
        std::all_of(options.weights.begin(), options.weights.end(), [](double w) { return w > 0.0; });
    for (const auto& column : columns) {
        is_fine = is_fine && column.size() == y.size() && all_finite(column);
    }
    if (!is_fine) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} values, {} columns, {} weights", y.size(), columns.size(),
                                          options.weights.size()),
                     .expected = "columns as long as the values, all finite; weights above 0 or none"});
    }
    const std::size_t p = columns.size() + (options.intercept == Intercept::fitted ? 1 : 0);
    if (p == 0 || y.size() < p) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values for {} coefficients", y.size(), p),
                     .expected = "at least as many values as coefficients, and at least one coefficient"});
    }
    return {};
}

/// Sum of squares of y about its weighted mean, or about zero.
double total_squares(std::span<const double> y, const RegressionOptions& options) {
    const auto weight = [&](std::size_t i) { return options.weights.empty() ? 1.0 : options.weights[i]; };
    detail::Sum weights;
    detail::Sum sum;
    for (std::size_t i = 0; i < y.size(); ++i) {
        weights.add(weight(i));
        sum.add(weight(i) * y[i]);
    }
    const double mean = options.intercept == Intercept::fitted ? sum.value() / weights.value() : 0.0;
    detail::Sum squares;
    for (std::size_t i = 0; i < y.size(); ++i) {
        squares.add(weight(i) * (y[i] - mean) * (y[i] - mean));
    }
    return squares.value();
}

} // namespace

Expected<Regression> fit_regression(std::span<const double> y,
                                    std::span<const std::span<const double>> columns,
                                    const RegressionOptions& options) {
    if (auto fine = check(y, columns, options); !fine) {
        return fail(std::move(fine).error());
    }
    const bool has_intercept = options.intercept == Intercept::fitted;
    const auto n = static_cast<Eigen::Index>(y.size());
    const auto p = static_cast<Eigen::Index>(columns.size() + (has_intercept ? 1 : 0));
    Matrix x(n, p);
    Vector right(n);
    Vector root(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const auto row = static_cast<std::size_t>(i);
        root[i] = options.weights.empty() ? 1.0L : std::sqrt(static_cast<long double>(options.weights[row]));
        Eigen::Index k = 0;
        if (has_intercept) {
            x(i, k++) = root[i];
        }
        for (const auto& column : columns) {
            x(i, k++) = root[i] * static_cast<long double>(column[row]);
        }
        right[i] = root[i] * static_cast<long double>(y[row]);
    }
    Vector scale = x.colwise().norm().transpose();
    for (Eigen::Index k = 0; k < p; ++k) {
        scale[k] = scale[k] > 0.0L ? scale[k] : 1.0L;
        x.col(k) /= scale[k];
    }
    const Eigen::ColPivHouseholderQR<Matrix> qr(x);
    const auto& r = qr.matrixR();
    if (!(std::abs(r(p - 1, p - 1)) > 1e-15L * std::abs(r(0, 0)))) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("{} columns of which one follows from the others", columns.size()),
                     .expected = "columns that do not depend on each other",
                     .remedy = "leave one out"});
    }
    Vector solution = qr.solve(right);
    solution += qr.solve(right - (x * solution));
    const Vector residual = right - (x * solution);

    Regression out{.n = y.size(), .freedom = static_cast<std::size_t>(n - p)};
    out.residual_squares = static_cast<double>(residual.squaredNorm());
    const double variance = out.freedom > 0 ? out.residual_squares / static_cast<double>(out.freedom) : 0.0;
    out.residual_sd = std::sqrt(variance);
    const double total = total_squares(y, options);
    out.r_squared = total > 0.0 ? std::clamp(1.0 - (out.residual_squares / total), 0.0, 1.0) : 0.0;
    const Matrix inverse = r.topLeftCorner(p, p).triangularView<Eigen::Upper>().solve(Matrix::Identity(p, p));
    const Matrix turned = qr.colsPermutation() * inverse;
    const Matrix unscaled = turned * turned.transpose();
    out.covariance.resize(static_cast<std::size_t>(p * p));
    for (Eigen::Index a = 0; a < p; ++a) {
        out.coefficients.push_back(static_cast<double>(solution[a] / scale[a]));
        for (Eigen::Index b = 0; b < p; ++b) {
            out.covariance[static_cast<std::size_t>((a * p) + b)] =
                variance * static_cast<double>(unscaled(a, b) / (scale[a] * scale[b]));
        }
    }
    for (std::size_t k = 0; k < out.coefficients.size(); ++k) {
        out.se.push_back(std::sqrt(out.covariance_of(k, k)));
    }
    for (Eigen::Index i = 0; i < n; ++i) {
        out.residuals.push_back(static_cast<double>(residual[i] / root[i]));
    }
    return out;
}

namespace {

std::vector<double> beyond(std::span<const double> x, double at) {
    std::vector<double> out;
    for (const double v : x) {
        out.push_back(std::max(0.0, v - at));
    }
    return out;
}

Expected<Regression> bent_at(std::span<const double> x, std::span<const double> y, double at) {
    const auto hinge = beyond(x, at);
    const std::vector<std::span<const double>> columns{x, hinge};
    return fit_regression(y, columns);
}

} // namespace

Expected<BrokenStick> fit_broken_stick(std::span<const double> x, std::span<const double> y) {
    std::vector<double> distinct(x.begin(), x.end());
    if (!all_finite(x) || !all_finite(y) || x.size() != y.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} values of x and {} of y", x.size(), y.size()),
                     .expected = "equal numbers of finite values"});
    }
    std::sort(distinct.begin(), distinct.end());
    distinct.erase(std::unique(distinct.begin(), distinct.end()), distinct.end());
    if (x.size() < 5 || distinct.size() < 4) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values at {} different x", x.size(), distinct.size()),
                     .expected = "five values at four different x"});
    }
    const auto squares_at = [&](double at) {
        const auto fit = bent_at(x, y, at);
        return fit ? fit->residual_squares : std::numeric_limits<double>::infinity();
    };
    double best_at = distinct[1];
    double best = squares_at(best_at);
    for (std::size_t i = 1; i + 2 < distinct.size(); ++i) {
        // Within a gap the sum of squares has one hollow: the two lines on either side do not change.
        const auto found =
            boost::math::tools::brent_find_minima(squares_at, distinct[i], distinct[i + 1], 26);
        for (const double at : {found.first, distinct[i + 1]}) {
            const double here = squares_at(at);
            if (here < best) {
                best = here;
                best_at = at;
            }
        }
    }
    // Where the two free lines cross inside the gap is the exact minimum: Brent's digits are only half of the
    // machine's.
    for (int polish = 0; polish < 3; ++polish) {
        const auto hinge = beyond(x, best_at);
        std::vector<double> step(x.size());
        for (std::size_t i = 0; i < x.size(); ++i) {
            step[i] = x[i] > best_at ? -1.0 : 0.0;
        }
        const std::vector<std::span<const double>> columns{x, hinge, step};
        const auto fit = fit_regression(y, columns);
        if (!fit || fit->coefficients[2] == 0.0) {
            break;
        }
        const double at = best_at + (fit->coefficients[3] / fit->coefficients[2]);
        const double here = squares_at(at);
        if (!(here <= best * (1.0 + 1e-12))) {
            break;
        }
        best = here;
        best_at = at;
    }
    const auto fit = bent_at(x, y, best_at);
    const std::vector<std::span<const double>> only_x{x};
    const auto one_line = fit_regression(y, only_x);
    if (!fit || !one_line) {
        return fail(!fit ? fit.error() : one_line.error());
    }
    const double change = fit->coefficients[2];
    BrokenStick out{.break_x = best_at,
                    .break_y = fit->coefficients[0] + (fit->coefficients[1] * best_at),
                    .intercept_left = fit->coefficients[0],
                    .slope_left = fit->coefficients[1],
                    .intercept_right = fit->coefficients[0] - (change * best_at),
                    .slope_right = fit->coefficients[1] + change,
                    .residual_squares = fit->residual_squares,
                    .one_line_residual_squares = one_line->residual_squares};
    const double freedom = static_cast<double>(x.size()) - 4.0;
    out.residual_sd = std::sqrt(out.residual_squares / freedom);
    // The break's own column is the derivative by it: -change beyond the break.
    const auto hinge = beyond(x, best_at);
    std::vector<double> by_break(x.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        by_break[i] = x[i] > best_at ? -change : 0.0;
    }
    const std::vector<std::span<const double>> columns{x, hinge, by_break};
    const auto tangent = fit_regression(y, columns);
    if (!tangent) {
        return fail(tangent.error());
    }
    // Its covariance, at the bent fit's own residuals.
    const double ratio = out.residual_sd / tangent->residual_sd;
    out.slope_left_se = tangent->se[1] * ratio;
    out.slope_change_se = tangent->se[2] * ratio;
    out.break_se = tangent->se[3] * ratio;
    return out;
}

} // namespace backeddy::fit
