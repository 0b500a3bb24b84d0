#include "stats/detail/censored_rows.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "stats/detail/moments.hpp"

namespace backeddy::stats::detail {

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

/// A share this many scales wide is its middle's density times its width, to 1e-11 of itself.
constexpr double narrow = 1e-5;

Standard standard_of(Distribution distribution) {
    switch (distribution) {
    case Distribution::weibull:
    case Distribution::exponential:
        return Standard::extreme;
    case Distribution::log_logistic:
        return Standard::logistic;
    case Distribution::normal:
    case Distribution::log_normal:
        break;
    }
    return Standard::normal;
}

/// Derivatives by z to those by log scale (place 0) and the linear predictor (place 2), z = (y - eta) /
/// scale.
void add_end(double z, double scale, double first, double twice, RowTerms& out) {
    out.first[0] -= first * z;
    out.first[2] -= first / scale;
    out.second[0][0] += (twice * z * z) + (first * z);
    out.second[0][2] += ((twice * z) + first) / scale;
    out.second[2][2] += twice / (scale * scale);
}

} // namespace

Expected<void> check_outcome(const CensoredOutcome& outcome, bool is_positive,
                             std::span<const std::string> labels) {
    for (std::size_t i = 0; i < outcome.lower.size(); ++i) {
        const double lower = outcome.lower[i];
        const double upper = outcome.upper[i];
        const auto refuse = [&](std::string found, std::string expected, std::string remedy) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = labels[i] + " " + std::move(found),
                         .expected = std::move(expected),
                         .remedy = std::move(remedy)});
        };
        if (std::isnan(lower) || std::isnan(upper)) {
            return refuse("has a limit that is not a number", "a number, or infinite where a side is open",
                          "leave a row of which nothing is known out, and say so");
        }
        if (lower > upper) {
            return refuse(fmt::format("lies between {} and {}", lower, upper),
                          "the lower limit first, not above the upper", "are the two swapped?");
        }
        const bool is_open_below = lower == -endless || (is_positive && lower <= 0.0);
        if (lower == endless || upper == -endless || (is_open_below && upper == endless)) {
            return refuse(fmt::format("lies between {} and {}", lower, upper),
                          "a finite limit on one side at least: this says nothing of where it is",
                          "leave the row out, and say so");
        }
        if (is_positive && !(upper > 0.0)) {
            return refuse(
                fmt::format("lies between {} and {}", lower, upper),
                "a value above 0: it is its logarithm that is modelled",
                "an assay's 0 lies between 0 and its limit; an event at once between 0 and the first "
                "look; or take the normal distribution");
        }
    }
    return {};
}

CensoredCounts count_outcome(const CensoredOutcome& outcome, bool is_positive) {
    CensoredCounts out;
    for (std::size_t i = 0; i < outcome.lower.size(); ++i) {
        const double lower = outcome.lower[i];
        if (lower == outcome.upper[i]) {
            ++out.exact;
        } else if (lower == -endless || (is_positive && lower <= 0.0)) {
            ++out.below;
        } else if (outcome.upper[i] == endless) {
            ++out.above;
        } else {
            ++out.within;
        }
    }
    return out;
}

StandardRows standard_rows(const CensoredOutcome& outcome, Distribution distribution, bool has_intercept) {
    StandardRows out{.standard = standard_of(distribution),
                     .has_scale = distribution != Distribution::exponential};
    const bool is_log = distribution != Distribution::normal;
    std::vector<double> middles;
    for (std::size_t i = 0; i < outcome.lower.size(); ++i) {
        const double lower = outcome.lower[i];
        const double upper = outcome.upper[i];
        out.lower.push_back(is_log ? (lower > 0.0 ? std::log(lower) : -endless) : lower);
        out.upper.push_back(is_log ? std::log(upper) : upper);
        const double low = std::isinf(out.lower.back()) ? out.upper.back() : out.lower.back();
        const double high = std::isinf(out.upper.back()) ? out.lower.back() : out.upper.back();
        middles.push_back(0.5 * (low + high));
        if (lower == upper && is_log) {
            out.log_jacobian -= std::log(lower);
        }
    }
    const auto moments = moments_of(middles);
    out.middle = has_intercept ? moments.mean : 0.0;
    if (out.has_scale && moments.variance > 0.0) {
        out.spread = moments.sd();
    }
    for (std::size_t i = 0; i < out.lower.size(); ++i) {
        if (outcome.lower[i] == outcome.upper[i]) {
            out.log_jacobian -= std::log(out.spread);
        }
        out.lower[i] = (out.lower[i] - out.middle) / out.spread;
        out.upper[i] = (out.upper[i] - out.middle) / out.spread;
    }
    return out;
}

RowTerms outcome_terms(const StandardRows& rows, std::size_t row, std::span<const double> further,
                       double eta) {
    RowTerms out;
    const double scale = rows.has_scale ? std::exp(further[0]) : 1.0;
    const double lower = (rows.lower[row] - eta) / scale;
    const double upper = (rows.upper[row] - eta) / scale;
    if (rows.has_scale) {
        out.further[0] = 0;
    }
    // A step of the search to a scale that a double cannot hold: a value there is no share of 1.
    const auto is_lost = [](double limit, double z) { return std::isfinite(limit) && !std::isfinite(z); };
    if (is_lost(rows.lower[row], lower) || is_lost(rows.upper[row], upper)) {
        out.value = -endless;
        return out;
    }
    if (upper - lower < narrow) {
        const double z = 0.5 * (lower + upper);
        const auto own = density(rows.standard, z);
        out.value = own.log_density +
                    (rows.lower[row] == rows.upper[row] ? 0.0 : std::log(rows.upper[row] - rows.lower[row])) -
                    std::log(scale);
        add_end(z, scale, own.first, own.second, out);
        out.first[0] -= 1.0;
    } else {
        const auto share = share_between(rows.standard, lower, upper);
        out.value = share.log_share;
        if (!std::isinf(lower)) {
            add_end(lower, scale, share.by_lower, share.by_lower_twice, out);
        }
        if (!std::isinf(upper)) {
            add_end(upper, scale, share.by_upper, share.by_upper_twice, out);
        }
        if (!std::isinf(lower) && !std::isinf(upper)) {
            out.second[0][0] += 2.0 * share.by_both * lower * upper;
            out.second[0][2] += share.by_both * (lower + upper) / scale;
            out.second[2][2] += 2.0 * share.by_both / (scale * scale);
        }
    }
    out.second[2][0] = out.second[0][2];
    return out;
}

} // namespace backeddy::stats::detail
