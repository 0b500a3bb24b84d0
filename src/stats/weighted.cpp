#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <fmt/format.h>

#include "stats/detail/check.hpp"
#include "stats/detail/moments.hpp"
#include "stats/detail/root.hpp"
#include "stats/paired.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

/// The weighted mean when the variance between pairs is `between`, and what the likelihood needs of it.
struct Weighing {
    std::vector<double> weights;
    double sum = 0.0;
    double mean = 0.0;
    double scatter = 0.0;        ///< sum w (d - mean)^2
    double score = 0.0;          ///< twice the slope of the restricted log-likelihood in `between`
    double log_likelihood = 0.0; ///< restricted, up to a constant
};

Weighing weigh(std::span<const double> d, std::span<const double> variances, double between) {
    Weighing out;
    double weighted = 0.0;
    double squares = 0.0;
    double log_sum = 0.0;
    for (std::size_t i = 0; i < d.size(); ++i) {
        const double w = 1.0 / (variances[i] + between);
        out.weights.push_back(w);
        out.sum += w;
        weighted += w * d[i];
        squares += w * w;
        log_sum += std::log(w);
    }
    out.mean = weighted / out.sum;
    double slope = 0.0;
    for (std::size_t i = 0; i < d.size(); ++i) {
        const double off = d[i] - out.mean;
        out.scatter += out.weights[i] * off * off;
        slope += out.weights[i] * out.weights[i] * off * off;
    }
    out.score = slope - (out.sum - (squares / out.sum));
    out.log_likelihood = 0.5 * (log_sum - std::log(out.sum) - out.scatter);
    return out;
}

/// Where the restricted likelihood is highest. With unequal uncertainties it may have more than one maximum:
/// its slope is looked at on a grid from far below the smallest variance to beyond all scatter, and every
/// place where it turns from up to down is followed.
double between_variance(std::span<const double> d, std::span<const double> variances) {
    const double spread = detail::moments_of(d).variance;
    const auto [least, most] = std::minmax_element(variances.begin(), variances.end());
    const double far = 100.0 * (spread + *most);
    constexpr int steps = 200;
    double from = 0.0;
    double slope_from = weigh(d, variances, 0.0).score;
    double best = 0.0;
    double highest = weigh(d, variances, 0.0).log_likelihood;
    const double near = 1e-4 * std::min(*least, spread);
    for (int i = 0; i <= steps; ++i) {
        const double to = near * std::pow(far / near, static_cast<double>(i) / steps);
        const double slope_to = weigh(d, variances, to).score;
        if (slope_from > 0.0 && slope_to <= 0.0) {
            const double peak = detail::root_between(
                [&](double between) { return weigh(d, variances, between).score; }, from, to);
            const double height = weigh(d, variances, peak).log_likelihood;
            if (height > highest) {
                highest = height;
                best = peak;
            }
        }
        from = to;
        slope_from = slope_to;
    }
    return best;
}

/// The variance between pairs at which the weighted scatter is `quantile`; it falls as the variance grows.
double variance_for_scatter(std::span<const double> d, std::span<const double> variances, double quantile) {
    const double step = detail::moments_of(d).variance;
    return detail::root_beyond(
        [&](double between) { return weigh(d, variances, between).scatter - quantile; }, 0.0, step);
}

Expected<void> check_weighted(const Differences& pairs, std::span<const double> uncertainties) {
    if (auto fine = detail::check_count(pairs.values.size(), 2, "complete pairs"); !fine) {
        return fine;
    }
    if (uncertainties.size() != pairs.values.size()) {
        return fail({.code = ErrorCode::bad_row,
                     .found = fmt::format("{} differences and {} uncertainties", pairs.values.size(),
                                          uncertainties.size()),
                     .expected = "a standard uncertainty of each difference"});
    }
    if (auto fine = detail::check_finite(pairs.values, "difference"); !fine) {
        return fine;
    }
    if (auto fine = detail::check_finite(uncertainties, "uncertainty"); !fine) {
        return fine;
    }
    for (std::size_t i = 0; i < uncertainties.size(); ++i) {
        if (!(uncertainties[i] > 0.0)) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("the uncertainty of difference {} is {}", i + 1, uncertainties[i]),
                 .expected = "a standard uncertainty above 0: a pair known without error would outweigh "
                             "all others",
                 .remedy = "give it the uncertainty it has, or use the plain paired t"});
        }
    }
    const auto [least, most] = std::minmax_element(pairs.values.begin(), pairs.values.end());
    if (*most - *least <= pairs.rounding) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("all differences are {:.6g}", *most),
                     .expected = "differences that vary: errors are judged by their spread"});
    }
    return {};
}

} // namespace

Expected<WeightedDifference> weighted_difference(const Differences& pairs,
                                                 std::span<const double> uncertainties,
                                                 const WeightedOptions& options) {
    for (auto fine : {detail::check_level(options.level), check_weighted(pairs, uncertainties)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const auto& d = pairs.values;
    std::vector<double> variances;
    for (const double u : uncertainties) {
        variances.push_back(u * u);
    }
    const double between = between_variance(d, variances);
    auto weighing = weigh(d, variances, between);
    const double freedom = static_cast<double>(d.size()) - 1.0;
    WeightedDifference out{.n = d.size(), .between_sd = std::sqrt(between)};
    out.error_factor = weighing.scatter / freedom;
    const double factor = options.error == WeightedError::at_least_as_stated ? std::max(1.0, out.error_factor)
                                                                             : out.error_factor;
    out.difference =
        make_estimate("difference", weighing.mean, std::sqrt(factor / weighing.sum), freedom, options.level);
    const bm::students_t student(freedom);
    out.p = {.two_sided = out.difference.p,
             .greater = bm::cdf(bm::complement(student, out.difference.statistic)),
             .less = bm::cdf(student, out.difference.statistic)};
    out.scatter = weigh(d, variances, 0.0).scatter;
    out.scatter_p = chi_squared_upper(out.scatter, freedom);
    const double beyond = 0.5 * (1.0 - options.level);
    const bm::chi_squared chi_squared(freedom);
    out.between_sd_interval = {
        std::sqrt(variance_for_scatter(d, variances, bm::quantile(bm::complement(chi_squared, beyond)))),
        std::sqrt(variance_for_scatter(d, variances, bm::quantile(chi_squared, beyond)))};
    out.weights = std::move(weighing.weights);
    for (double& w : out.weights) {
        w /= weighing.sum;
    }
    return out;
}

} // namespace backeddy::stats
