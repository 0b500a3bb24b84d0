#include "stats/agreement.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include <fmt/format.h>

#include "fit/line.hpp"
#include "stats/detail/check.hpp"
#include "stats/detail/moments.hpp"
#include "stats/detail/noncentral_t.hpp"
#include "stats/paired.hpp"

namespace backeddy::stats {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

/// How far from a limit its interval reaches, toward the bias and away from it.
struct Arms {
    double inward = 0.0;
    double outward = 0.0;
};

Arms arms_of(double n, double sd, const AgreementOptions& options) {
    const double z = options.multiplier;
    const double freedom = n - 1.0;
    if (options.limit_interval == LimitInterval::exact) {
        const double beyond = 0.5 * (1.0 - options.level);
        const double shift = z * std::sqrt(n);
        const double scale = sd / std::sqrt(n);
        return {.inward = (z * sd) - (scale * detail::noncentral_t_quantile(beyond, freedom, shift)),
                .outward = (scale * detail::noncentral_t_quantile(1.0 - beyond, freedom, shift)) - (z * sd)};
    }
    const double variance = options.limit_interval == LimitInterval::approximate
                                ? (1.0 / n) + (z * z / (2.0 * freedom))
                                : 3.0 / n;
    const double half = two_sided_quantile(options.level, freedom) * sd * std::sqrt(variance);
    return {.inward = half, .outward = half};
}

std::optional<AgreementTrend> trend_of(std::span<const double> means, std::span<const double> differences,
                                       double level) {
    const auto line = fit::fit_line(means, differences);
    if (!line) {
        return std::nullopt;
    }
    return AgreementTrend{.slope = make_estimate("trend", line->slope, line->slope_se,
                                                 static_cast<double>(line->n) - 2.0, level),
                          .intercept = line->at(0.0)};
}

double correlation_of(std::span<const double> x, std::span<const double> y) {
    const auto of_x = detail::moments_of(x);
    const auto of_y = detail::moments_of(y);
    double products = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        products += (x[i] - of_x.mean) * (y[i] - of_y.mean);
    }
    return products / ((static_cast<double>(x.size()) - 1.0) * of_x.sd() * of_y.sd());
}

std::optional<SpreadTrend> spread_of(std::span<const double> means, const Differences& pairs) {
    std::vector<double> sizes;
    for (const double d : pairs.values) {
        sizes.push_back(std::abs(d));
    }
    const auto varies = [&](std::span<const double> values) {
        const auto [least, most] = std::minmax_element(values.begin(), values.end());
        return *most - *least > 2.0 * pairs.rounding;
    };
    if (!varies(means) || !varies(sizes)) {
        return std::nullopt;
    }
    const double r = correlation_of(means, sizes);
    const double freedom = static_cast<double>(sizes.size()) - 2.0;
    const double t = r * std::sqrt(freedom / std::max(0.0, 1.0 - (r * r)));
    return SpreadTrend{.correlation = r, .p = two_sided_p(t, freedom)};
}

} // namespace

Expected<LimitsOfAgreement> limits_of_agreement(std::span<const double> first, std::span<const double> second,
                                                const AgreementOptions& options) {
    const auto pairs = differences_of(first, second);
    if (!pairs) {
        return fail(pairs.error());
    }
    if (auto fine = detail::check_count(first.size(), 3, "complete pairs"); !fine) {
        return fail(std::move(fine).error());
    }
    if (!(options.multiplier > 0.0) || !std::isfinite(options.multiplier)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("limits at {} standard deviations", options.multiplier),
                     .expected = "a number above 0: 1.96 for 95 % of differences"});
    }
    auto t = paired_t(*pairs, options.level);
    if (!t) {
        return fail(std::move(t).error());
    }
    LimitsOfAgreement out{.n = t->n, .bias = t->difference, .sd = t->sd};
    out.bias.name = "bias";
    out.limit_interval = options.limit_interval;
    const auto arms = arms_of(static_cast<double>(t->n), t->sd, options);
    const double half = options.multiplier * t->sd;
    const double low = out.bias.value - half;
    const double high = out.bias.value + half;
    out.lower = {.value = low, .interval = {low - arms.outward, low + arms.inward}};
    out.upper = {.value = high, .interval = {high - arms.inward, high + arms.outward}};
    std::vector<double> means;
    for (std::size_t i = 0; i < first.size(); ++i) {
        means.push_back(0.5 * (first[i] + second[i]));
    }
    out.trend = trend_of(means, pairs->values, options.level);
    out.spread = spread_of(means, *pairs);
    return out;
}

Expected<Concordance> concordance(std::span<const double> first, std::span<const double> second,
                                  double level) {
    const auto pairs = differences_of(first, second);
    if (!pairs) {
        return fail(pairs.error());
    }
    for (auto fine : {detail::check_level(level), detail::check_count(first.size(), 4, "complete pairs")}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const auto of_first = detail::moments_of(first);
    const auto of_second = detail::moments_of(second);
    if (of_first.sd() <= pairs->rounding || of_second.sd() <= pairs->rounding) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("the {} values are all {:.6g}",
                                          of_first.sd() <= pairs->rounding ? "first" : "second",
                                          of_first.sd() <= pairs->rounding ? of_first.mean : of_second.mean),
                     .expected = "values that vary: how they go together cannot be seen otherwise"});
    }
    if (std::all_of(pairs->values.begin(), pairs->values.end(),
                    [&](double d) { return std::abs(d) <= pairs->rounding; })) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "first and second are the same in every pair",
                     .expected = "two measurements: perfect agreement leaves no error to judge by",
                     .remedy = "look at the columns: is one a copy of the other?"});
    }
    const auto n = static_cast<double>(first.size());
    const double shrink = (n - 1.0) / n;
    const double s1 = std::sqrt(of_first.variance * shrink);
    const double s2 = std::sqrt(of_second.variance * shrink);
    const double shift = of_first.mean - of_second.mean;
    Concordance out{.n = first.size()};
    out.correlation = correlation_of(first, second);
    out.bias_correction = 2.0 * s1 * s2 / ((s1 * s1) + (s2 * s2) + (shift * shift));
    out.scale_shift = s1 / s2;
    out.location_shift = shift / std::sqrt(s1 * s2);
    out.value = out.correlation * out.bias_correction;
    // Lin's variance divides by the correlation; with value = correlation C_b it need not, and holds at 0.
    const double c = out.value;
    const double b = out.bias_correction;
    const double u2 = out.location_shift * out.location_shift;
    const double variance = (((1.0 - (out.correlation * out.correlation)) * b * b * (1.0 - (c * c))) +
                             (2.0 * c * c * b * (1.0 - c) * u2) - (0.5 * c * c * b * b * u2 * u2)) /
                            (n - 2.0);
    out.se = std::sqrt(std::max(0.0, variance));
    const double half = two_sided_quantile(level, infinite) * out.se / (1.0 - (c * c));
    out.interval = {std::tanh(std::atanh(c) - half), std::tanh(std::atanh(c) + half)};
    return out;
}

namespace {

Expected<void> check_scores(std::span<const std::size_t> first, std::span<const std::size_t> second,
                            std::size_t categories) {
    if (first.size() != second.size()) {
        return fail(
            {.code = ErrorCode::bad_row,
             .found = fmt::format("{} scores by the first and {} by the second", first.size(), second.size()),
             .expected = "two scores of each subject"});
    }
    if (auto fine = detail::check_count(first.size(), 2, "subjects scored twice"); !fine) {
        return fine;
    }
    if (auto fine = detail::check_count(categories, 2, "steps on the scale"); !fine) {
        return fine;
    }
    for (std::size_t i = 0; i < first.size(); ++i) {
        if (std::max(first[i], second[i]) >= categories) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("a score of {} for subject {}", std::max(first[i], second[i]), i + 1),
                 .expected = fmt::format("0 to {}", categories - 1)});
        }
    }
    if (std::all_of(first.begin(), first.end(), [&](std::size_t s) { return s == first[0]; }) &&
        std::all_of(second.begin(), second.end(), [&](std::size_t s) { return s == first[0]; })) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("both gave {} to every subject", first[0]),
                     .expected = "scores that vary: agreement by chance would be as good"});
    }
    return {};
}

double worth(std::size_t a, std::size_t b, std::size_t categories, KappaWeights weights) {
    if (weights == KappaWeights::none) {
        return a == b ? 1.0 : 0.0;
    }
    const double share = (static_cast<double>(std::max(a, b)) - static_cast<double>(std::min(a, b))) /
                         (static_cast<double>(categories) - 1.0);
    return 1.0 - (weights == KappaWeights::linear ? share : share * share);
}

} // namespace

Expected<Kappa> weighted_kappa(std::span<const std::size_t> first, std::span<const std::size_t> second,
                               std::size_t categories, const KappaOptions& options) {
    for (auto fine : {detail::check_level(options.level), check_scores(first, second, categories)}) {
        if (!fine) {
            return fail(std::move(fine).error());
        }
    }
    const std::size_t k = categories;
    const auto n = static_cast<double>(first.size());
    std::vector<double> seen(k * k, 0.0); // shares of subjects, row by row
    std::vector<double> rows(k, 0.0);
    std::vector<double> columns(k, 0.0);
    for (std::size_t i = 0; i < first.size(); ++i) {
        seen[(first[i] * k) + second[i]] += 1.0 / n;
        rows[first[i]] += 1.0 / n;
        columns[second[i]] += 1.0 / n;
    }
    Kappa out{.n = first.size()};
    std::vector<double> row_worth(k, 0.0); // mean worth of a score of the first against the second's habits
    std::vector<double> column_worth(k, 0.0);
    for (std::size_t a = 0; a < k; ++a) {
        for (std::size_t b = 0; b < k; ++b) {
            const double w = worth(a, b, k, options.weights);
            out.agreement += w * seen[(a * k) + b];
            out.expected += w * rows[a] * columns[b];
            row_worth[a] += w * columns[b];
            column_worth[b] += w * rows[a];
        }
    }
    const double room = 1.0 - out.expected;
    out.value = (out.agreement - out.expected) / room;
    double sum = 0.0;
    double sum_of_none = 0.0;
    for (std::size_t a = 0; a < k; ++a) {
        for (std::size_t b = 0; b < k; ++b) {
            const double w = worth(a, b, k, options.weights);
            const double both = row_worth[a] + column_worth[b];
            sum += seen[(a * k) + b] * std::pow((w * room) - (both * (1.0 - out.agreement)), 2);
            sum_of_none += rows[a] * columns[b] * std::pow(w - both, 2);
        }
    }
    const double centre = (out.agreement * out.expected) - (2.0 * out.expected) + out.agreement;
    out.se = std::sqrt(std::max(0.0, sum - (centre * centre)) / n) / (room * room);
    out.se_of_none = std::sqrt(std::max(0.0, sum_of_none - (out.expected * out.expected)) / n) / room;
    out.p = make_estimate("kappa", out.value, out.se_of_none, infinite).p;
    if (!std::equal(first.begin(), first.end(), second.begin())) {
        const double half = two_sided_quantile(options.level, infinite) * out.se;
        out.interval = Interval{std::max(-1.0, out.value - half), std::min(1.0, out.value + half)};
    }
    return out;
}

} // namespace backeddy::stats
