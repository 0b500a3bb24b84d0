#include "condition/plate_noise.hpp"

#include <cmath>
#include <cstdlib>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

/// Sums over the groups at one power, weighted by freedom, with l = ln mean less its weighted mean and
/// r = variance / mean^power.
struct Sums {
    double r = 0.0;
    double rl = 0.0;
    double rll = 0.0;
};

Sums sums_at(std::span<const Replicates> groups, double power, double log_middle) {
    Sums sums;
    for (const auto& group : groups) {
        const double l = std::log(group.mean) - log_middle;
        const double r = static_cast<double>(group.freedom) * group.variance * std::exp(-power * l);
        sums.r += r;
        sums.rl += r * l;
        sums.rll += r * l * l;
    }
    return sums;
}

Error degenerate(std::string found) {
    return {.code = ErrorCode::degenerate,
            .found = std::move(found),
            .expected = "replicates that scatter, at different responses",
            .remedy = "state the variance power instead"};
}

} // namespace

double VariancePower::sd(double mean) const {
    return scale * std::pow(mean, power / 2.0);
}

Expected<VariancePower> fit_variance_power(std::span<const Replicates> groups) {
    double freedom = 0.0;
    double log_sum = 0.0;
    for (const auto& group : groups) {
        if (!(group.mean > 0.0) || !std::isfinite(group.mean) || !(group.variance >= 0.0) ||
            !std::isfinite(group.variance) || group.freedom == 0) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("replicates of mean {} and variance {}, {} degrees of freedom",
                                              group.mean, group.variance, group.freedom),
                         .expected = "a mean above 0, a variance of 0 or more, at least two wells",
                         .remedy = "leave them out"});
        }
        freedom += static_cast<double>(group.freedom);
        log_sum += static_cast<double>(group.freedom) * std::log(group.mean);
    }
    if (groups.size() < 3) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} groups of replicates", groups.size()),
                     .expected = "at least three",
                     .remedy = "state the variance power instead"});
    }
    const double log_middle = log_sum / freedom;
    double spread = 0.0;
    for (const auto& group : groups) {
        const double l = std::log(group.mean) - log_middle;
        spread += static_cast<double>(group.freedom) * l * l;
    }
    if (spread <= 1e-12 * freedom) {
        return fail(degenerate("replicates that all have one mean"));
    }
    // With the scale at its best, the log-likelihood is -freedom/2 ln(sum r), l centred: ln(sum r) is convex
    // in the power, and its slope -rl/r is brought to 0 by Newton's steps, no longer than 1.
    double power = 0.0;
    for (int step = 0; step < 200; ++step) {
        const Sums sums = sums_at(groups, power, log_middle);
        const double slope = sums.rl / sums.r;
        const double bend = (sums.rll / sums.r) - (slope * slope);
        if (!(sums.r > 0.0) || !(bend > 1e-12) || std::abs(power) > 50.0) {
            break;
        }
        const double wished = slope / bend;
        power += std::copysign(std::fmin(std::abs(wished), 1.0), wished);
        if (std::abs(wished) < 1e-12) {
            const double squares = sums_at(groups, power, log_middle).r / freedom;
            return VariancePower{.power = power,
                                 .power_se = std::sqrt(2.0 / spread),
                                 .scale = std::sqrt(squares * std::exp(-power * log_middle)),
                                 .freedom = static_cast<std::size_t>(freedom)};
        }
    }
    return fail(degenerate("replicates whose scatter follows no power of their mean"));
}

} // namespace backeddy::condition
