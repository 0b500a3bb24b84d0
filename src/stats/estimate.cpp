#include "stats/estimate.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <Eigen/Dense>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>

namespace backeddy::stats {

namespace bm = boost::math;

namespace {

/// A quantile too large for a double is infinite: no information, not an accident.
using Quiet = bm::policies::policy<bm::policies::overflow_error<bm::policies::ignore_error>>;

} // namespace

double two_sided_quantile(double level, double freedom) {
    const double upper = 0.5 * (1.0 - level);
    return std::isinf(freedom)
               ? bm::quantile(bm::complement(bm::normal(), upper))
               : bm::quantile(bm::complement(bm::students_t_distribution<double, Quiet>(freedom), upper));
}

double two_sided_p(double t, double freedom) {
    if (std::isinf(t)) {
        return 0.0;
    }
    const double size = std::abs(t);
    return std::isinf(freedom) ? 2.0 * bm::cdf(bm::complement(bm::normal(), size))
                               : 2.0 * bm::cdf(bm::complement(bm::students_t(freedom), size));
}

double f_upper(double f, double numerator, double denominator) {
    if (std::isinf(f)) {
        return 0.0;
    }
    return std::isinf(denominator) ? chi_squared_upper(f * numerator, numerator)
                                   : bm::cdf(bm::complement(bm::fisher_f(numerator, denominator), f));
}

double chi_squared_upper(double x, double freedom) {
    return bm::cdf(bm::complement(bm::chi_squared(freedom), x));
}

ChiSquaredTest chi_squared_test(double value, double freedom) {
    return {.chi_squared = value, .freedom = freedom, .p = chi_squared_upper(std::max(0.0, value), freedom)};
}

Estimate make_estimate(std::string name, double value, double se, double freedom, double level) {
    Estimate out{.name = std::move(name), .value = value, .se = se, .freedom = freedom};
    const double beyond = std::numeric_limits<double>::infinity();
    out.statistic = se > 0.0 ? value / se : (value == 0.0 ? 0.0 : std::copysign(beyond, value));
    out.p = two_sided_p(out.statistic, freedom);
    const double half = se > 0.0 ? two_sided_quantile(level, freedom) * se : 0.0;
    out.lower = value - half;
    out.upper = value + half;
    return out;
}

Ratio ratio_of(const Estimate& logarithm) {
    return {.name = logarithm.name,
            .value = std::exp(logarithm.value),
            .lower = std::exp(logarithm.lower),
            .upper = std::exp(logarithm.upper)};
}

Combination combine(std::span<const double> weights, std::span<const double> coefficients,
                    std::span<const double> covariance) {
    Combination out;
    const std::size_t p = coefficients.size();
    for (std::size_t i = 0; i < p; ++i) {
        out.value += weights[i] * coefficients[i];
        double row = 0.0;
        for (std::size_t j = 0; j < p; ++j) {
            row += covariance[(i * p) + j] * weights[j];
        }
        out.variance += weights[i] * row;
    }
    return out;
}

double wald_f(const std::vector<std::vector<double>>& rows, std::span<const double> coefficients,
              std::span<const double> covariance) {
    const auto p = static_cast<Eigen::Index>(coefficients.size());
    const auto count = static_cast<Eigen::Index>(rows.size());
    Eigen::MatrixXd l(count, p);
    Eigen::MatrixXd v(p, p);
    Eigen::VectorXd b(p);
    for (Eigen::Index j = 0; j < p; ++j) {
        b[j] = coefficients[static_cast<std::size_t>(j)];
        for (Eigen::Index i = 0; i < count; ++i) {
            l(i, j) = rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)];
        }
        for (Eigen::Index i = 0; i < p; ++i) {
            v(i, j) = covariance[static_cast<std::size_t>((i * p) + j)];
        }
    }
    const Eigen::VectorXd lb = l * b;
    const Eigen::MatrixXd spread = l * v * l.transpose();
    return lb.dot(spread.ldlt().solve(lb)) / static_cast<double>(rows.size());
}

} // namespace backeddy::stats
