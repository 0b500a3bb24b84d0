#include "stats/paired.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <fmt/format.h>

#include "fit/bootstrap.hpp"
#include "fit/quantile.hpp"
#include "stats/detail/check.hpp"
#include "stats/detail/moments.hpp"
#include "stats/detail/noncentral_t.hpp"
#include "stats/detail/rank_sums.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

constexpr std::size_t most_walsh = 4000;
constexpr std::size_t exact_walsh = 200;

Expected<void> check_pairs(const Differences& pairs, std::size_t least) {
    if (auto fine = detail::check_count(pairs.values.size(), least, "complete pairs"); !fine) {
        return fine;
    }
    return detail::check_finite(pairs.values, "difference");
}

/// Nothing, or degenerate: without any spread there is no error to judge by.
Expected<void> check_spread(const Differences& pairs) {
    const auto [least, most] = std::minmax_element(pairs.values.begin(), pairs.values.end());
    if (*most - *least > pairs.rounding) {
        return {};
    }
    return fail({.code = ErrorCode::degenerate,
                 .found = std::abs(*most) <= pairs.rounding
                              ? "all differences are 0"
                              : fmt::format("all differences are {:.6g}", *most),
                 .expected = "differences that vary: errors are judged by their spread",
                 .remedy = "look at the columns: is one a copy of the other, or rounded too far?"});
}

Expected<void> check_some_nonzero(const Differences& pairs) {
    if (std::any_of(pairs.values.begin(), pairs.values.end(),
                    [&](double d) { return std::abs(d) > pairs.rounding; })) {
        return {};
    }
    return fail({.code = ErrorCode::degenerate,
                 .found = "all differences are 0",
                 .expected = "a difference to rank or to count",
                 .remedy = "look at the columns: is one a copy of the other, or rounded too far?"});
}

Tails t_tails(double t, double freedom) {
    const bm::students_t student(freedom);
    return {.two_sided = two_sided_p(t, freedom),
            .greater = bm::cdf(bm::complement(student, t)),
            .less = bm::cdf(student, t)};
}

} // namespace

Expected<Differences> differences_of(std::span<const double> first, std::span<const double> second) {
    if (first.size() != second.size()) {
        return fail({.code = ErrorCode::bad_row,
                     .found = fmt::format("{} first values and {} second", first.size(), second.size()),
                     .expected = "a first and a second value of each pair"});
    }
    for (const auto values : {first, second}) {
        if (auto fine = detail::check_finite(values, "pair"); !fine) {
            return fail(std::move(fine).error());
        }
    }
    Differences out;
    double largest = 0.0;
    for (std::size_t i = 0; i < first.size(); ++i) {
        out.values.push_back(first[i] - second[i]);
        largest = std::max({largest, std::abs(first[i]), std::abs(second[i])});
    }
    out.rounding = 4.0 * std::numeric_limits<double>::epsilon() * largest;
    return out;
}

Expected<PairedT> paired_t(const Differences& pairs, double level) {
    for (auto fine : {detail::check_level(level), check_pairs(pairs, 2)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    if (auto fine = check_spread(pairs); !fine) {
        return fail(std::move(fine).error());
    }
    const auto moments = detail::moments_of(pairs.values);
    const auto n = static_cast<double>(moments.n);
    const double freedom = n - 1.0;
    PairedT out{.n = moments.n, .sd = moments.sd()};
    out.difference = make_estimate("difference", moments.mean, out.sd / std::sqrt(n), freedom, level);
    const double t = out.difference.statistic;
    out.p = t_tails(t, freedom);
    out.effect_size = moments.mean / out.sd;
    const double beyond = 0.5 * (1.0 - level);
    out.effect_size_interval = {detail::noncentrality_of(t, freedom, 1.0 - beyond) / std::sqrt(n),
                                detail::noncentrality_of(t, freedom, beyond) / std::sqrt(n)};
    return out;
}

Expected<SignedRank> signed_rank(const Differences& pairs, const SignedRankOptions& options) {
    if (auto fine = check_pairs(pairs, 1); !fine) {
        return fail(std::move(fine).error());
    }
    if (auto fine = check_some_nonzero(pairs); !fine) {
        return fail(std::move(fine).error());
    }
    SignedRank out;
    std::vector<double> sizes;
    std::vector<double> signs; // 0 for one that is ranked and not counted
    for (const double d : pairs.values) {
        const bool is_zero = std::abs(d) <= pairs.rounding;
        ++(is_zero ? out.zeros : out.n);
        if (!is_zero || options.zeros == Zeros::ranked) {
            sizes.push_back(is_zero ? 0.0 : std::abs(d));
            signs.push_back(is_zero ? 0.0 : d);
        }
    }
    // |a| - |b| carries the rounding of both differences.
    const auto ranks = detail::midranks(sizes, 2.0 * pairs.rounding);
    std::vector<std::size_t> counted;
    std::size_t positive = 0;
    double squares = 0.0;
    for (std::size_t i = 0; i < sizes.size(); ++i) {
        if (signs[i] != 0.0) {
            counted.push_back(ranks.doubled[i]);
            positive += signs[i] > 0.0 ? ranks.doubled[i] : 0;
            const double rank = 0.5 * static_cast<double>(ranks.doubled[i]);
            squares += rank * rank;
        }
    }
    std::vector<std::size_t> ordered = counted;
    std::sort(ordered.begin(), ordered.end());
    out.has_ties = std::adjacent_find(ordered.begin(), ordered.end()) != ordered.end();
    out.sum_positive = 0.5 * static_cast<double>(positive);
    const double mean =
        0.25 * static_cast<double>(std::accumulate(counted.begin(), counted.end(), std::size_t{0}));
    out.normal = detail::normal_tails(out.sum_positive - mean, std::sqrt(0.25 * squares),
                                      options.continuity == Continuity::corrected ? 0.5 : 0.0);
    out.is_exact = out.n <= options.exact_up_to;
    out.p =
        out.is_exact ? detail::exact_tails(detail::signed_rank_distribution(counted), positive) : out.normal;
    return out;
}

namespace {

/// How many of the lowest and of the highest are cut off an ordered list of `all` mean differences; the level
/// of what is left.
struct Cut {
    std::size_t each = 0;
    double level = 0.0;
};

Cut exact_cut(std::size_t n, double level) {
    std::vector<std::size_t> ranks(n);
    std::iota(ranks.begin(), ranks.end(), std::size_t{1});
    const auto probability = detail::signed_rank_distribution(ranks);
    const std::size_t k = std::max<std::size_t>(1, detail::quantile_place(probability, 0.5 * (1.0 - level)));
    const double below =
        std::accumulate(probability.begin(), probability.begin() + static_cast<std::ptrdiff_t>(k), 0.0);
    return {.each = k - 1, .level = 1.0 - (2.0 * below)};
}

Cut normal_cut(double n, double level) {
    const double mean = n * (n + 1.0) / 4.0;
    const double sd = std::sqrt(n * (n + 1.0) * ((2.0 * n) + 1.0) / 24.0);
    const double k =
        std::floor(mean - (two_sided_quantile(level, std::numeric_limits<double>::infinity()) * sd));
    return {.each = static_cast<std::size_t>(std::max(1.0, k)) - 1, .level = level};
}

} // namespace

Expected<ShiftEstimate> hodges_lehmann(const Differences& pairs, double level) {
    for (auto fine : {detail::check_level(level), check_pairs(pairs, 2)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const auto& d = pairs.values;
    if (d.size() > most_walsh) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} pairs", d.size()),
                     .expected = fmt::format("at most {}: every two of them are looked at", most_walsh),
                     .remedy = "use the mean difference: with so many pairs its interval needs no ranks"});
    }
    std::vector<double> means;
    means.reserve(d.size() * (d.size() + 1) / 2);
    for (std::size_t i = 0; i < d.size(); ++i) {
        for (std::size_t j = i; j < d.size(); ++j) {
            means.push_back(0.5 * (d[i] + d[j]));
        }
    }
    std::sort(means.begin(), means.end());
    const bool is_exact = d.size() <= exact_walsh;
    const Cut cut = is_exact ? exact_cut(d.size(), level) : normal_cut(static_cast<double>(d.size()), level);
    return ShiftEstimate{.value = fit::quantile_of_sorted(means, 0.5),
                         .interval = {means[cut.each], means[means.size() - 1 - cut.each]},
                         .level_reached = cut.level,
                         .is_exact = is_exact};
}

Expected<SignTest> sign_test(const Differences& pairs) {
    if (auto fine = check_pairs(pairs, 1); !fine) {
        return fail(std::move(fine).error());
    }
    if (auto fine = check_some_nonzero(pairs); !fine) {
        return fail(std::move(fine).error());
    }
    SignTest out;
    for (const double d : pairs.values) {
        ++(std::abs(d) <= pairs.rounding ? out.zeros : (d > 0.0 ? out.positive : out.negative));
    }
    const bm::binomial coin(static_cast<double>(out.positive + out.negative), 0.5);
    out.p.less = bm::cdf(coin, static_cast<double>(out.positive));
    out.p.greater = bm::cdf(coin, static_cast<double>(out.negative)); // symmetric
    out.p.two_sided = std::min(1.0, 2.0 * std::min(out.p.less, out.p.greater));
    return out;
}

namespace {

double mean_of(std::span<const double> values) {
    return detail::moments_of(values).mean;
}

/// Where the quantile of probability `p` is looked for among the draws when they are off centre by z0 and
/// skewed by `acceleration` (Efron 1987, eq. 3.9).
double moved(double p, double z0, double acceleration) {
    const bm::normal normal;
    const double z = z0 + bm::quantile(normal, p);
    return bm::cdf(normal, z0 + (z / (1.0 - (acceleration * z))));
}

Interval accelerated_interval(std::span<const double> sorted, std::span<const double> values, double estimate,
                              double level) {
    // Half of the draws that are the estimate itself count as below it; never none or all of them.
    const auto [first, last] = std::equal_range(sorted.begin(), sorted.end(), estimate);
    const auto draws = static_cast<double>(sorted.size());
    const double below =
        static_cast<double>(first - sorted.begin()) + (0.5 * static_cast<double>(last - first));
    const double z0 = bm::quantile(bm::normal(), std::clamp(below, 0.5, draws - 0.5) / draws);
    // The jackknife of a mean: what leaving a value out changes is its distance from the mean.
    double squares = 0.0;
    double cubes = 0.0;
    for (const double v : values) {
        const double off = v - estimate;
        squares += off * off;
        cubes += off * off * off;
    }
    const double acceleration = cubes / (6.0 * std::pow(squares, 1.5));
    const double beyond = 0.5 * (1.0 - level);
    return {fit::quantile_of_sorted(sorted, moved(beyond, z0, acceleration)),
            fit::quantile_of_sorted(sorted, moved(1.0 - beyond, z0, acceleration))};
}

} // namespace

Expected<PairedBootstrap> paired_bootstrap(const Differences& pairs, const PairedBootstrapOptions& options) {
    for (auto fine : {detail::check_level(options.level), check_pairs(pairs, 4),
                      detail::check_count(options.draws, 100, "bootstrap draws")}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    if (auto fine = check_spread(pairs); !fine) {
        return fail(std::move(fine).error());
    }
    const auto& values = pairs.values;
    const auto moments = detail::moments_of(values);
    const fit::BootstrapOptions drawing{
        .draws = options.draws, .block = 1, .seed = options.seed, .threads = options.threads};
    auto means = fit::block_bootstrap_draws(values, mean_of, drawing);
    if (!means) {
        return fail(std::move(means).error());
    }
    std::sort(means->begin(), means->end());
    PairedBootstrap out{.estimate = moments.mean, .se = detail::moments_of(*means).sd()};
    const double beyond = 0.5 * (1.0 - options.level);
    if (options.kind == BootstrapKind::accelerated) {
        out.interval = accelerated_interval(*means, values, out.estimate, options.level);
        return out;
    }
    if (options.kind == BootstrapKind::percentile) {
        out.interval = {fit::quantile_of_sorted(*means, beyond),
                        fit::quantile_of_sorted(*means, 1.0 - beyond)};
        return out;
    }
    const double root_n = std::sqrt(static_cast<double>(values.size()));
    const auto t_of = [&](std::span<const double> sample) {
        const auto of = detail::moments_of(sample);
        return of.sd() > pairs.rounding ? root_n * (of.mean - moments.mean) / of.sd()
                                        : std::numeric_limits<double>::quiet_NaN();
    };
    auto ts = fit::block_bootstrap_draws(values, t_of, drawing);
    if (!ts) {
        return fail(std::move(ts).error());
    }
    out.failed = std::erase_if(*ts, [](double t) { return std::isnan(t); });
    if (auto fine = detail::check_count(ts->size(), 2, "draws with a spread"); !fine) {
        return fail(std::move(fine).error());
    }
    std::sort(ts->begin(), ts->end());
    const double se = moments.sd() / root_n;
    out.interval = {moments.mean - (se * fit::quantile_of_sorted(*ts, 1.0 - beyond)),
                    moments.mean - (se * fit::quantile_of_sorted(*ts, beyond))};
    return out;
}

} // namespace backeddy::stats
