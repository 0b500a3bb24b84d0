#include "stats/multiplicity.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <boost/math/tools/toms748_solve.hpp>

namespace backeddy::stats {

namespace {

/// Places of the values, smallest first; equal ones in the order given.
std::vector<std::size_t> ascending(std::span<const double> p) {
    std::vector<std::size_t> order(p.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return p[a] < p[b]; });
    return order;
}

double normal_cdf(double z) {
    return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

/// P(range of k standard normals > w). With z the largest of them: k phi(z) (Phi(z)^(k-1) - (Phi(z) -
/// Phi(z - w))^(k-1)), the difference taken by expm1 so that a small one keeps its digits. It falls like
/// exp(-(z - w/2)^2) on either side of w/2.
double range_upper(double w, std::size_t k) {
    const auto m = static_cast<double>(k - 1);
    const auto density = [&](double z) {
        const double below = normal_cdf(z);
        const double phi = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
        return -phi * std::pow(below, m) * std::expm1(m * std::log1p(-normal_cdf(z - w) / below));
    };
    constexpr int panels = 6;
    constexpr double reach = 9.0;
    double sum = 0.0;
    for (int panel = 0; panel < panels; ++panel) {
        const double from = (0.5 * w) - reach + (2.0 * reach * panel / panels);
        sum += boost::math::quadrature::gauss<double, 20>::integrate(density, from,
                                                                     from + (2.0 * reach / panels));
    }
    return std::min(1.0, sum * static_cast<double>(k));
}

} // namespace

std::vector<double> holm(std::span<const double> p) {
    std::vector<double> out(p.size());
    double largest = 0.0;
    std::size_t rank = 0;
    for (const std::size_t i : ascending(p)) {
        largest = std::max(largest, static_cast<double>(p.size() - rank) * p[i]);
        out[i] = std::min(1.0, largest);
        ++rank;
    }
    return out;
}

std::vector<double> benjamini_hochberg(std::span<const double> p) {
    std::vector<double> out(p.size());
    auto order = ascending(p);
    double least = 1.0;
    for (std::size_t rank = order.size(); rank > 0; --rank) {
        const std::size_t i = order[rank - 1];
        least = std::min(least, static_cast<double>(p.size()) * p[i] / static_cast<double>(rank));
        out[i] = least;
    }
    return out;
}

double studentized_range_upper(double q, std::size_t means, double freedom) {
    if (!(q > 0.0)) {
        return 1.0;
    }
    if (std::isinf(freedom)) {
        return range_upper(q, means);
    }
    // Over t = log s, s the estimate over the truth, by the trapezoid rule: the integrand is analytic and
    // falls at both ends, so that the rule's error falls exponentially with the number of steps. It peaks
    // near s^2 = 1 / (1 + q^2 / 2 freedom), falls like exp(freedom t) to the left and like exp(-freedom s^2 /
    // 2) to the right.
    const double half = 0.5 * freedom;
    const double width = 1.0 / std::sqrt(2.0 * freedom);
    const double step = std::min(0.12, 0.5 * width);
    const double least = (-0.5 * std::log1p(q * q / (2.0 * freedom))) - (37.0 / freedom) - (9.0 * width);
    const double greatest = (0.5 * std::log1p(90.0 / freedom)) + (9.0 * width);
    const double constant = std::log(2.0) + (half * std::log(half)) - boost::math::lgamma(half);
    const auto steps = static_cast<int>(std::ceil((greatest - least) / step));
    double sum = 0.0;
    for (int i = 0; i <= steps; ++i) {
        const double t = least + (step * i);
        const double s = std::exp(t);
        const double log_density = constant + (freedom * t) - (half * s * s);
        sum += std::exp(log_density) * range_upper(q * s, means);
    }
    return std::min(1.0, sum * step);
}

double studentized_range_quantile(double level, std::size_t means, double freedom) {
    const double wanted = std::log(1.0 - level);
    const auto beyond = [&](double q) {
        return std::log(studentized_range_upper(q, means, freedom)) - wanted;
    };
    double low = 0.0;
    double high = 4.0;
    double low_value = -wanted;
    double high_value = beyond(high);
    while (high_value > 0.0) {
        low = high;
        low_value = high_value;
        high *= 2.0;
        high_value = beyond(high);
    }
    std::uintmax_t most = 100;
    const auto found = boost::math::tools::toms748_solve(beyond, low, high, low_value, high_value,
                                                         boost::math::tools::eps_tolerance<double>(40), most);
    return 0.5 * (found.first + found.second);
}

} // namespace backeddy::stats
