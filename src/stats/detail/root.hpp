#pragma once
// Where a function crosses zero, to the last digits there are.

#include <cmath>
#include <cstdint>
#include <limits>

#include <boost/math/tools/toms748_solve.hpp>

namespace backeddy::stats::detail {

/// Where a function was looked at, and what it gave there.
struct Ordinate {
    double at = 0.0;
    double value = 0.0;
};

/// The zero of f between two places at which it is known to have different signs or to be 0 (Alefeld, Potra
/// and Shi 1995, ACM Trans Math Softw 21:327, algorithm 748). f is not asked there again: one that starts
/// from its last answer may not give the same twice.
template <typename Function>
[[nodiscard]] double root_between(const Function& f, Ordinate from, Ordinate to) {
    const auto& [a, at_a] = from.at < to.at ? from : to;
    const auto& [b, at_b] = from.at < to.at ? to : from;
    if (at_a == 0.0) {
        return a;
    }
    if (at_b == 0.0) {
        return b;
    }
    std::uintmax_t rounds = 200;
    const auto close = [](double x, double y) {
        return std::abs(y - x) <= 2.0 * std::numeric_limits<double>::epsilon() * std::abs(x + y);
    };
    const auto [lower, upper] = boost::math::tools::toms748_solve(f, a, b, at_a, at_b, close, rounds);
    return 0.5 * (lower + upper);
}

/// The same where f is not known yet at a and b.
template <typename Function>
[[nodiscard]] double root_between(const Function& f, double a, double b) {
    return root_between(f, Ordinate{a, f(a)}, Ordinate{b, f(b)});
}

/// The zero of a function that falls from above 0 to below 0 somewhere beyond `start`: looks in steps that
/// double from `step` until the sign has changed. `start` itself when f(start) is not above 0; infinite when
/// 200 steps do not get there.
template <typename Function>
[[nodiscard]] double root_beyond(const Function& f, double start, double step) {
    Ordinate from{start, f(start)};
    if (!(from.value > 0.0)) {
        return start;
    }
    for (int i = 0; i < 200; ++i) {
        const double at = from.at + step;
        const Ordinate to{at, f(at)};
        if (!(to.value > 0.0)) {
            return root_between(f, from, to);
        }
        from = to;
        step *= 2.0;
    }
    return std::copysign(std::numeric_limits<double>::infinity(), step);
}

} // namespace backeddy::stats::detail
