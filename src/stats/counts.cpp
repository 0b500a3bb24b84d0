#include "stats/counts.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <fmt/format.h>

#include "stats/detail/check.hpp"
#include "stats/detail/lattice.hpp"
#include "stats/detail/root.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr std::uint64_t most = 1'000'000;

double normal_quantile(double level) {
    return two_sided_quantile(level, infinite);
}

Expected<void> check_share(Share share) {
    if (share.of == 0) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} of 0", share.count),
                     .expected = "a share of at least one"});
    }
    if (share.count > share.of || share.of > most) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} of {}", share.count, share.of),
                     .expected = fmt::format("a count within its whole, the whole at most {}", most)});
    }
    return {};
}

Expected<void> check_shares(Share first, Share second, double level) {
    for (auto fine : {detail::check_level(level), check_share(first), check_share(second)}) {
        if (!fine) {
            return fine;
        }
    }
    return {};
}

Expected<void> check_counted(Counted counted) {
    if (counted.exposure > 0.0 && std::isfinite(counted.exposure) && counted.count <= most) {
        return {};
    }
    return fail({.code = ErrorCode::out_of_range,
                 .found = fmt::format("a count of {} in {}", counted.count, counted.exposure),
                 .expected = fmt::format("a count up to {} in an effort above 0", most)});
}

Interval exact_interval(Share share, double level) {
    const double beyond = 0.5 * (1.0 - level);
    const auto x = static_cast<double>(share.count);
    const auto n = static_cast<double>(share.of);
    return {share.count == 0 ? 0.0 : bm::quantile(bm::beta_distribution(x, n - x + 1.0), beyond),
            share.count == share.of
                ? 1.0
                : bm::quantile(bm::complement(bm::beta_distribution(x + 1.0, n - x), beyond))};
}

Interval score_interval(Share share, double level) {
    const double z = normal_quantile(level);
    const auto n = static_cast<double>(share.of);
    const double p = share.value();
    const double centre = p + (z * z / (2.0 * n));
    const double half = z * std::sqrt(((p * (1.0 - p)) + (z * z / (4.0 * n))) / n);
    const double scale = 1.0 + (z * z / n);
    return {share.count == 0 ? 0.0 : (centre - half) / scale,
            share.count == share.of ? 1.0 : (centre + half) / scale};
}

Interval around(double value, double log_se, double level) {
    const double factor = std::exp(normal_quantile(level) * log_se);
    return {value / factor, value * factor};
}

} // namespace

Expected<Proportion> proportion(Share share, double level) {
    for (auto fine : {detail::check_level(level), check_share(share)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    return Proportion{
        .value = share.value(), .exact = exact_interval(share, level), .score = score_interval(share, level)};
}

Expected<Tails> binomial_test(Share share, double share_expected) {
    if (auto fine = check_share(share); !fine) {
        return fail(std::move(fine).error());
    }
    if (!(share_expected > 0.0 && share_expected < 1.0)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("an expected share of {}", share_expected),
                     .expected = "a share between 0 and 1"});
    }
    return detail::binomial_lattice(share.of, share_expected / (1.0 - share_expected)).tails(share.count);
}

namespace {

/// Zero where there is nothing to divide, though the divisor be 0.
double part(double count, double p) {
    return count > 0.0 ? count / p : 0.0;
}

/// The second group's share with the greatest likelihood when the first's is higher by `difference`.
double fitted_share(Share first, Share second, double difference) {
    const auto x1 = static_cast<double>(first.count);
    const auto x2 = static_cast<double>(second.count);
    const auto rest1 = static_cast<double>(first.of - first.count);
    const auto rest2 = static_cast<double>(second.of - second.count);
    const auto slope = [&](double q) { // of the log-likelihood; falls with q
        const double p = q + difference;
        return part(x1, p) - part(rest1, 1.0 - p) + part(x2, q) - part(rest2, 1.0 - q);
    };
    constexpr double inside = 1e-13; // of the ends, where the slope is infinite
    const double low = std::max(0.0, -difference) + inside;
    const double high = std::min(1.0, 1.0 - difference) - inside;
    if (low >= high || slope(low) <= 0.0) {
        return low;
    }
    return slope(high) >= 0.0 ? high : detail::root_between(slope, low, high);
}

/// The score by which the shares seen exceed `difference`; falls with it.
double score_of_difference(Share first, Share second, double difference) {
    const double off = first.value() - second.value() - difference;
    if (off == 0.0) {
        return 0.0;
    }
    const auto n1 = static_cast<double>(first.of);
    const auto n2 = static_cast<double>(second.of);
    const double q = fitted_share(first, second, difference);
    const double p = q + difference;
    const double variance = (((p * (1.0 - p)) / n1) + ((q * (1.0 - q)) / n2)) * (n1 + n2) / (n1 + n2 - 1.0);
    return off / std::sqrt(std::max(0.0, variance));
}

double upper_difference(Share first, Share second, double level) {
    const double z = normal_quantile(level);
    const double seen = first.value() - second.value();
    const auto short_of = [&](double difference) {
        return score_of_difference(first, second, difference) + z;
    };
    constexpr double last = 1.0 - 1e-9;
    return seen >= last || short_of(last) > 0.0 ? 1.0 : detail::root_between(short_of, seen, last);
}

} // namespace

Expected<DifferenceOfShares> difference_of_shares(Share first, Share second, double level) {
    if (auto fine = check_shares(first, second, level); !fine) {
        return fail(std::move(fine).error());
    }
    const double p1 = first.value();
    const double p2 = second.value();
    const auto s1 = score_interval(first, level);
    const auto s2 = score_interval(second, level);
    return DifferenceOfShares{
        .value = p1 - p2,
        .interval = {p1 - p2 - std::hypot(p1 - s1.lower, s2.upper - p2),
                     p1 - p2 + std::hypot(s1.upper - p1, p2 - s2.lower)},
        .score = {-upper_difference(second, first, level), upper_difference(first, second, level)}};
}

namespace {

/// Chi-squared of both shares under the ratio first / second = `ratio`, the second's share fitted to it.
double chi_squared_of_ratio(Share first, Share second, double ratio) {
    const auto n1 = static_cast<double>(first.of);
    const auto n2 = static_cast<double>(second.of);
    const auto x1 = static_cast<double>(first.count);
    const auto x2 = static_cast<double>(second.count);
    const double off = first.value() - (ratio * second.value());
    if (off == 0.0) {
        return 0.0;
    }
    // The smaller root of (n1 + n2) ratio q^2 - b q + x1 + x2, written without cancellation.
    const double b = (ratio * (n1 + x2)) + x1 + n2;
    const double root = std::sqrt(std::max(0.0, (b * b) - (4.0 * (n1 + n2) * ratio * (x1 + x2))));
    const double q = 2.0 * (x1 + x2) / (b + root);
    const double p = ratio * q;
    const double variance =
        (p * std::max(0.0, 1.0 - p) / n1) + (ratio * ratio * q * std::max(0.0, 1.0 - q) / n2);
    return off * off / variance;
}

double upper_ratio(Share first, Share second, double level) {
    if (second.count == 0) {
        return infinite;
    }
    const double z = normal_quantile(level);
    // Of a count of 0 the ratio seen is 0 and its logarithm has no place to begin at; half a fish has, far
    // below the limit.
    const double seen =
        std::max(static_cast<double>(first.count), 1e-9) / static_cast<double>(first.of) / second.value();
    return std::exp(detail::root_beyond(
        [&](double log_ratio) { return (z * z) - chi_squared_of_ratio(first, second, std::exp(log_ratio)); },
        std::log(seen), 1.0));
}

} // namespace

Expected<RatioOfShares> ratio_of_shares(Share first, Share second, double level) {
    if (auto fine = check_shares(first, second, level); !fine) {
        return fail(std::move(fine).error());
    }
    if (first.count == 0 && second.count == 0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("0 of {} and 0 of {}", first.of, second.of),
                     .expected = "a count above 0 in one of them: nothing has no ratio to nothing",
                     .remedy = "give the difference, or each share's exact upper limit"});
    }
    RatioOfShares out{.value = second.count == 0 ? infinite : first.value() / second.value()};
    out.interval = {1.0 / upper_ratio(second, first, level), upper_ratio(first, second, level)};
    // A count that is the whole has no variance by the formula, which is not what is known of it.
    const auto is_partial = [](Share share) { return share.count > 0 && share.count < share.of; };
    if (is_partial(first) && is_partial(second)) {
        const double variance =
            (1.0 / static_cast<double>(first.count)) - (1.0 / static_cast<double>(first.of)) +
            (1.0 / static_cast<double>(second.count)) - (1.0 / static_cast<double>(second.of));
        out.log_interval = around(out.value, std::sqrt(variance), level);
    }
    return out;
}

namespace {

/// Fisher's noncentral hypergeometric for the first group's count, both margins given, by log odds ratio.
struct Margins {
    std::size_t drawn = 0;
    std::size_t marked = 0;
    std::size_t all = 0;

    [[nodiscard]] detail::Lattice at(double log_odds) const {
        return detail::hypergeometric_lattice(marked, drawn, all, std::exp(log_odds));
    }
};

/// The odds ratio at which `excess`, rising with it, is 0.
template <typename Excess>
double solve_odds(const Excess& excess) {
    return std::exp(excess(0.0) > 0.0
                        ? detail::root_beyond(excess, 0.0, -1.0)
                        : detail::root_beyond([&](double log_odds) { return -excess(log_odds); }, 0.0, 1.0));
}

double sample_odds_ratio(const std::array<double, 4>& table) {
    const double over = table[0] * table[3];
    const double under = table[1] * table[2];
    return under > 0.0 ? over / under : infinite;
}

} // namespace

Expected<OddsRatio> odds_ratio(Share first, Share second, double level) {
    if (auto fine = check_shares(first, second, level); !fine) {
        return fail(std::move(fine).error());
    }
    const std::uint64_t counted = first.count + second.count;
    if (counted == 0 || counted == first.of + second.of) {
        return fail(
            {.code = ErrorCode::degenerate,
             .found = fmt::format("{} of {} and {} of {}", first.count, first.of, second.count, second.of),
             .expected = "some and not all: the odds are the same in both groups, and nothing or without end",
             .remedy = "give each share's exact limit"});
    }
    const std::array<double, 4> table{
        static_cast<double>(first.count), static_cast<double>(first.of - first.count),
        static_cast<double>(second.count), static_cast<double>(second.of - second.count)};
    OddsRatio out{.value = sample_odds_ratio(table)};
    if (std::all_of(table.begin(), table.end(), [](double count) { return count > 0.0; })) {
        const double variance = (1.0 / table[0]) + (1.0 / table[1]) + (1.0 / table[2]) + (1.0 / table[3]);
        out.log_interval = around(out.value, std::sqrt(variance), level);
    }
    const Margins margins{.drawn = first.of, .marked = counted, .all = first.of + second.of};
    const auto none = margins.at(0.0);
    out.p = none.tails(first.count);
    const bool is_lowest = first.count == none.first;
    const bool is_highest = first.count == none.first + none.probability.size() - 1;
    const double beyond = 0.5 * (1.0 - level);
    const auto seen = static_cast<double>(first.count);
    out.conditional = is_lowest    ? 0.0
                      : is_highest ? infinite
                                   : solve_odds([&](double w) { return margins.at(w).mean() - seen; });
    out.exact = {
        is_lowest ? 0.0 : solve_odds([&](double w) { return margins.at(w).at_least(first.count) - beyond; }),
        is_highest ? infinite
                   : solve_odds([&](double w) { return beyond - margins.at(w).at_most(first.count); })};
    return out;
}

Expected<McNemar> mcnemar(std::uint64_t first_only, std::uint64_t second_only, double level) {
    if (first_only == 0 && second_only == 0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "no pair changed",
                     .expected = "pairs that differ: those that do not say nothing about which way"});
    }
    const Share share{.count = first_only, .of = first_only + second_only};
    for (auto fine : {detail::check_level(level), check_share(share)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const auto coin = detail::binomial_lattice(share.of, 1.0);
    const auto exact = exact_interval(share, level);
    const auto odds = [](double p) { return p < 1.0 ? p / (1.0 - p) : infinite; };
    return McNemar{.p = coin.tails(share.count),
                   .mid_p = coin.mid_p(share.count),
                   .odds_ratio = second_only == 0
                                     ? infinite
                                     : static_cast<double>(first_only) / static_cast<double>(second_only),
                   .interval = {odds(exact.lower), odds(exact.upper)}};
}

Expected<RateEstimate> rate_of(Counted counted, double level) {
    for (auto fine : {detail::check_level(level), check_counted(counted)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const double beyond = 0.5 * (1.0 - level);
    const auto x = static_cast<double>(counted.count);
    const double lower = counted.count == 0 ? 0.0 : 0.5 * bm::quantile(bm::chi_squared(2.0 * x), beyond);
    const double upper = 0.5 * bm::quantile(bm::complement(bm::chi_squared((2.0 * x) + 2.0), beyond));
    return RateEstimate{.value = counted.rate(),
                        .interval = {lower / counted.exposure, upper / counted.exposure}};
}

Expected<RatioOfRates> ratio_of_rates(Counted first, Counted second, double ratio_expected, double level) {
    for (auto fine : {detail::check_level(level), check_counted(first), check_counted(second)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    if (!(ratio_expected > 0.0) || !std::isfinite(ratio_expected)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("an expected ratio of {}", ratio_expected),
                     .expected = "a ratio above 0: 1 for equal rates"});
    }
    const Share share{.count = first.count, .of = first.count + second.count};
    if (share.of == 0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("none in {} and none in {}", first.exposure, second.exposure),
                     .expected = "a count above 0 in one of them: nothing has no ratio to nothing",
                     .remedy = "give each rate's exact upper limit"});
    }
    RatioOfRates out{.value = second.count == 0 ? infinite : first.rate() / second.rate()};
    const auto exact = exact_interval(share, level);
    const double effort = second.exposure / first.exposure;
    out.interval = {effort * exact.lower / (1.0 - exact.lower),
                    exact.upper < 1.0 ? effort * exact.upper / (1.0 - exact.upper) : infinite};
    if (first.count > 0 && second.count > 0) {
        out.log_interval = around(
            out.value,
            std::sqrt((1.0 / static_cast<double>(first.count)) + (1.0 / static_cast<double>(second.count))),
            level);
    }
    const auto given_sum = detail::binomial_lattice(share.of, ratio_expected / effort);
    out.p = given_sum.tails(share.count);
    out.twice_smaller = std::min(1.0, 2.0 * std::min(out.p.greater, out.p.less));
    out.mid_p = given_sum.mid_p(share.count);
    return out;
}

} // namespace backeddy::stats
