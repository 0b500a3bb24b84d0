#include "stats/detail/noncentral_t.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/special_functions/gamma.hpp>

#include "stats/detail/root.hpp"

namespace backeddy::stats::detail {

namespace {

namespace bm = boost::math;
/// Tails below the smallest number are 0, not an exception.
using Quiet = bm::policies::policy<bm::policies::underflow_error<bm::policies::ignore_error>,
                                   bm::policies::overflow_error<bm::policies::ignore_error>,
                                   bm::policies::evaluation_error<bm::policies::ignore_error>>;
using NoncentralT = bm::non_central_t_distribution<double, Quiet>;

/// Beyond it the series takes ever longer, and at last counts its terms in a number that is too short.
constexpr double largest_by_series = 1000.0;

enum class Tail : std::uint8_t { lower, upper };

/// T = (Z + noncentrality) / S, Z standard normal, S^2 chi-squared over its freedom: T <= t when S >= (Z +
/// noncentrality) / t, averaged over Z by the trapezoidal rule, which is exact to rounding for so smooth an
/// integrand. `noncentrality` is large and positive, so that T is not below 0.
double by_integration(double t, double freedom, double noncentrality, Tail tail) {
    if (t <= 0.0) {
        return tail == Tail::lower ? 0.0 : 1.0;
    }
    // As a function of Z the chi-squared's tail is a step this wide; where it is narrower than the least
    // step, t is so far below the noncentrality that the step is out of reach.
    const double width = t / std::sqrt(2.0 * freedom);
    const double step = std::clamp(0.1 * width, 0.001, 0.1);
    constexpr double reach = 8.5;
    const int steps = static_cast<int>(std::ceil(reach / step));
    double sum = 0.0;
    double weights = 0.0;
    for (int i = -steps; i <= steps; ++i) {
        const double z = reach * i / steps;
        const double weight = std::exp(-0.5 * z * z);
        const double s = (noncentrality + z) / t;
        const double half_squares = 0.5 * freedom * s * s;
        weights += weight;
        sum += weight * (tail == Tail::lower ? bm::gamma_q(0.5 * freedom, half_squares, Quiet())
                                             : bm::gamma_p(0.5 * freedom, half_squares, Quiet()));
    }
    return sum / weights;
}

} // namespace

double noncentral_t_lower(double t, double freedom, double noncentrality) {
    if (std::abs(noncentrality) > largest_by_series) {
        return noncentrality > 0.0 ? by_integration(t, freedom, noncentrality, Tail::lower)
                                   : by_integration(-t, freedom, -noncentrality, Tail::upper);
    }
    return bm::cdf(NoncentralT(freedom, noncentrality), t);
}

double noncentral_t_upper(double t, double freedom, double noncentrality) {
    if (std::abs(noncentrality) > largest_by_series) {
        return noncentrality > 0.0 ? by_integration(t, freedom, noncentrality, Tail::upper)
                                   : by_integration(-t, freedom, -noncentrality, Tail::lower);
    }
    return bm::cdf(bm::complement(NoncentralT(freedom, noncentrality), t));
}

double noncentral_t_quantile(double p, double freedom, double noncentrality) {
    // P(T <= t) falls short of p far below the noncentrality and exceeds it far above.
    const auto lacks = [&](double t) { return p - noncentral_t_lower(t, freedom, noncentrality); };
    const double step = 1.0 + std::abs(noncentrality);
    return lacks(noncentrality) > 0.0
               ? root_beyond(lacks, noncentrality, step)
               : root_beyond([&](double t) { return -lacks(t); }, noncentrality, -step);
}

double noncentrality_of(double t, double freedom, double p) {
    const auto exceeds = [&](double nc) { return noncentral_t_lower(t, freedom, nc) - p; };
    const double step = 1.0 + (0.1 * std::abs(t));
    return exceeds(t) > 0.0 ? root_beyond(exceeds, t, step)
                            : root_beyond([&](double nc) { return -exceeds(nc); }, t, -step);
}

} // namespace backeddy::stats::detail
