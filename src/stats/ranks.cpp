#include "stats/ranks.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <string_view>
#include <utility>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <fmt/format.h>

#include "base/random.hpp"
#include "fit/quantile.hpp"
#include "stats/detail/check.hpp"
#include "stats/detail/moments.hpp"
#include "stats/detail/rank_sums.hpp"

namespace backeddy::stats {

namespace {

namespace bm = boost::math;

constexpr std::size_t most_differences = 10'000'000;
constexpr std::size_t exact_shift = 100;

bool varies(std::span<const double> values) {
    return std::any_of(values.begin(), values.end(), [&](double v) { return v != values[0]; });
}

Expected<void> check_values(std::span<const double> values, std::size_t least, std::string_view group) {
    if (auto fine = detail::check_count(values.size(), least, fmt::format("values in {}", group)); !fine) {
        return fine;
    }
    return detail::check_finite(values, fmt::format("in {} value", group));
}

Expected<void> check_two(std::span<const double> first, std::span<const double> second, std::size_t least) {
    if (auto fine = check_values(first, least, "the first group"); !fine) {
        return fine;
    }
    return check_values(second, least, "the second group");
}

Expected<void> check_groups(const Groups& groups, std::size_t least) {
    if (auto fine = detail::check_count(groups.size(), 2, "groups"); !fine) {
        return fine;
    }
    for (std::size_t g = 0; g < groups.size(); ++g) {
        if (auto fine = check_values(groups[g], least, fmt::format("group {}", g + 1)); !fine) {
            return fine;
        }
    }
    return {};
}

Expected<void> check_varies(std::span<const double> all) {
    if (varies(all)) {
        return {};
    }
    return fail({.code = ErrorCode::degenerate,
                 .found = fmt::format("every value of every group is {:.6g}", all[0]),
                 .expected = "values that vary: ranks have nothing to order"});
}

std::vector<double> joined(const Groups& groups) {
    std::vector<double> all;
    for (const auto& group : groups) {
        all.insert(all.end(), group.begin(), group.end());
    }
    return all;
}

/// Sum of t (t - 1) (t - 2) ... over the sizes, `factors` factors.
double falling_sum(std::span<const std::size_t> sizes, int factors) {
    double sum = 0.0;
    for (const std::size_t size : sizes) {
        double product = 1.0;
        for (int i = 0; i < factors; ++i) {
            product *= static_cast<double>(size) - i;
        }
        sum += product;
    }
    return sum;
}

/// 1 less the share of the ranks' variance that ties take.
double untied_share(std::span<const std::size_t> ties, double n) {
    double cubes = 0.0;
    for (const std::size_t size : ties) {
        const auto t = static_cast<double>(size);
        cubes += (t * t * t) - t;
    }
    return 1.0 - (cubes / ((n * n * n) - n));
}

} // namespace

Expected<MannWhitney> mann_whitney(std::span<const double> first, std::span<const double> second,
                                   const MannWhitneyOptions& options) {
    if (auto fine = check_two(first, second, 1); !fine) {
        return fail(std::move(fine).error());
    }
    const auto all = joined({{first.begin(), first.end()}, {second.begin(), second.end()}});
    if (auto fine = check_varies(all); !fine) {
        return fail(std::move(fine).error());
    }
    const auto ranks = detail::midranks(all);
    const auto n1 = static_cast<double>(first.size());
    const auto n2 = static_cast<double>(second.size());
    const double n = n1 + n2;
    const std::size_t sum =
        std::accumulate(ranks.doubled.begin(),
                        ranks.doubled.begin() + static_cast<std::ptrdiff_t>(first.size()), std::size_t{0});
    MannWhitney out{.n_first = first.size(), .n_second = second.size(), .has_ties = !ranks.ties.empty()};
    out.u = (0.5 * static_cast<double>(sum)) - (0.5 * n1 * (n1 + 1.0));
    out.superiority = out.u / (n1 * n2);
    const double sd = std::sqrt(n1 * n2 * (n + 1.0) / 12.0 * untied_share(ranks.ties, n));
    out.normal = detail::normal_tails(out.u - (0.5 * n1 * n2), sd,
                                      options.continuity == Continuity::corrected ? 0.5 : 0.0);
    out.is_exact = all.size() <= options.exact_up_to;
    out.p = out.is_exact
                ? detail::exact_tails(detail::rank_sum_distribution(ranks.doubled, first.size()), sum)
                : out.normal;
    return out;
}

namespace {

/// How many of the lowest and of the highest differences are cut off, and the level of what is left.
struct Cut {
    std::size_t each = 0;
    double level = 0.0;
};

Cut exact_cut(std::size_t n1, std::size_t n2, double level) {
    std::vector<std::size_t> ranks(n1 + n2);
    std::iota(ranks.begin(), ranks.end(), std::size_t{1});
    auto probability = detail::rank_sum_distribution(ranks, n1);
    // From the rank sum to the number of pairs won: the sum is at least n1 (n1 + 1) / 2.
    probability.erase(probability.begin(),
                      probability.begin() + static_cast<std::ptrdiff_t>(n1 * (n1 + 1) / 2));
    const std::size_t k = std::max<std::size_t>(1, detail::quantile_place(probability, 0.5 * (1.0 - level)));
    const double below =
        std::accumulate(probability.begin(), probability.begin() + static_cast<std::ptrdiff_t>(k), 0.0);
    return {.each = k - 1, .level = std::max(0.0, 1.0 - (2.0 * below))};
}

Cut normal_cut(double n1, double n2, double level) {
    const double mean = 0.5 * n1 * n2;
    const double sd = std::sqrt(n1 * n2 * (n1 + n2 + 1.0) / 12.0);
    const double z = two_sided_quantile(level, std::numeric_limits<double>::infinity());
    return {.each = static_cast<std::size_t>(std::max(1.0, std::floor(mean - (z * sd)))) - 1, .level = level};
}

} // namespace

Expected<ShiftEstimate> shift_between(std::span<const double> first, std::span<const double> second,
                                      double level) {
    for (auto fine : {detail::check_level(level), check_two(first, second, 1)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    if (first.size() > most_differences / second.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("groups of {} and {}", first.size(), second.size()),
                     .expected = fmt::format("at most {} differences", most_differences),
                     .remedy = "compare means: with so many values their interval needs no ranks"});
    }
    std::vector<double> differences;
    differences.reserve(first.size() * second.size());
    for (const double a : first) {
        for (const double b : second) {
            differences.push_back(a - b);
        }
    }
    std::sort(differences.begin(), differences.end());
    const bool is_exact = first.size() + second.size() <= exact_shift;
    const Cut cut =
        is_exact ? exact_cut(first.size(), second.size(), level)
                 : normal_cut(static_cast<double>(first.size()), static_cast<double>(second.size()), level);
    return ShiftEstimate{.value = fit::quantile_of_sorted(differences, 0.5),
                         .interval = {differences[cut.each], differences[differences.size() - 1 - cut.each]},
                         .level_reached = cut.level,
                         .is_exact = is_exact};
}

namespace {

/// Sum over groups of the squared sum of ranks less their mean, over the group's size. Ranks are doubled and
/// stand group by group.
double between_squares(const Groups& groups, std::span<const std::size_t> doubled) {
    const double mean = 0.5 * (static_cast<double>(doubled.size()) + 1.0);
    double squares = 0.0;
    std::size_t at = 0;
    for (const auto& group : groups) {
        double sum = 0.0;
        for (std::size_t i = 0; i < group.size(); ++i, ++at) {
            sum += (0.5 * static_cast<double>(doubled[at])) - mean;
        }
        squares += sum * sum / static_cast<double>(group.size());
    }
    return squares;
}

/// The share of random divisions with squares as large as `seen`, which counts as one of them.
double permutation_p(const Groups& groups, std::vector<std::size_t> doubled, double seen,
                     const KruskalWallisOptions& options) {
    Random random(options.seed);
    std::size_t as_large = 1;
    for (std::size_t draw = 0; draw < options.draws; ++draw) {
        for (std::size_t i = doubled.size() - 1; i > 0; --i) { // Fisher and Yates 1938
            std::swap(doubled[i], doubled[random.below(i + 1)]);
        }
        as_large += between_squares(groups, doubled) >= seen * (1.0 - 1e-12) ? 1 : 0;
    }
    return static_cast<double>(as_large) / (static_cast<double>(options.draws) + 1.0);
}

} // namespace

Expected<KruskalWallis> kruskal_wallis(const Groups& groups, const KruskalWallisOptions& options) {
    if (auto fine = check_groups(groups, 1); !fine) {
        return fail(std::move(fine).error());
    }
    const auto all = joined(groups);
    if (auto fine = check_varies(all); !fine) {
        return fail(std::move(fine).error());
    }
    const auto ranks = detail::midranks(all);
    const auto n = static_cast<double>(all.size());
    const double squares = between_squares(groups, ranks.doubled);
    KruskalWallis out{.freedom = static_cast<double>(groups.size()) - 1.0};
    out.h = 12.0 * squares / (n * (n + 1.0)) / untied_share(ranks.ties, n);
    out.chi_squared_p = chi_squared_upper(out.h, out.freedom);
    out.is_permuted = all.size() <= options.permuted_up_to && options.draws > 0;
    out.p = out.is_permuted ? permutation_p(groups, ranks.doubled, squares, options) : out.chi_squared_p;
    return out;
}

namespace {

/// Pairs of an earlier and a later value in which the later is higher, ties counting half.
double pairs_won(const std::vector<double>& earlier, std::vector<double> later) {
    std::sort(later.begin(), later.end());
    double won = 0.0;
    for (const double v : earlier) {
        const auto [same, above] = std::equal_range(later.begin(), later.end(), v);
        won += static_cast<double>(later.end() - above) + (0.5 * static_cast<double>(above - same));
    }
    return won;
}

double jonckheere_variance(std::span<const std::size_t> sizes, std::span<const std::size_t> ties,
                           std::size_t n) {
    // t (t - 1) (2 t + 5) = 2 t (t - 1) (t - 2) + 9 t (t - 1)
    const auto cubic = [](std::span<const std::size_t> of) {
        return (2.0 * falling_sum(of, 3)) + (9.0 * falling_sum(of, 2));
    };
    const std::array<std::size_t, 1> all{n};
    return ((cubic(all) - cubic(sizes) - cubic(ties)) / 72.0) +
           (falling_sum(sizes, 3) * falling_sum(ties, 3) / (36.0 * falling_sum(all, 3))) +
           (falling_sum(sizes, 2) * falling_sum(ties, 2) / (8.0 * falling_sum(all, 2)));
}

} // namespace

Expected<Jonckheere> jonckheere(const Groups& groups) {
    if (auto fine = check_groups(groups, 1); !fine) {
        return fail(std::move(fine).error());
    }
    const auto all = joined(groups);
    for (auto fine : {detail::check_count(all.size(), 3, "values"), check_varies(all)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    Jonckheere out;
    std::vector<std::size_t> sizes;
    for (std::size_t later = 0; later < groups.size(); ++later) {
        sizes.push_back(groups[later].size());
        for (std::size_t earlier = 0; earlier < later; ++earlier) {
            out.j += pairs_won(groups[earlier], groups[later]);
            out.mean += 0.5 * static_cast<double>(groups[earlier].size() * groups[later].size());
        }
    }
    out.variance = jonckheere_variance(sizes, detail::midranks(all).ties, all.size());
    out.z = (out.j - out.mean) / std::sqrt(out.variance);
    out.p = detail::normal_tails(out.j - out.mean, std::sqrt(out.variance), 0.0);
    return out;
}

Expected<MeansCompared> compare_means(std::span<const double> first, std::span<const double> second,
                                      Spreads spreads, double level) {
    for (auto fine : {detail::check_level(level), check_two(first, second, 2)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    if (!varies(first) && !varies(second)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("every value is {:.6g} in the first group and {:.6g} in the second",
                                          first[0], second[0]),
                     .expected = "values that vary: errors are judged by their spread"});
    }
    const auto a = detail::moments_of(first);
    const auto b = detail::moments_of(second);
    const auto n1 = static_cast<double>(a.n);
    const auto n2 = static_cast<double>(b.n);
    double variance = (a.variance / n1) + (b.variance / n2);
    double freedom = n1 + n2 - 2.0;
    if (spreads == Spreads::own) {
        const double v1 = a.variance / n1;
        const double v2 = b.variance / n2;
        freedom = variance * variance / ((v1 * v1 / (n1 - 1.0)) + (v2 * v2 / (n2 - 1.0)));
    } else {
        const double common = (((n1 - 1.0) * a.variance) + ((n2 - 1.0) * b.variance)) / freedom;
        variance = common * ((1.0 / n1) + (1.0 / n2));
    }
    MeansCompared out;
    out.difference = make_estimate("difference", a.mean - b.mean, std::sqrt(variance), freedom, level);
    const bm::students_t student(freedom);
    out.p = {.two_sided = out.difference.p,
             .greater = bm::cdf(bm::complement(student, out.difference.statistic)),
             .less = bm::cdf(student, out.difference.statistic)};
    return out;
}

namespace {

/// Fisher's: squares between over squares within.
OneWay one_way_common(std::span<const detail::Moments> groups) {
    double n = 0.0;
    double sum = 0.0;
    for (const auto& group : groups) {
        n += static_cast<double>(group.n);
        sum += static_cast<double>(group.n) * group.mean;
    }
    const double mean = sum / n;
    double between = 0.0;
    double within = 0.0;
    for (const auto& group : groups) {
        const auto size = static_cast<double>(group.n);
        between += size * (group.mean - mean) * (group.mean - mean);
        within += (size - 1.0) * group.variance;
    }
    OneWay out{.numerator = static_cast<double>(groups.size()) - 1.0,
               .denominator = n - static_cast<double>(groups.size())};
    out.f = (between / out.numerator) / (within / out.denominator);
    return out;
}

OneWay one_way_own(std::span<const detail::Moments> groups) {
    const auto k = static_cast<double>(groups.size());
    double weights = 0.0;
    double weighted = 0.0;
    for (const auto& group : groups) {
        const double w = static_cast<double>(group.n) / group.variance;
        weights += w;
        weighted += w * group.mean;
    }
    const double mean = weighted / weights;
    double between = 0.0;
    double lambda = 0.0;
    for (const auto& group : groups) {
        const auto n = static_cast<double>(group.n);
        const double w = n / group.variance;
        between += w * (group.mean - mean) * (group.mean - mean);
        lambda += (1.0 - (w / weights)) * (1.0 - (w / weights)) / (n - 1.0);
    }
    const double squares = (k * k) - 1.0;
    return {.f = between / (k - 1.0) / (1.0 + (2.0 * (k - 2.0) * lambda / squares)),
            .numerator = k - 1.0,
            .denominator = squares / (3.0 * lambda)};
}

} // namespace

Expected<OneWay> one_way(const Groups& groups, Spreads spreads) {
    if (auto fine = check_groups(groups, 2); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<detail::Moments> moments;
    bool any_varies = false;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        moments.push_back(detail::moments_of(groups[g]));
        any_varies = any_varies || varies(groups[g]);
        if (spreads == Spreads::own && !varies(groups[g])) {
            return fail({.code = ErrorCode::degenerate,
                         .found = fmt::format("every value in group {} is {:.6g}", g + 1, groups[g][0]),
                         .expected = "a spread in each group: a mean without error would outweigh all others",
                         .remedy = "take the spreads as one in common, or leave the group out"});
        }
    }
    if (!any_varies) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "no group has values that differ",
                     .expected = "a spread within groups: errors are judged by it"});
    }
    OneWay out = spreads == Spreads::own ? one_way_own(moments) : one_way_common(moments);
    out.p = f_upper(out.f, out.numerator, out.denominator);
    return out;
}

} // namespace backeddy::stats
