#pragma once
// The growth curve of a chamber's microbes, fitted through four or more blanks.

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace backeddy::uptake::detail {

/// top / (1 + exp(-rate (t - middle))).
struct Logistic {
    double top = 0.0;
    double rate = 0.0;
    double middle = 0.0;
    [[nodiscard]] double at(double t) const { return top / (1.0 + std::exp(-rate * (t - middle))); }
    /// By top, rate and middle.
    [[nodiscard]] std::array<double, 3> gradient(double t) const {
        const double share = 1.0 / (1.0 + std::exp(-rate * (t - middle)));
        const double turn = top * share * (1.0 - share);
        return {share, turn * (t - middle), -turn * rate};
    }
};

/// a x = b for a symmetric 3 x 3 matrix, by Cramer's rule; nothing when it is singular.
inline std::optional<std::array<double, 3>> solve_3(const std::array<std::array<double, 3>, 3>& a,
                                                    const std::array<double, 3>& b) {
    const auto determinant = [](const std::array<std::array<double, 3>, 3>& m) {
        return (m[0][0] * ((m[1][1] * m[2][2]) - (m[1][2] * m[2][1]))) -
               (m[0][1] * ((m[1][0] * m[2][2]) - (m[1][2] * m[2][0]))) +
               (m[0][2] * ((m[1][0] * m[2][1]) - (m[1][1] * m[2][0])));
    };
    const double all = determinant(a);
    if (!(std::abs(all) > 1e-14 * std::abs(a[0][0] * a[1][1] * a[2][2]))) {
        return std::nullopt;
    }
    std::array<double, 3> x{};
    for (std::size_t c = 0; c < 3; ++c) {
        auto with = a;
        for (std::size_t r = 0; r < 3; ++r) {
            with[r][c] = b[r];
        }
        x[c] = determinant(with) / all;
    }
    return x;
}

/// How far each value moves the fitted curve at `here`: g(here)' (J'J)^-1 J_k, first order (Gauss-Newton).
inline std::optional<std::vector<double>> logistic_weights(const Logistic& curve, std::span<const double> t,
                                                           double here) {
    std::array<std::array<double, 3>, 3> normal{};
    for (const double one : t) {
        const auto g = curve.gradient(one);
        for (std::size_t r = 0; r < 3; ++r) {
            for (std::size_t c = 0; c < 3; ++c) {
                normal[r][c] += g[r] * g[c];
            }
        }
    }
    const auto solved = solve_3(normal, curve.gradient(here));
    if (!solved) {
        return std::nullopt;
    }
    std::vector<double> weights;
    for (const double one : t) {
        const auto g = curve.gradient(one);
        weights.push_back((g[0] * (*solved)[0]) + (g[1] * (*solved)[1]) + (g[2] * (*solved)[2]));
    }
    return weights;
}

/// For one shape (rate, middle) the best top is a matter of proportion; what is left is its misfit.
struct LogisticTrial {
    Logistic curve;
    double misfit = std::numeric_limits<double>::infinity();
};

inline LogisticTrial logistic_trial(std::span<const double> t, std::span<const double> y, double rate,
                                    double middle) {
    double yy = 0.0;
    double yg = 0.0;
    double gg = 0.0;
    const Logistic unit{.top = 1.0, .rate = rate, .middle = middle};
    for (std::size_t i = 0; i < t.size(); ++i) {
        const double g = unit.at(t[i]);
        yg += y[i] * g;
        gg += g * g;
    }
    LogisticTrial out{.curve = {.top = yg / gg, .rate = rate, .middle = middle}, .misfit = 0.0};
    for (std::size_t i = 0; i < t.size(); ++i) {
        const double r = y[i] - out.curve.at(t[i]);
        yy += r * r;
    }
    out.misfit = yy;
    return out;
}

/// Least squares by a search over log rate and middle that halves its steps until they do not matter (1e-9 of
/// the span); top follows from the two. Growth only (rate > 0), over at most the span before the first and
/// after the last value for its middle: beyond that the curve is an exponential and says nothing of a top.
/// Nothing when values are not all of one sign, or the best middle or rate lies at the edge of the search.
inline std::optional<Logistic> fit_logistic(std::span<const double> t, std::span<const double> y) {
    const bool positive = std::all_of(y.begin(), y.end(), [](double v) { return v > 0.0; });
    const bool negative = std::all_of(y.begin(), y.end(), [](double v) { return v < 0.0; });
    const auto [first, last] = std::minmax_element(t.begin(), t.end());
    const double span = t.empty() ? 0.0 : *last - *first;
    if (t.size() < 4 || (!positive && !negative) || !(span > 0.0)) {
        return std::nullopt;
    }
    const double low_log = std::log(0.1 / span);
    const double high_log = std::log(200.0 / span);
    const double low_middle = *first - span;
    const double high_middle = *last + span;
    constexpr int steps = 40;
    LogisticTrial best;
    double log_rate = 0.0;
    double middle = 0.0;
    const auto consider = [&](double a, double m) {
        if (a < low_log || a > high_log || m < low_middle || m > high_middle) {
            return false;
        }
        const LogisticTrial trial = logistic_trial(t, y, std::exp(a), m);
        if (!(trial.misfit < best.misfit)) {
            return false;
        }
        best = trial;
        log_rate = a;
        middle = m;
        return true;
    };
    for (int i = 0; i <= steps; ++i) {
        for (int j = 0; j <= steps; ++j) {
            consider(low_log + ((high_log - low_log) * i / steps),
                     low_middle + ((high_middle - low_middle) * j / steps));
        }
    }
    double da = (high_log - low_log) / steps;
    double dm = (high_middle - low_middle) / steps;
    for (int round = 0; round < 20000 && (da > 1e-9 || dm > 1e-9 * span); ++round) {
        const double a = log_rate;
        const double m = middle;
        constexpr std::array<std::array<int, 2>, 8> around{
            {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}, {1, -1}, {-1, 1}}};
        bool moved = false;
        for (const auto& way : around) {
            moved = consider(a + (da * way[0]), m + (dm * way[1])) || moved;
        }
        if (!moved) {
            da *= 0.5;
            dm *= 0.5;
        }
    }
    const double edge = 1e-6;
    if (log_rate < low_log + edge || log_rate > high_log - edge || middle < low_middle + (edge * span) ||
        middle > high_middle - (edge * span)) {
        return std::nullopt;
    }
    return best.curve;
}

} // namespace backeddy::uptake::detail
