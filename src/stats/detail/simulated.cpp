#include "stats/detail/simulated.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include <fmt/format.h>

#include "stats/detail/check.hpp"

namespace backeddy::stats::detail {

namespace {

/// Counted down the distribution (Devroye 1986, Non-Uniform Random Variate Generation, X.3.3), a large mean
/// in parts, whose sum is Poisson too.
double poisson(double mean, Random& random) {
    constexpr double part = 400.0;
    double out = 0.0;
    for (; mean > part; mean -= part) {
        out += poisson(part, random);
    }
    double left = random.uniform();
    double share = std::exp(-mean);
    double count = 0.0;
    while (left > share && count < 10.0 * part) {
        left -= share;
        count += 1.0;
        share *= mean / count;
    }
    return out + count;
}

/// Of mean 1 and variance 1 / shape (Marsaglia and Tsang 2000, ACM Trans Math Softw 26:363).
double gamma(double shape, Random& random) {
    if (shape < 1.0) {
        const double u = random.uniform();
        return gamma(shape + 1.0, random) * ((shape + 1.0) / shape) * std::pow(u, 1.0 / shape);
    }
    const double d = shape - (1.0 / 3.0);
    const double c = 1.0 / std::sqrt(9.0 * d);
    for (;;) {
        const double x = random.normal();
        const double v = std::pow(1.0 + (c * x), 3.0);
        if (v > 0.0 && std::log(random.uniform()) < (0.5 * x * x) + d - (d * v) + (d * std::log(v))) {
            return d * v / shape;
        }
    }
}

} // namespace

double drawn(const Kind& kind, double mean, double trials, Random& random) {
    if (kind.family != Family::binomial) {
        return poisson(kind.theta ? mean * gamma(*kind.theta, random) : mean, random);
    }
    double out = 0.0;
    for (double k = 0.0; k < trials; k += 1.0) {
        out += random.uniform() < mean ? 1.0 : 0.0;
    }
    return out;
}

void DrawsDone::add_one() {
    if (options_.drawn) {
        const std::lock_guard lock(guard_);
        try {
            options_.drawn(++done_, options_.draws);
        } catch (...) {
            is_over_ = true;
            throw;
        }
    }
}

namespace {

// The k-th largest of the simulated ratios, k the share of 1 + draws that may lie beyond.
double critical_ratio(const std::vector<std::optional<double>>& slots, double level) {
    std::vector<double> ratios;
    for (const auto& slot : slots) {
        if (slot) {
            ratios.push_back(*slot);
        }
    }
    std::sort(ratios.begin(), ratios.end(), std::greater<>());
    const double beyond = (1.0 - level) * static_cast<double>(1 + ratios.size());
    const auto k = static_cast<std::size_t>(std::floor(beyond + 1e-9));
    return k == 0 ? std::numeric_limits<double>::infinity() : ratios[k - 1];
}

} // namespace

Expected<void> check_bootstrap(std::size_t term, std::size_t terms, const TermBootstrapOptions& options) {
    constexpr std::size_t least_draws = 20;
    if (term >= terms || options.draws < least_draws) {
        return fail({.code = term >= terms ? ErrorCode::bad_relation : ErrorCode::too_few,
                     .found = fmt::format("term {} of {}, {} draws", term + 1, terms, options.draws),
                     .expected = "one of the model's terms, and 20 draws or more"});
    }
    return check_level(options.level);
}

Expected<TermBootstrap> judged(std::string term, double chi_squared,
                               const std::vector<std::optional<double>>& ratios, double level) {
    TermBootstrap out{.term = std::move(term), .chi_squared = chi_squared};
    double beyond = 0.0;
    // The same outcome drawn again has the same ratio but for rounding.
    const double as_much = out.chi_squared - (1e-9 * (1.0 + out.chi_squared));
    for (const auto& ratio : ratios) {
        out.draws += ratio ? 1 : 0;
        beyond += ratio && *ratio >= as_much ? 1.0 : 0.0;
    }
    out.failed = ratios.size() - out.draws;
    if (2 * out.draws < ratios.size()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} of {} draws could not be fitted", out.failed, ratios.size()),
                     .expected = "at least half of them",
                     .remedy = "a smaller model"});
    }
    out.p = (1.0 + beyond) / (1.0 + static_cast<double>(out.draws));
    out.critical = critical_ratio(ratios, level);
    return out;
}

} // namespace backeddy::stats::detail
