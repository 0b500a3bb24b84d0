#include "stats/mixed_bootstrap.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include <fmt/format.h>

#include "fit/quantile.hpp"

namespace backeddy::stats {

namespace {

std::vector<double> sds_of(const MixedFit& fit) {
    std::vector<double> out;
    for (const auto& effect : fit.random) {
        if (!effect.intercepts.empty()) {
            out.push_back(effect.intercept_sd);
        }
        if (!effect.slopes.empty()) {
            out.push_back(effect.slope_sd);
        }
    }
    out.push_back(fit.residual_sd);
    return out;
}

/// What is kept of one refit.
struct Draw {
    std::vector<double> values;
    std::vector<double> ses;
    std::vector<double> sds;
};

std::vector<BootstrapSd> named_sds(const MixedFit& fit) {
    std::vector<BootstrapSd> out;
    for (const auto& effect : fit.random) {
        if (!effect.intercepts.empty()) {
            out.push_back({.group = effect.group, .value = effect.intercept_sd});
        }
        if (!effect.slopes.empty()) {
            out.push_back({.group = effect.group, .slope_of = effect.slope_of, .value = effect.slope_sd});
        }
    }
    out.push_back({.value = fit.residual_sd});
    return out;
}

/// On (draws + 1) p, as Davison and Hinkley take them.
double quantile(const std::vector<double>& ascending, double p) {
    return fit::quantile_of_sorted(ascending, p, fit::QuantileType::weibull);
}

BootstrapCoefficient coefficient(const Estimate& estimate, const std::vector<Draw>& draws, std::size_t k,
                                 double level) {
    std::vector<double> t;
    double mean = 0.0;
    double beyond = 0.0;
    const auto count = static_cast<double>(draws.size());
    for (const auto& draw : draws) {
        t.push_back((draw.values[k] - estimate.value) / draw.ses[k]);
        beyond += std::abs(t.back()) >= std::abs(estimate.statistic) ? 1.0 : 0.0;
        mean += draw.values[k] / count;
    }
    std::sort(t.begin(), t.end());
    double squares = 0.0;
    for (const auto& draw : draws) {
        squares += (draw.values[k] - mean) * (draw.values[k] - mean);
    }
    const double tail = 0.5 * (1.0 - level);
    return {.name = estimate.name,
            .value = estimate.value,
            .se = std::sqrt(squares / (count - 1.0)),
            .p = (1.0 + beyond) / (1.0 + count),
            .lower = estimate.value - (quantile(t, 1.0 - tail) * estimate.se),
            .upper = estimate.value - (quantile(t, tail) * estimate.se)};
}

} // namespace

Expected<MixedBootstrap> bootstrap_mixed(const MixedModel& model, const MixedFit& fit,
                                         const MixedBootstrapOptions& options) {
    constexpr std::size_t least_draws = 20;
    if (options.draws < least_draws || !(options.level > 0.0 && options.level < 1.0)) {
        return fail({.code = options.draws < least_draws ? ErrorCode::too_few : ErrorCode::out_of_range,
                     .found = fmt::format("{} draws at a level of {}", options.draws, options.level),
                     .expected = "20 draws or more, a level between 0 and 1"});
    }
    std::vector<std::optional<Draw>> slots(options.draws);
    parallel_for(options.draws, options.threads, [&](std::size_t i) {
        Random random(options.seed, i);
        const auto again = fit_mixed(model.with_outcome(simulate_outcome(model, fit, random)), fit.criterion);
        if (!again) {
            return;
        }
        Draw draw{.values = again->values(), .sds = sds_of(*again)};
        for (const auto& one : again->coefficients) {
            draw.ses.push_back(one.se);
        }
        slots[i] = std::move(draw);
    });
    std::vector<Draw> draws;
    for (auto& slot : slots) {
        if (slot) {
            draws.push_back(*std::move(slot));
        }
    }
    MixedBootstrap out{.sds = named_sds(fit), .draws = options.draws, .failed = options.draws - draws.size()};
    if (2 * draws.size() < options.draws) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} of {} draws could not be fitted", out.failed, out.draws),
                     .expected = "at least half of them",
                     .remedy = "a smaller model"});
    }
    for (std::size_t k = 0; k < fit.coefficients.size(); ++k) {
        out.coefficients.push_back(coefficient(fit.coefficients[k], draws, k, options.level));
    }
    const double tail = 0.5 * (1.0 - options.level);
    for (std::size_t k = 0; k < out.sds.size(); ++k) {
        std::vector<double> values;
        double zeros = 0.0;
        for (const auto& draw : draws) {
            values.push_back(draw.sds[k]);
            zeros += draw.sds[k] == 0.0 ? 1.0 : 0.0;
        }
        std::sort(values.begin(), values.end());
        out.sds[k].lower = quantile(values, tail);
        out.sds[k].upper = quantile(values, 1.0 - tail);
        out.sds[k].at_zero = zeros / static_cast<double>(draws.size());
    }
    return out;
}

} // namespace backeddy::stats
