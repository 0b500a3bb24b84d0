#include "stats/detail/family.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <boost/math/special_functions/digamma.hpp>
#include <boost/math/special_functions/trigamma.hpp>
#include <fmt/format.h>

#include "stats/detail/check.hpp"

namespace backeddy::stats::detail {

namespace {

/// Above this, differences of gamma functions lose more digits than a sum over the counts.
constexpr double large_theta = 1e4;

/// Logarithms of a share p and of 1 - p, with their derivatives by the linear predictor.
struct LogShare {
    double yes = 0.0;
    double no = 0.0;
    double yes_first = 0.0;
    double no_first = 0.0;
    double yes_second = 0.0;
    double no_second = 0.0;
};

/// That of the standard library writes to a number that all threads share.
double log_gamma(double x) {
    int sign = 0;
    return ::lgamma_r(x, &sign);
}

/// Share of a standard logistic below x, to full precision in both tails.
double logistic(double x) {
    return x >= 0.0 ? 1.0 / (1.0 + std::exp(-x)) : std::exp(x) / (1.0 + std::exp(x));
}

/// log of the normal's lower tail; by its asymptotic series (Abramowitz and Stegun 26.2.12) where it is below
/// what a double holds.
double log_normal(double x) {
    if (x > -30.0) {
        return std::log(0.5 * std::erfc(-x / std::numbers::sqrt2));
    }
    const double square = x * x;
    return (-0.5 * square) - std::log(-x) - (0.5 * std::log(2.0 * std::numbers::pi)) +
           std::log1p((-1.0 + ((3.0 - (15.0 / square)) / square)) / square);
}

LogShare share_at(Link link, double eta) {
    if (link == Link::probit) {
        const double log_density = (-0.5 * eta * eta) - (0.5 * std::log(2.0 * std::numbers::pi));
        LogShare out{.yes = log_normal(eta), .no = log_normal(-eta)};
        out.yes_first = std::exp(log_density - out.yes);
        out.no_first = -std::exp(log_density - out.no);
        out.yes_second = -out.yes_first * (eta + out.yes_first);
        out.no_second = -out.no_first * (eta + out.no_first);
        return out;
    }
    if (link == Link::complementary_log_log) {
        const double t = std::exp(std::min(eta, 700.0));
        LogShare out{.yes = std::log(-std::expm1(-t)), .no = -t, .no_first = -t, .no_second = -t};
        out.yes_first = t > 700.0 ? 0.0 : (t > 0.0 ? t / std::expm1(t) : 1.0);
        out.yes_second = out.yes_first * (1.0 - t - out.yes_first);
        if (t < 1e-300) { // 1 - exp(-t) is t
            out.yes = eta;
        }
        return out;
    }
    // One exponential serves all four, bit for bit.
    const double e = std::exp(-std::abs(eta));
    const double log_sum = std::log1p(e);
    const double p = eta >= 0.0 ? 1.0 / (1.0 + e) : e / (1.0 + e);
    const double q = eta >= 0.0 ? e / (1.0 + e) : 1.0 / (1.0 + e);
    return {.yes = std::min(eta, 0.0) - log_sum,
            .no = std::min(-eta, 0.0) - log_sum,
            .yes_first = q,
            .no_first = -p,
            .yes_second = -p * q,
            .no_second = -p * q};
}

RowSlopes binomial_slopes(Link link, double y, double trials, double eta) {
    const auto share = share_at(link, eta);
    const double none = trials - y;
    const auto times = [](double count, double log) { return count > 0.0 ? count * log : 0.0; };
    return {.value = times(y, share.yes) + times(none, share.no),
            .first = times(y, share.yes_first) + times(none, share.no_first),
            .second = times(y, share.yes_second) + times(none, share.no_second),
            .expected = -trials * share.yes_first * share.no_first,
            .bend = link == Link::logit ? share.yes_first + share.no_first : 0.0};
}

RowSlopes negative_binomial_slopes(double theta, double y, double eta) {
    const double mean = std::exp(eta);
    const double both = theta + mean;
    return {.value = (y * eta) - ((theta + y) * std::log1p(mean / theta)),
            .first = theta * (y - mean) / both,
            .second = -theta * (mean / both) * ((theta + y) / both),
            .expected = theta * (mean / both),
            .bend = 0.0};
}

} // namespace

double theta_part(const Kind& kind, double y) {
    if (kind.family == Family::binomial || !kind.theta) {
        return 0.0;
    }
    const double theta = *kind.theta;
    if (theta < large_theta) {
        return log_gamma(y + theta) - log_gamma(theta) - (y * std::log(theta));
    }
    double out = 0.0;
    for (double j = 0.0; j < y; j += 1.0) {
        out += std::log1p(j / theta);
    }
    return out;
}

RowSlopes row_slopes(const Kind& kind, double y, double trials, double eta) {
    auto out = predictor_slopes(kind, y, trials, eta);
    out.value += theta_part(kind, y);
    return out;
}

RowSlopes predictor_slopes(const Kind& kind, double y, double trials, double eta) {
    if (kind.family == Family::binomial) {
        return binomial_slopes(kind.link, y, trials, eta);
    }
    if (kind.theta) {
        return negative_binomial_slopes(*kind.theta, y, eta);
    }
    const double mean = std::exp(eta);
    return {.value = (y * eta) - mean, .first = y - mean, .second = -mean, .expected = mean, .bend = 1.0};
}

double row_constant(Family family, double y, double trials) {
    return family == Family::binomial
               ? log_gamma(trials + 1.0) - log_gamma(y + 1.0) - log_gamma(trials - y + 1.0)
               : -log_gamma(y + 1.0);
}

ThetaSlopes theta_slopes(double theta, double y, double eta) {
    const double mean = std::exp(eta);
    const double both = theta + mean;
    double first = 0.0; // of `counts` above, by theta, plus y / theta; and its derivative
    double second = 0.0;
    if (theta < large_theta) {
        first = boost::math::digamma(y + theta) - boost::math::digamma(theta);
        second = boost::math::trigamma(y + theta) - boost::math::trigamma(theta);
    } else {
        for (double j = 0.0; j < y; j += 1.0) {
            first += 1.0 / (theta + j);
            second -= 1.0 / ((theta + j) * (theta + j));
        }
    }
    const double by_theta = first - std::log1p(mean / theta) + ((mean - y) / both);
    const double by_theta_twice = second + (mean / (theta * both)) - ((mean - y) / (both * both));
    return {.first = theta * by_theta,
            .second = (theta * by_theta) + (theta * theta * by_theta_twice),
            .cross = theta * mean * (y - mean) / (both * both)};
}

double mean_at(Link link, double eta) {
    switch (link) {
    case Link::logit:
        return logistic(eta);
    case Link::probit:
        return 0.5 * std::erfc(-eta / std::numbers::sqrt2);
    case Link::complementary_log_log:
        return -std::expm1(-std::exp(eta));
    case Link::log:
        break;
    }
    return std::exp(eta);
}

double variance_at(const Kind& kind, double mean, double trials) {
    if (kind.family == Family::binomial) {
        return trials * mean * (1.0 - mean);
    }
    return kind.theta ? mean + (mean * mean / *kind.theta) : mean;
}

double row_deviance(const Kind& kind, double y, double trials, double mean) {
    const auto part = [](double count, double expected) {
        return count > 0.0 ? count * std::log(count / expected) : 0.0;
    };
    if (kind.family == Family::binomial) {
        return 2.0 * (part(y, trials * mean) + part(trials - y, trials * (1.0 - mean)));
    }
    if (kind.theta) {
        const double theta = *kind.theta;
        return 2.0 * (part(y, mean) - ((y + theta) * std::log((y + theta) / (mean + theta))));
    }
    return 2.0 * (part(y, mean) - (y - mean));
}

Expected<Link> check_link(Family family, std::optional<Link> link) {
    const bool is_binomial = family == Family::binomial;
    const Link wanted = link.value_or(is_binomial ? Link::logit : Link::log);
    if (is_binomial == (wanted == Link::log)) {
        return fail(
            {.code = ErrorCode::bad_relation,
             .found = is_binomial ? "the log as link of the binomial" : "a link for shares with counts",
             .expected = "logit, probit or complementary log-log for the binomial, log for counts"});
    }
    return wanted;
}

namespace {

bool is_whole(double value) {
    return value == std::floor(value);
}

Expected<void> check_row(const std::string& row, double y, double trials, Family family, bool has_trials) {
    const std::string what = family == Family::binomial && has_trials
                                 ? fmt::format("{} of {} trials in {}", y, trials, row)
                                 : fmt::format("the outcome of {} is {}", row, y);
    if (family == Family::binomial && has_trials && (!is_whole(trials) || trials < 1.0)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = what,
                     .expected = "a whole number of trials, 1 or more",
                     .remedy = trials == 0.0 ? "leave rows without trials out: they say nothing" : ""});
    }
    if (y < 0.0 || !is_whole(y) || (family == Family::binomial && y > trials)) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = what,
                     .expected = family != Family::binomial ? "a count: 0, 1, 2, ..."
                                 : has_trials               ? "a whole number from 0 to the trials"
                                                            : "0 or 1",
                     .remedy = family != Family::binomial
                                   ? "give the count itself, and the effort as offset, not their quotient"
                               : has_trials ? "give the count itself, not a share"
                                            : "of several trials a row, give their number too"});
    }
    return {};
}

Expected<void> check_lengths(std::size_t rows, std::span<const double> outcome,
                             const GeneralisedOptions& options) {
    const auto fits = [&](std::size_t size, bool may_be_empty) {
        return size == rows || (may_be_empty && size == 0);
    };
    if (!fits(outcome.size(), false) || !fits(options.trials.size(), true) ||
        !fits(options.offset.size(), true)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} outcomes, {} trials and {} offsets for {} rows", outcome.size(),
                                          options.trials.size(), options.offset.size(), rows),
                     .expected = "one of each for every row; of trials and offsets also none at all"});
    }
    if (options.family != Family::binomial && !options.trials.empty()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "trials for counts that have no upper end",
                     .expected = "trials with the binomial only",
                     .remedy = "give an effort as offset, by its logarithm"});
    }
    for (const auto& [values, what] :
         {std::pair{outcome, "outcome"}, std::pair{options.trials, "number of trials"},
          std::pair{options.offset, "offset"}}) {
        if (auto fine = check_finite(values, what); !fine) {
            return fine;
        }
    }
    return {};
}

} // namespace

Expected<Observed> check_observed(const std::vector<std::string>& rows, std::span<const double> outcome,
                                  const GeneralisedOptions& options) {
    if (auto fine = check_lengths(rows.size(), outcome, options); !fine) {
        return fail(std::move(fine).error());
    }
    Observed out{.outcome = {outcome.begin(), outcome.end()},
                 .trials = std::vector<double>(rows.size(), 1.0),
                 .offset = std::vector<double>(rows.size(), 0.0)};
    std::copy(options.trials.begin(), options.trials.end(), out.trials.begin());
    std::copy(options.offset.begin(), options.offset.end(), out.offset.begin());
    bool is_same = true;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (auto fine =
                check_row(rows[i], outcome[i], out.trials[i], options.family, !options.trials.empty());
            !fine) {
            return fail(std::move(fine).error());
        }
        const double first = out.outcome[0] / out.trials[0];
        // Where the effort differs, equal counts are no equal rates; but of 0 every rate is 0.
        is_same = is_same && outcome[i] / out.trials[i] == first &&
                  (out.offset[i] == out.offset[0] || first == 0.0);
    }
    if (is_same) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("the outcome is {} in every row", out.outcome[0] / out.trials[0]),
                     .expected = "an outcome that varies: nothing is left to explain",
                     .remedy = "an interval for one share or rate needs no model: count them all together"});
    }
    return out;
}

} // namespace backeddy::stats::detail
