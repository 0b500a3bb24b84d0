#include "stats/censored.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "stats/detail/censored_rows.hpp"
#include "stats/detail/check.hpp"
#include "stats/detail/likelihood.hpp"

namespace backeddy::stats {

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

bool is_positive(Distribution distribution) {
    return distribution != Distribution::normal;
}

/// All that a likelihood is made of but the columns.
struct Problem {
    detail::StandardRows rows;
    std::vector<std::size_t> groups;
    std::size_t nodes = 1;

    [[nodiscard]] std::size_t further() const { return rows.has_scale ? 1 : 0; }
};

bool has_intercept(const Design& design) {
    return design.made_of().intercept == Intercept::fitted;
}

Problem problem_of(const CensoredFit& fit) {
    return {.rows = detail::standard_rows(fit.outcome, fit.distribution, has_intercept(fit.design)),
            .groups = fit.groups,
            .nodes = fit.nodes};
}

/// Columns that are searched over, the intercept's first where there is one.
struct Searched {
    std::vector<std::string> names;
    std::vector<std::vector<double>> columns;
};

Searched searched_columns(const detail::ScaledColumns& scaled, bool with_intercept, std::size_t rows) {
    Searched out{.names = scaled.names, .columns = scaled.values};
    if (with_intercept) {
        out.names.insert(out.names.begin(), "intercept");
        out.columns.insert(out.columns.begin(), std::vector<double>(rows, 1.0));
    }
    return out;
}

detail::Likelihood likelihood_of(const Problem& problem, std::vector<std::vector<double>> columns) {
    return detail::Likelihood(
        {.rows = problem.rows.lower.size(),
         .further = problem.further(),
         .columns = std::move(columns),
         .groups = problem.groups,
         .nodes = problem.nodes,
         .row = [rows = problem.rows](std::size_t row, std::span<const double> further, double eta) {
             return detail::outcome_terms(rows, row, further, eta);
         }});
}

std::vector<double> start_of(const Problem& problem, std::size_t columns) {
    std::vector<double> out(problem.further() + columns, 0.0);
    if (!problem.groups.empty()) {
        out.push_back(0.5);
    }
    return out;
}

/// Whether all rows known on both sides stay where they are along a direction, and the others move to their
/// open side: no row's share then falls.
detail::IsEndless opens_only(const detail::Likelihood& likelihood, const Problem& problem) {
    return [&likelihood, &problem](std::span<const double> direction) {
        const auto& model = likelihood.model();
        std::vector<double> moves(model.rows, 0.0);
        double most = 0.0;
        for (std::size_t i = 0; i < model.rows; ++i) {
            for (std::size_t k = 0; k < model.columns.size(); ++k) {
                moves[i] += direction[model.further + k] * model.columns[k][i];
            }
            most = std::max(most, std::abs(moves[i]));
        }
        const double slack = 1e-3 * most;
        bool holds = most > 1e-2;
        for (std::size_t i = 0; i < model.rows; ++i) {
            const bool may_rise = std::isinf(problem.rows.upper[i]);
            const bool may_fall = std::isinf(problem.rows.lower[i]);
            holds = holds && (may_rise || moves[i] <= slack) && (may_fall || moves[i] >= -slack);
        }
        return holds;
    };
}

tl::unexpected<Error> infinite_coefficients(const std::vector<std::string>& names,
                                            std::span<const double> direction) {
    double most = 0.0;
    for (const double d : direction) {
        most = std::max(most, std::abs(d));
    }
    std::vector<std::string> guilty;
    for (std::size_t k = 0; k < names.size(); ++k) {
        if (names[k] != "intercept" && std::abs(direction[k]) > 1e-3 * most) {
            guilty.push_back(names[k]);
        }
    }
    return fail({.code = ErrorCode::degenerate,
                 .found = guilty.empty()
                              ? std::string("the likelihood grows for ever with the intercept")
                              : fmt::format("the likelihood grows for ever with the coefficient{} of {}: all "
                                            "rows that it moves are known on one side only, and to the same",
                                            guilty.size() == 1 ? "" : "s", fmt::join(guilty, " and ")),
                 .expected = "in every group a row whose value, or whose interval, was seen",
                 .remedy = "join the group with others or leave the column out; a rank test with all that is "
                           "beyond a limit tied (or a log-rank test) holds"});
}

tl::unexpected<Error> no_scale(ErrorCode code = ErrorCode::degenerate) {
    return fail({.code = code,
                 .found = "a model that leaves nothing over: all rows can lie just where it says",
                 .expected = "values, or intervals narrower than their spread, that differ between like rows",
                 .remedy = "a smaller model, more rows, or outcomes noted with more digits"});
}

/// The highest point, or why there is none.
Expected<detail::Climb> maximise(const detail::Likelihood& likelihood, const Problem& problem,
                                 const std::vector<std::string>& names) {
    auto found = detail::climb(likelihood, start_of(problem, names.size()), opens_only(likelihood, problem));
    if (found.ending == detail::Ending::endless) {
        return infinite_coefficients(names, std::span(found.step).subspan(problem.further(), names.size()));
    }
    // Of an outcome with a spread of 1.
    constexpr double least_log_scale = -14.0;
    if (problem.rows.has_scale && found.at.front() < least_log_scale) {
        return no_scale();
    }
    // Of an outcome with a spread of 1: on its way there, where a quadrature is too coarse to go on.
    constexpr double vanishing_log_scale = -3.5;
    if (found.ending != detail::Ending::reached && problem.rows.has_scale &&
        found.at.front() < vanishing_log_scale) {
        return no_scale(ErrorCode::not_converged);
    }
    if (found.ending != detail::Ending::reached) {
        return fail({.code = ErrorCode::not_converged,
                     .found = "a hundred steps did not reach the highest likelihood of the outcomes",
                     .expected = "a maximum",
                     .remedy = "a smaller model, or another distribution"});
    }
    return found;
}

Expected<void> check_setting(const Design& design, const CensoredOutcome& outcome,
                             const CensoredOptions& options) {
    if (auto ok = detail::check_level(options.level); !ok) {
        return ok;
    }
    if (auto ok = detail::check_nodes(options.nodes); !ok) {
        return ok;
    }
    if (outcome.lower.size() != design.rows() || outcome.upper.size() != design.rows()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} lower and {} upper limits for {} rows of the design",
                                          outcome.lower.size(), outcome.upper.size(), design.rows()),
                     .expected = "one of each for every row"});
    }
    return options.group == nullptr ? Expected<void>{} : detail::check_groups(*options.group, design.rows());
}

Expected<void> check_counts(const CensoredCounts& counts, std::size_t rows, std::size_t numbers) {
    if (counts.above == rows || counts.below == rows) {
        const char* side = counts.above == rows ? "above" : "below";
        return fail({.code = ErrorCode::degenerate,
                     .found = fmt::format("all {} rows are only known to lie {} their limits", rows, side),
                     .expected = "values, or intervals, that were seen",
                     .remedy = "report the limits, and the share of none seen with its exact limit"});
    }
    const std::size_t seen = counts.exact + counts.within;
    const std::size_t telling = seen > 0 ? seen + std::min<std::size_t>(rows - seen, 1) : rows;
    if (telling < numbers) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} rows whose value or interval was seen, for {} numbers to find",
                                          seen, numbers),
                     .expected = "at least as many (ten a coefficient to be trusted)",
                     .remedy = "a smaller model, or more rows"});
    }
    return {};
}

/// From the search's parameters to the design's: middle, spread and columns back in their own units. Row by
/// row; to the coefficients `middle` and to log scale log(spread) are added after.
std::vector<double> map_back(const detail::ScaledColumns& scaled, const Problem& problem, bool with_intercept,
                             std::size_t all) {
    std::vector<double> out(all * all, 0.0);
    const std::size_t first = problem.further() + (with_intercept ? 1 : 0);
    for (std::size_t i = 0; i < all; ++i) {
        out[(i * all) + i] = i < problem.further() ? 1.0 : problem.rows.spread;
    }
    for (std::size_t k = 0; k < scaled.names.size(); ++k) {
        const double unit = problem.rows.spread / scaled.scale[k];
        out[((first + k) * all) + first + k] = unit;
        if (with_intercept) {
            out[(problem.further() * all) + first + k] = -unit * scaled.mean[k];
        }
    }
    return out;
}

void add_estimates(const detail::ScaledColumns& scaled, const Problem& problem, const Searched& searched,
                   const detail::Climb& best, const std::vector<double>& covariance, CensoredFit& out) {
    const std::size_t all = best.at.size();
    const bool with_intercept = has_intercept(out.design);
    const auto map = map_back(scaled, problem, with_intercept, all);
    const auto v = detail::congruent(map, covariance);
    // Coefficients first, then log scale.
    std::vector<std::size_t> order;
    for (std::size_t k = 0; k < searched.names.size(); ++k) {
        order.push_back(problem.further() + k);
    }
    if (problem.rows.has_scale) {
        order.push_back(0);
    }
    for (const std::size_t i : order) {
        double value = 0.0;
        for (std::size_t k = 0; k < all; ++k) {
            value += map[(i * all) + k] * best.at[k];
        }
        const double se = std::sqrt(v[(i * all) + i]);
        if (i < problem.further()) {
            value += std::log(problem.rows.spread);
            out.log_scale = make_estimate("log scale", value, se, endless, out.level);
            out.scale = std::exp(value);
        } else {
            const std::size_t k = i - problem.further();
            value += with_intercept && k == 0 ? problem.rows.middle : 0.0;
            out.coefficients.push_back(make_estimate(searched.names[k], value, se, endless, out.level));
            if (is_positive(out.distribution)) {
                out.ratios.push_back(ratio_of(out.coefficients.back()));
            }
        }
        for (const std::size_t j : order) {
            out.covariance.push_back(v[(i * all) + j]);
        }
    }
}

/// What the group adds, beside the same model without it.
Expected<void> add_random(const detail::Likelihood& likelihood, const detail::Climb& best,
                          const Problem& problem, const Searched& searched, const Factor& group,
                          CensoredFit& out) {
    Problem alone = problem;
    alone.groups.clear();
    const auto plain = likelihood_of(alone, searched.columns);
    const auto without = maximise(plain, alone, searched.names);
    if (!without) {
        return fail(without.error());
    }
    out.random = detail::random_intercept(likelihood, best, group, without->slopes.value);
    out.random->sd *= problem.rows.spread;
    for (double& mode : out.random->modes) {
        mode *= problem.rows.spread;
    }
    detail::add_remarks(*out.random, problem.groups, out.remarks);
    return {};
}

void add_much_censored(const CensoredCounts& counts, std::vector<Remark>& remarks) {
    const std::size_t open = counts.below + counts.above;
    const std::size_t rows = open + counts.exact + counts.within;
    if (2 * open > rows) {
        remarks.push_back({.about = Remark::About::much_censored,
                           .text = fmt::format(
                               "{} of {} rows are known on one side only: what is said of them rests on the "
                               "form of the distribution; compare another",
                               open, rows)});
    }
}

Expected<CensoredFit> fit_with_nodes(const Design& design, const CensoredOutcome& outcome,
                                     Distribution distribution, const CensoredOptions& options) {
    if (auto ok = check_setting(design, outcome, options); !ok) {
        return fail(std::move(ok).error());
    }
    if (auto ok = detail::check_outcome(outcome, is_positive(distribution), design.row_labels()); !ok) {
        return fail(std::move(ok).error());
    }
    CensoredFit out{.design = design,
                    .outcome = outcome,
                    .distribution = distribution,
                    .groups = options.group != nullptr ? options.group->codes : std::vector<std::size_t>{},
                    .nodes = options.nodes,
                    .counts = detail::count_outcome(outcome, is_positive(distribution)),
                    .level = options.level};
    const auto problem = problem_of(out);
    if (auto ok = check_counts(out.counts, design.rows(), problem.further() + design.columns()); !ok) {
        return fail(std::move(ok).error());
    }
    add_much_censored(out.counts, out.remarks);
    const auto scaled = detail::scaled_columns(design);
    const auto searched = searched_columns(scaled, has_intercept(design), design.rows());
    const auto likelihood = likelihood_of(problem, searched.columns);
    const auto best = maximise(likelihood, problem, searched.names);
    if (!best) {
        return fail(best.error());
    }
    const auto covariance = detail::covariance_of(likelihood, *best);
    // Shares that are all 1: every interval holds its row for sure.
    if (!covariance || (out.counts.exact == 0 && best->slopes.value > -1e-6)) {
        return no_scale();
    }
    out.log_likelihood = best->slopes.value + problem.rows.log_jacobian;
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * static_cast<double>(best->at.size()));
    add_estimates(scaled, problem, searched, *best, *covariance, out);
    if (options.group != nullptr) {
        if (auto ok = add_random(likelihood, *best, problem, searched, *options.group, out); !ok) {
            return fail(std::move(ok).error());
        }
    }
    return out;
}

} // namespace

Expected<CensoredFit> fit_censored(const Design& design, const CensoredOutcome& outcome,
                                   Distribution distribution, const CensoredOptions& options) {
    auto out = fit_with_nodes(design, outcome, distribution, options);
    // A row known on one side bends a level's integrand the more sharply the wider levels lie beside what is
    // left over; too few nodes then disagree with their own derivatives, and no step is the last.
    for (const std::size_t nodes : {std::size_t{40}, std::size_t{100}}) {
        if (out || options.group == nullptr || out.error().code != ErrorCode::not_converged) {
            break;
        }
        if (nodes > options.nodes) {
            auto finer = options;
            finer.nodes = nodes;
            out = fit_with_nodes(design, outcome, distribution, finer);
        }
    }
    return out;
}

namespace {

/// Columns over their spread but not less their mean: the intercept is then the design's own.
Searched uncentred(const detail::ScaledColumns& scaled, const Searched& searched) {
    Searched out = searched;
    for (std::size_t k = 0; k < scaled.names.size(); ++k) {
        for (double& x : out.columns[1 + k]) {
            x += scaled.mean[k] / scaled.scale[k];
        }
    }
    return out;
}

ProfileInterval profile_of(const detail::Likelihood& likelihood, const detail::Climb& best,
                           std::size_t parameter, const Estimate& estimate, double unit, double shift,
                           double level) {
    const auto limits = detail::profile_limits(likelihood, best, parameter, estimate.se / unit, level);
    return {.name = estimate.name,
            .value = estimate.value,
            .lower = (limits.lower * unit) + shift,
            .upper = (limits.upper * unit) + shift};
}

} // namespace

std::vector<ProfileInterval> profile_intervals(const CensoredFit& fit) {
    const auto problem = problem_of(fit);
    const auto scaled = detail::scaled_columns(fit.design);
    const bool with_intercept = has_intercept(fit.design);
    const auto searched = searched_columns(scaled, with_intercept, fit.design.rows());
    const auto likelihood = likelihood_of(problem, searched.columns);
    const auto best = detail::climb(likelihood, start_of(problem, searched.names.size()));
    std::vector<ProfileInterval> out;
    std::size_t first = problem.further();
    if (with_intercept) {
        const auto own = likelihood_of(problem, uncentred(scaled, searched).columns);
        auto start = best.at;
        start[first] = (fit.coefficients.front().value - problem.rows.middle) / problem.rows.spread;
        out.push_back(profile_of(own, detail::climb(own, start), first, fit.coefficients.front(),
                                 problem.rows.spread, problem.rows.middle, fit.level));
        ++first;
    }
    for (std::size_t k = 0; k < scaled.names.size(); ++k) {
        out.push_back(profile_of(likelihood, best, first + k, fit.coefficients[out.size()],
                                 problem.rows.spread / scaled.scale[k], 0.0, fit.level));
    }
    if (fit.log_scale) {
        const auto log_scale =
            profile_of(likelihood, best, 0, *fit.log_scale, 1.0, std::log(problem.rows.spread), fit.level);
        out.push_back({.name = "scale",
                       .value = fit.scale,
                       .lower = std::exp(log_scale.lower),
                       .upper = std::exp(log_scale.upper)});
    }
    return out;
}

Expected<std::vector<TermChiSquared>> term_tests(const CensoredFit& fit) {
    const auto problem = problem_of(fit);
    const auto coded = fit.design.recoded(Coding::sum_to_zero);
    const auto scaled = detail::scaled_columns(coded);
    std::vector<TermChiSquared> out;
    for (std::size_t t = 0; t < coded.terms().size(); ++t) {
        detail::ScaledColumns left;
        for (std::size_t k = 0; k < scaled.places.size(); ++k) {
            if (coded.term_of(scaled.places[k]) != t) {
                left.values.push_back(scaled.values[k]);
                left.names.push_back(scaled.names[k]);
            }
        }
        const auto freedom = static_cast<double>(scaled.places.size() - left.names.size());
        const auto searched = searched_columns(left, has_intercept(coded), coded.rows());
        const auto without = maximise(likelihood_of(problem, searched.columns), problem, searched.names);
        if (!without) {
            return fail(without.error());
        }
        const double lost = fit.log_likelihood - (without->slopes.value + problem.rows.log_jacobian);
        out.push_back({.term = coded.terms()[t], .test = chi_squared_test(2.0 * lost, freedom)});
    }
    return out;
}

namespace {

double left_over(const CensoredFit& fit) {
    return static_cast<double>(fit.design.rows() - fit.coefficients.size());
}

} // namespace

double few_rows_p(const CensoredFit& fit, const ChiSquaredTest& test) {
    const auto n = static_cast<double>(fit.design.rows());
    const double f = std::expm1(std::max(0.0, test.chi_squared) / n) * left_over(fit) / test.freedom;
    return f_upper(f, test.freedom, left_over(fit));
}

double few_rows_level(const CensoredFit& fit) {
    const auto n = static_cast<double>(fit.design.rows());
    const double t = two_sided_quantile(fit.level, left_over(fit));
    return 1.0 - chi_squared_upper(n * std::log1p(t * t / left_over(fit)), 1.0);
}

Expected<Ratio> quantile_at(const CensoredFit& fit, std::span<const double> row, double share) {
    if (!(share > 0.0 && share < 1.0)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the quantile of a share of {}", share),
                     .expected = "a share between 0 and 1",
                     .remedy = "say 0.5 for the median"});
    }
    const auto problem = problem_of(fit);
    const double z = detail::standard_quantile(problem.rows.standard, share);
    std::vector<double> weights(row.begin(), row.end());
    std::vector<double> values;
    for (const auto& b : fit.coefficients) {
        values.push_back(b.value);
    }
    double value = fit.scale * z;
    if (fit.log_scale) {
        weights.push_back(fit.scale * z); // by log scale
        values.push_back(0.0);
    }
    const auto linear = combine(weights, values, fit.covariance);
    value += linear.value;
    const auto at = make_estimate("", value, std::sqrt(linear.variance), endless, fit.level);
    if (is_positive(fit.distribution)) {
        return ratio_of(at);
    }
    return Ratio{.name = at.name, .value = at.value, .lower = at.lower, .upper = at.upper};
}

Expected<CensoredMean> censored_mean(const CensoredOutcome& outcome, Distribution distribution,
                                     const std::vector<std::string>& labels, double level) {
    if (distribution != Distribution::normal && distribution != Distribution::log_normal) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = "the mean of a distribution of times",
                     .expected = "a normal or log-normal distribution",
                     .remedy = "take the median of a fit (quantile_at), or a restricted mean"});
    }
    const auto design = make_design(Table(labels), {});
    if (!design) {
        return fail(design.error());
    }
    const auto fit = fit_censored(*design, outcome, distribution, {.level = level});
    if (!fit) {
        return fail(fit.error());
    }
    const auto& mu = fit->coefficients.front();
    CensoredMean out{.sd = fit->scale,
                     .counts = fit->counts,
                     .log_likelihood = fit->log_likelihood,
                     .remarks = fit->remarks};
    if (distribution == Distribution::normal) {
        out.mean = {.name = "mean", .value = mu.value, .lower = mu.lower, .upper = mu.upper};
        out.median = out.mean;
        out.median.name = "median";
        return out;
    }
    out.median = ratio_of(mu);
    out.median.name = "median";
    const double variance = fit->scale * fit->scale;
    const auto mean =
        combine(std::vector<double>{1.0, variance}, std::vector<double>{mu.value, 0.5}, fit->covariance);
    out.mean = ratio_of(make_estimate("mean", mean.value, std::sqrt(mean.variance), endless, level));
    return out;
}

} // namespace backeddy::stats
