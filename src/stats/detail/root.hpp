#pragma once
// Where a function crosses zero, to the last digits there are.

#include <cmath>
#include <cstdint>
#include <limits>

#include <boost/math/tools/toms748_solve.hpp>

namespace backeddy::stats::detail {

/// The zero of f between a and b, where f(a) and f(b) have different signs or one is 0 (Alefeld, Potra and
/// Shi 1995, ACM Trans Math Softw 21:327, algorithm 748).
template <typename Function>
[[nodiscard]] double root_between(const Function& f, double a, double b) {
    if (b < a) {
        return root_between(f, b, a);
    }
    const double at_a = f(a);
    const double at_b = f(b);
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

/// The zero of a function that falls from above 0 to below 0 somewhere beyond `start`: looks in steps that
/// double from `step` until the sign has changed. `start` itself when f(start) is not above 0; infinite when
/// 200 steps do not get there.
template <typename Function>
[[nodiscard]] double root_beyond(const Function& f, double start, double step) {
    if (!(f(start) > 0.0)) {
        return start;
    }
    double from = start;
    for (int i = 0; i < 200; ++i) {
        const double to = from + step;
        if (!(f(to) > 0.0)) {
            return root_between(f, from, to);
        }
        from = to;
        step *= 2.0;
    }
    return std::copysign(std::numeric_limits<double>::infinity(), step);
}

} // namespace backeddy::stats::detail
