#include "stats/ordinal.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "stats/detail/check.hpp"
#include "stats/detail/likelihood.hpp"
#include "stats/detail/standard.hpp"

namespace backeddy::stats {

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

/// Of the row whose score is `score` of `last + 1`: logistic between its two thresholds.
detail::RowTerms score_terms(std::size_t score, std::size_t last, std::span<const double> thresholds,
                             double eta) {
    detail::RowTerms out;
    const double lower = score > 0 ? thresholds[score - 1] - eta : -endless;
    const double upper = score < last ? thresholds[score] - eta : endless;
    if (!(lower < upper)) {
        out.value = -endless;
        return out;
    }
    const auto share = detail::share_between(detail::Standard::logistic, lower, upper);
    out.value = share.log_share;
    out.first = {share.by_lower, share.by_upper, -(share.by_lower + share.by_upper)};
    const double low = share.by_lower_twice;
    const double high = share.by_upper_twice;
    const double cross = share.by_both;
    out.second = {{{low, cross, -(low + cross)},
                   {cross, high, -(high + cross)},
                   {-(low + cross), -(high + cross), low + high + (2.0 * cross)}}};
    out.further = {score > 0 ? score - 1 : detail::RowTerms::none,
                   score < last ? score : detail::RowTerms::none};
    return out;
}

struct Scores {
    std::vector<std::size_t> codes;
    std::vector<std::string> levels;
    std::vector<std::size_t> counts;
    std::vector<Remark> remarks;
};

/// Only the levels that rows have, with words about those that none or few have.
Scores used_scores(const Factor& given) {
    constexpr std::size_t few = 3;
    std::vector<std::size_t> counts(given.levels.size(), 0);
    for (const std::size_t code : given.codes) {
        ++counts[code];
    }
    Scores out;
    std::vector<std::size_t> place(counts.size(), 0);
    for (std::size_t k = 0; k < counts.size(); ++k) {
        place[k] = out.levels.size();
        if (counts[k] == 0) {
            out.remarks.push_back(
                {.about = Remark::About::empty_score,
                 .text =
                     fmt::format("no row has the score \"{}\": it is passed over, and the fit says nothing "
                                 "of how often it comes",
                                 given.levels[k])});
            continue;
        }
        out.levels.push_back(given.levels[k]);
        out.counts.push_back(counts[k]);
        if (counts[k] < few) {
            out.remarks.push_back(
                {.about = Remark::About::rare_score,
                 .text =
                     fmt::format("only {} the score \"{}\": the threshold beside it rests on that; join it "
                                 "with a neighbour if the two mean much the same",
                                 counts[k] == 1 ? "1 row has" : fmt::format("{} rows have", counts[k]),
                                 given.levels[k])});
        }
    }
    for (const std::size_t code : given.codes) {
        out.codes.push_back(place[code]);
    }
    return out;
}

Expected<void> check_ordinal(const Design& design, const Factor& scores, const OrdinalOptions& options) {
    if (auto ok = detail::check_level(options.level); !ok) {
        return ok;
    }
    if (auto ok = detail::check_nodes(options.nodes); !ok) {
        return ok;
    }
    if (scores.codes.size() != design.rows()) {
        return fail(
            {.code = ErrorCode::bad_relation,
             .found = fmt::format("{} scores for {} rows of the design", scores.codes.size(), design.rows()),
             .expected = "a score for every row",
             .remedy = "leave rows without one out first"});
    }
    if (design.made_of().intercept != Intercept::fitted) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "a design without intercept",
                     .expected = "one with: the thresholds take its place",
                     .remedy = "let the intercept be fitted"});
    }
    return options.group == nullptr ? Expected<void>{} : detail::check_groups(*options.group, design.rows());
}

Expected<void> check_scores(const Scores& scores, std::size_t coefficients) {
    if (scores.levels.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("every row has the score \"{}\"", scores.levels.front()),
                     .expected = "scores that differ: nothing is left to explain",
                     .remedy = "give the share of the others as none, with its exact limits"});
    }
    const std::size_t numbers = scores.levels.size() - 1 + coefficients;
    if (scores.codes.size() <= numbers) {
        return fail(
            {.code = ErrorCode::too_few,
             .found = fmt::format("{} rows for {} thresholds and coefficients", scores.codes.size(), numbers),
             .expected = "more rows than numbers to find (ten a coefficient to be trusted)",
             .remedy = "a smaller model, or scores joined with their neighbours"});
    }
    return {};
}

/// Log odds of a score at or below each but the highest, over all rows; then no effects, and a spread of 1.
std::vector<double> start_of(const std::vector<std::size_t>& counts, std::size_t rows, std::size_t columns,
                             bool has_groups) {
    std::vector<double> out;
    std::size_t below = 0;
    for (std::size_t k = 0; k + 1 < counts.size(); ++k) {
        below += counts[k];
        out.push_back(std::log(static_cast<double>(below) / static_cast<double>(rows - below)));
    }
    out.insert(out.end(), columns, 0.0);
    if (has_groups) {
        out.push_back(1.0);
    }
    return out;
}

struct Problem {
    std::vector<std::size_t> scores;
    std::vector<std::size_t> counts;
    std::vector<std::size_t> groups;
    std::size_t nodes = 1;
};

Problem problem_of(const OrdinalFit& fit) {
    Problem out{.scores = fit.scores,
                .counts = std::vector<std::size_t>(fit.levels.size(), 0),
                .groups = fit.groups,
                .nodes = fit.nodes};
    for (const std::size_t score : fit.scores) {
        ++out.counts[score];
    }
    return out;
}

detail::Likelihood likelihood_of(const Problem& problem, std::vector<std::vector<double>> columns) {
    const std::size_t last = problem.counts.size() - 1;
    return detail::Likelihood({.rows = problem.scores.size(),
                               .further = last,
                               .columns = std::move(columns),
                               .groups = problem.groups,
                               .nodes = problem.nodes,
                               .row = [scores = problem.scores, last](
                                          std::size_t row, std::span<const double> thresholds, double eta) {
                                   return score_terms(scores[row], last, thresholds, eta);
                               }});
}

/// The likelihood is concave in thresholds and coefficients (Burridge 1981, J R Stat Soc B 43:41): it rises
/// for ever along a direction along which no row's share can fall.
detail::IsEndless parts_scores(const detail::Likelihood& likelihood, const Problem& problem) {
    return [&likelihood, &problem](std::span<const double> direction) {
        const auto& model = likelihood.model();
        const std::size_t last = problem.counts.size() - 1;
        std::vector<double> upper;
        std::vector<double> lower;
        double most = 0.0;
        for (std::size_t i = 0; i < model.rows; ++i) {
            double eta = 0.0;
            for (std::size_t k = 0; k < model.columns.size(); ++k) {
                eta += direction[last + k] * model.columns[k][i];
            }
            const std::size_t score = problem.scores[i];
            upper.push_back(score < last ? direction[score] - eta : 0.0);
            lower.push_back(score > 0 ? eta - direction[score - 1] : 0.0);
            most = std::max({most, std::abs(upper.back()), std::abs(lower.back())});
        }
        const double slack = 1e-3 * most;
        const auto holds = [&](double v) { return v >= -slack; };
        return most > 0.0 && std::all_of(upper.begin(), upper.end(), holds) &&
               std::all_of(lower.begin(), lower.end(), holds);
    };
}

tl::unexpected<Error> separated(const std::vector<std::string>& names, std::span<const double> direction) {
    double most = 0.0;
    for (const double d : direction) {
        most = std::max(most, std::abs(d));
    }
    std::vector<std::string> guilty;
    for (std::size_t k = 0; k < names.size(); ++k) {
        if (std::abs(direction[k]) > 1e-3 * most) {
            guilty.push_back(names[k]);
        }
    }
    return fail(
        {.code = ErrorCode::degenerate,
         .found = fmt::format("the likelihood grows for ever with the coefficient{} of {}: the scores "
                              "can be parted by it without an exception",
                              guilty.size() == 1 ? "" : "s", fmt::join(guilty, " and ")),
         .expected = "scores that overlap between groups, or along a column",
         .remedy = "report a rank test, which holds; join the group of one score only with others, or "
                   "leave the column out; no odds ratio can be given"});
}

/// The highest point, or why there is none.
Expected<detail::Climb> maximise(const detail::Likelihood& likelihood, const Problem& problem,
                                 const std::vector<std::string>& names) {
    auto found = detail::climb(
        likelihood, start_of(problem.counts, problem.scores.size(), names.size(), !problem.groups.empty()),
        parts_scores(likelihood, problem));
    if (found.ending == detail::Ending::endless) {
        return separated(names, std::span(found.step).subspan(problem.counts.size() - 1, names.size()));
    }
    if (found.ending != detail::Ending::reached) {
        return fail({.code = ErrorCode::not_converged,
                     .found = "a hundred steps did not reach the highest likelihood of the scores",
                     .expected = "a maximum",
                     .remedy = "a smaller model, or scores joined with their neighbours"});
    }
    return found;
}

/// From the scaled and centred columns' parameters to the design's, row by row.
std::vector<double> map_back(const detail::ScaledColumns& scaled, std::size_t thresholds, std::size_t all) {
    std::vector<double> out(all * all, 0.0);
    for (std::size_t i = 0; i < all; ++i) {
        const bool is_coefficient = i >= thresholds && i - thresholds < scaled.names.size();
        out[(i * all) + i] = is_coefficient ? 1.0 / scaled.scale[i - thresholds] : 1.0;
        for (std::size_t k = 0; i < thresholds && k < scaled.names.size(); ++k) {
            out[(i * all) + thresholds + k] = scaled.mean[k] / scaled.scale[k];
        }
    }
    return out;
}

std::vector<double> times(const std::vector<double>& map, const std::vector<double>& v) {
    std::vector<double> out(v.size(), 0.0);
    for (std::size_t i = 0; i < v.size(); ++i) {
        for (std::size_t k = 0; k < v.size(); ++k) {
            out[i] += map[(i * v.size()) + k] * v[k];
        }
    }
    return out;
}

void add_estimates(const detail::ScaledColumns& scaled, const detail::Climb& best,
                   const std::vector<double>& covariance, OrdinalFit& out) {
    const std::size_t all = best.at.size();
    const std::size_t thresholds = out.levels.size() - 1;
    const auto map = map_back(scaled, thresholds, all);
    const auto values = times(map, best.at);
    const auto v = detail::congruent(map, covariance);
    const std::size_t shown = thresholds + scaled.names.size();
    for (std::size_t k = 0; k < shown; ++k) {
        const double se = std::sqrt(v[(k * all) + k]);
        if (k < thresholds) {
            out.thresholds.push_back(
                make_estimate(out.levels[k] + " or lower", values[k], se, endless, out.level));
        } else {
            out.coefficients.push_back(
                make_estimate(scaled.names[k - thresholds], values[k], se, endless, out.level));
            out.odds_ratios.push_back(ratio_of(out.coefficients.back()));
        }
        for (std::size_t l = 0; l < shown; ++l) {
            out.covariance.push_back(v[(k * all) + l]);
        }
    }
}

/// What the group adds, beside the same model without it.
Expected<void> add_random(const detail::Likelihood& likelihood, const detail::Climb& best,
                          const Problem& problem, const detail::ScaledColumns& scaled, const Factor& group,
                          OrdinalFit& out) {
    Problem alone = problem;
    alone.groups.clear();
    const auto without = maximise(likelihood_of(alone, scaled.values), alone, scaled.names);
    if (!without) {
        return fail(without.error());
    }
    out.random = detail::random_intercept(likelihood, best, group, without->slopes.value);
    detail::add_remarks(*out.random, problem.groups, out.remarks);
    return {};
}

} // namespace

Expected<OrdinalFit> fit_ordinal(const Design& design, const Factor& scores, const OrdinalOptions& options) {
    if (auto ok = check_ordinal(design, scores, options); !ok) {
        return fail(std::move(ok).error());
    }
    auto used = used_scores(scores);
    const auto scaled = detail::scaled_columns(design);
    if (auto ok = check_scores(used, scaled.names.size()); !ok) {
        return fail(std::move(ok).error());
    }
    OrdinalFit out{.design = design,
                   .scores = used.codes,
                   .levels = used.levels,
                   .groups = options.group != nullptr ? options.group->codes : std::vector<std::size_t>{},
                   .nodes = options.nodes,
                   .columns = scaled.places,
                   .n = used.codes.size(),
                   .level = options.level,
                   .remarks = used.remarks};
    const auto problem = problem_of(out);
    const auto likelihood = likelihood_of(problem, scaled.values);
    const auto best = maximise(likelihood, problem, scaled.names);
    if (!best) {
        return fail(best.error());
    }
    const auto covariance = detail::covariance_of(likelihood, *best);
    if (!covariance) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "the scores do not tell the coefficients of this model apart",
                     .expected = "an information matrix of full rank",
                     .remedy = "a smaller model, or scores joined with their neighbours"});
    }
    out.log_likelihood = best->slopes.value;
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * static_cast<double>(best->at.size()));
    add_estimates(scaled, *best, *covariance, out);
    if (options.group != nullptr) {
        if (auto ok = add_random(likelihood, *best, problem, scaled, *options.group, out); !ok) {
            return fail(std::move(ok).error());
        }
    }
    return out;
}

std::vector<ProfileInterval> profile_intervals(const OrdinalFit& fit) {
    const auto problem = problem_of(fit);
    const auto scaled = detail::scaled_columns(fit.design);
    const auto likelihood = likelihood_of(problem, scaled.values);
    const std::size_t thresholds = fit.levels.size() - 1;
    const auto best = detail::climb(
        likelihood, start_of(problem.counts, fit.n, scaled.names.size(), !problem.groups.empty()));
    std::vector<ProfileInterval> out;
    for (std::size_t k = 0; k < fit.coefficients.size(); ++k) {
        const double scale = scaled.scale[k];
        const auto limits = detail::profile_limits(likelihood, best, thresholds + k,
                                                   fit.coefficients[k].se * scale, fit.level);
        out.push_back({.name = scaled.names[k],
                       .value = fit.coefficients[k].value,
                       .lower = limits.lower / scale,
                       .upper = limits.upper / scale});
    }
    return out;
}

Expected<std::vector<TermChiSquared>> term_tests(const OrdinalFit& fit) {
    const auto problem = problem_of(fit);
    const auto coded = fit.design.recoded(Coding::sum_to_zero);
    const auto scaled = detail::scaled_columns(coded);
    std::vector<TermChiSquared> out;
    for (std::size_t t = 0; t < coded.terms().size(); ++t) {
        std::vector<std::vector<double>> left;
        std::vector<std::string> names;
        for (std::size_t k = 0; k < scaled.places.size(); ++k) {
            if (coded.term_of(scaled.places[k]) != t) {
                left.push_back(scaled.values[k]);
                names.push_back(scaled.names[k]);
            }
        }
        const auto freedom = static_cast<double>(scaled.places.size() - left.size());
        const auto without = maximise(likelihood_of(problem, std::move(left)), problem, names);
        if (!without) {
            return fail(without.error());
        }
        out.push_back(
            {.term = coded.terms()[t],
             .test = chi_squared_test(2.0 * (fit.log_likelihood - without->slopes.value), freedom)});
    }
    return out;
}

std::vector<double> score_shares(const OrdinalFit& fit, std::span<const double> row) {
    double eta = 0.0;
    for (std::size_t k = 0; k < fit.columns.size(); ++k) {
        eta += fit.coefficients[k].value * row[fit.columns[k]];
    }
    std::vector<double> thresholds;
    for (const auto& one : fit.thresholds) {
        thresholds.push_back(one.value);
    }
    std::vector<double> out;
    for (std::size_t j = 0; j < fit.levels.size(); ++j) {
        out.push_back(std::exp(score_terms(j, thresholds.size(), thresholds, eta).value));
    }
    return out;
}

} // namespace backeddy::stats
