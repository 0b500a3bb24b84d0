#include "stats/generalised.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "stats/detail/check.hpp"
#include "stats/detail/scoring.hpp"
#include "stats/detail/simulated.hpp"

namespace backeddy::stats {

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

Expected<void> check_options(const Design& design, const GeneralisedOptions& options, Link link) {
    if (auto fine = detail::check_level(options.level); !fine) {
        return fine;
    }
    const bool has_penalty = link == Link::logit || options.family == Family::poisson;
    if (options.penalty == Penalty::firth && !has_penalty) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "Firth's penalty with the negative binomial, or with another link than logit",
                     .expected = "the penalty with the binomial under the logit, or with Poisson counts"});
    }
    if (design.rows() < design.columns()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} rows for {} coefficients", design.rows(), design.columns()),
                     .expected = "at least as many rows as coefficients",
                     .remedy = "a smaller model, or more rows"});
    }
    return {};
}

/// The rows in which a factor stands at a level, by the term that is that factor alone.
std::vector<std::size_t> rows_at(const Design& design, const Variable& factor, std::size_t level) {
    const auto term = std::find(design.terms().begin(), design.terms().end(), factor.name);
    std::vector<std::size_t> columns;
    for (std::size_t k = 0; k < design.columns() && term != design.terms().end(); ++k) {
        const auto own = design.term_of(k);
        if (own && *own == static_cast<std::size_t>(term - design.terms().begin())) {
            columns.push_back(k);
        }
    }
    if (columns.empty()) {
        return {};
    }
    const bool is_contrasted = columns.size() + 1 == factor.levels.size();
    std::vector<std::size_t> out;
    for (std::size_t i = 0; i < design.rows(); ++i) {
        std::size_t at = 0;
        for (std::size_t k = 0; k < columns.size(); ++k) {
            if (design.column(columns[k])[i] == 1.0) {
                at = k + (is_contrasted ? 1 : 0);
            }
        }
        if (at == level) {
            out.push_back(i);
        }
    }
    return out;
}

/// "all 7 rows of rig "circle" are 0", of every level whose rows are all at the same end.
std::vector<std::string> levels_at_an_end(const Design& design, const detail::Scoring& scoring) {
    std::vector<std::string> out;
    for (const auto& variable : design.variables()) {
        for (std::size_t level = 0; level < variable.levels.size(); ++level) {
            const auto rows = rows_at(design, variable, level);
            for (const int side : {-1, 1}) {
                if (!rows.empty() && std::all_of(rows.begin(), rows.end(), [&](std::size_t i) {
                        return scoring.open_side(i) == side;
                    })) {
                    out.push_back(fmt::format("all {} rows of {} \"{}\" are {}", rows.size(), variable.name,
                                              variable.levels[level],
                                              side < 0 ? "0" : "1, or as many as there were trials"));
                }
            }
        }
    }
    return out;
}

tl::unexpected<Error> separated(const Design& design, const detail::Scoring& scoring,
                                const std::vector<double>& direction, bool has_penalty) {
    std::vector<double> parts;
    for (std::size_t k = 0; k < design.columns(); ++k) {
        const auto column = design.column(k);
        double most = 0.0;
        for (const double v : column) {
            most = std::max(most, std::abs(v));
        }
        parts.push_back(std::abs(direction[k]) * most);
    }
    const double largest = *std::max_element(parts.begin(), parts.end());
    std::vector<std::string> names;
    for (std::size_t k = 0; k < parts.size(); ++k) {
        if (parts[k] > 1e-2 * largest) {
            names.push_back(design.names()[k]);
        }
    }
    const auto levels = levels_at_an_end(design, scoring);
    return fail({.code = ErrorCode::degenerate,
                 .found = fmt::format("{} part{} the outcomes without an exception (separation){}{}: the "
                                      "likelihood grows for ever with {}",
                                      fmt::join(names, " and "), names.size() == 1 ? "s" : "",
                                      levels.empty() ? "" : "; ", fmt::join(levels, "; "),
                                      names.size() == 1 ? "its coefficient" : "their coefficients"),
                 .expected = "outcomes of both kinds in every group and on either side of every trend",
                 .remedy = has_penalty ? "fit with Firth's penalty and read its profile intervals, or join "
                                         "the level with others; no ratio can be given by plain likelihood"
                                       : "join the level with others, or leave the column out"});
}

Expected<void> check_peak(const detail::Peak& peak, const Design& design, const detail::Scoring& scoring,
                          bool has_penalty) {
    if (peak.end == detail::ScoringEnd::endless) {
        return separated(design, scoring, peak.direction, has_penalty);
    }
    if (peak.end == detail::ScoringEnd::lost) {
        return fail({.code = ErrorCode::not_converged,
                     .found = "no step of the search was the last: the highest likelihood was not reached",
                     .expected = "a maximum",
                     .remedy = "a smaller model; are some rows far from all others?"});
    }
    return {};
}

void add_coefficients(const detail::Scoring& scoring, const detail::Peak& peak, GeneralisedFit& out) {
    const std::size_t p = peak.coefficients.size();
    out.covariance = peak.covariance;
    for (std::size_t k = 0; k < p; ++k) {
        out.coefficients.push_back(make_estimate(out.design.names()[k], peak.coefficients[k],
                                                 std::sqrt(out.covariance[(k * p) + k]), endless, out.level));
        if (out.link == Link::logit || out.link == Link::log) {
            out.ratios.push_back(ratio_of(out.coefficients.back()));
        }
    }
    if (peak.theta) {
        const auto joint = scoring.joint(peak);
        const double width = std::exp(two_sided_quantile(out.level, endless) * joint.log_theta_se);
        out.theta = Theta{.value = *peak.theta,
                          .se = *peak.theta * joint.log_theta_se,
                          .lower = *peak.theta / width,
                          .upper = *peak.theta * width,
                          .coefficient_se = joint.coefficient_se};
    }
}

detail::Kind kind_of(const GeneralisedFit& fit) {
    return {.family = fit.family,
            .link = fit.link,
            .theta = fit.theta ? std::optional(fit.theta->value) : std::nullopt};
}

/// Deviance of the rows with all coefficients 0 but the intercept, theta as it is.
double null_deviance(const detail::Scoring& scoring, const GeneralisedFit& fit) {
    const auto kind = kind_of(fit);
    const auto eta = scoring.null_predictor(kind.theta);
    double out = 0.0;
    for (std::size_t i = 0; i < fit.n; ++i) {
        out += detail::row_deviance(kind, fit.outcome[i], fit.trials[i], detail::mean_at(fit.link, eta[i]));
    }
    return out;
}

void add_rows(const std::vector<double>& eta, GeneralisedFit& out) {
    const auto kind = kind_of(out);
    for (std::size_t i = 0; i < out.n; ++i) {
        const double mean = detail::mean_at(out.link, eta[i]);
        const double expected = out.trials[i] * mean;
        const double deviance =
            std::max(0.0, detail::row_deviance(kind, out.outcome[i], out.trials[i], mean));
        const double variance = detail::variance_at(kind, mean, out.trials[i]);
        const double residual = out.outcome[i] - expected;
        out.fitted.push_back(mean);
        out.pearson.push_back(variance > 0.0 ? residual / std::sqrt(variance) : 0.0);
        out.deviance_residuals.push_back(std::copysign(std::sqrt(deviance), residual));
        out.deviance += deviance;
        out.pearson_chi_squared += out.pearson.back() * out.pearson.back();
    }
    out.dispersion = out.freedom > 0.0 ? out.pearson_chi_squared / out.freedom : 0.0;
}

bool is_of_single_trials(const GeneralisedFit& fit) {
    return fit.family == Family::binomial &&
           std::all_of(fit.trials.begin(), fit.trials.end(), [](double m) { return m == 1.0; });
}

void add_remarks(GeneralisedFit& out) {
    if (out.family == Family::negative_binomial && !out.theta) {
        out.remarks.push_back(
            {.about = Remark::About::not_over_dispersed,
             .text = "the counts vary no more than Poisson's: theta grows for ever, and what is shown is the "
                     "Poisson fit"});
    }
    constexpr double doubtful = 0.05;
    if (!is_of_single_trials(out) && out.freedom > 0.0 &&
        chi_squared_upper(out.pearson_chi_squared, out.freedom) < doubtful) {
        out.remarks.push_back(
            {.about = Remark::About::over_dispersed,
             .text = fmt::format(
                 "the outcomes vary {:.2f} times as much as the model says (Pearson's chi-squared {:.1f} on "
                 "{} "
                 "degrees of freedom): standard errors and p-values are too small. {}",
                 out.dispersion, out.pearson_chi_squared, out.freedom,
                 out.family == Family::poisson
                     ? "Fit a negative binomial, or a random intercept of what rows share (day, boat)"
                     : "Is a column missing, or a random intercept of what rows share (day, boat)? Else "
                       "widen "
                       "them by the dispersion")});
    }
}

} // namespace

std::vector<double> GeneralisedFit::values() const {
    std::vector<double> out;
    for (const auto& one : coefficients) {
        out.push_back(one.value);
    }
    return out;
}

Expected<GeneralisedFit> fit_generalised(const Design& design, std::span<const double> outcome,
                                         const GeneralisedOptions& options) {
    auto link = detail::check_link(options.family, options.link);
    if (!link) {
        return fail(std::move(link).error());
    }
    if (auto fine = check_options(design, options, *link); !fine) {
        return fail(std::move(fine).error());
    }
    auto observed = detail::check_observed(design.row_labels(), outcome, options);
    if (!observed) {
        return fail(std::move(observed).error());
    }
    const detail::Scoring scoring(design, *observed, options.family, *link, options.penalty);
    const auto peak = scoring.best();
    const bool has_penalty = *link == Link::logit || options.family == Family::poisson;
    if (auto fine = check_peak(peak, design, scoring, has_penalty); !fine) {
        return fail(std::move(fine).error());
    }
    GeneralisedFit out{.design = design,
                       .family = options.family,
                       .link = *link,
                       .penalty = options.penalty,
                       .outcome = observed->outcome,
                       .trials = observed->trials,
                       .offset = observed->offset,
                       .log_likelihood = peak.log_likelihood,
                       .penalised_log_likelihood = peak.value,
                       .n = design.rows(),
                       .parameters = design.columns() + (peak.theta ? 1 : 0),
                       .freedom = static_cast<double>(design.rows() - design.columns()),
                       .level = options.level};
    add_coefficients(scoring, peak, out);
    add_rows(peak.predictor, out);
    out.null_deviance = null_deviance(scoring, out);
    const auto parameters = static_cast<double>(out.parameters);
    out.aic = (-2.0 * out.log_likelihood) + (2.0 * parameters);
    out.bic = (-2.0 * out.log_likelihood) + (std::log(static_cast<double>(out.n)) * parameters);
    add_remarks(out);
    return out;
}

Expected<std::vector<double>> log_exposure(const Table& table, std::string_view column) {
    if (auto there = table.require(column); !there) {
        return fail(std::move(there).error());
    }
    if (table.is_factor(column) || table.has_missing(column)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("the effort \"{}\" holds words or has empty cells", column),
                     .expected = "a number in every row"});
    }
    std::vector<double> out;
    for (const double effort : table.numbers(column)) {
        if (!(effort > 0.0)) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("\"{}\" of {} is {}", column, table.row_labels()[out.size()], effort),
                 .expected = "an effort above 0: nothing can be counted in none",
                 .remedy = "mend the effort, or leave the row out and say so"});
        }
        out.push_back(std::log(effort));
    }
    return out;
}

Estimate contrast(const GeneralisedFit& fit, std::string name, std::span<const double> weights) {
    const auto sum = combine(weights, fit.values(), fit.covariance);
    return make_estimate(std::move(name), sum.value, std::sqrt(std::max(0.0, sum.variance)), endless,
                         fit.level);
}

Ratio on_response_scale(Link link, const Estimate& predictor) {
    return {.name = predictor.name,
            .value = detail::mean_at(link, predictor.value),
            .lower = detail::mean_at(link, predictor.lower),
            .upper = detail::mean_at(link, predictor.upper)};
}

namespace {

detail::Scoring scoring_of(const GeneralisedFit& fit) {
    return {fit.design,
            {.outcome = fit.outcome, .trials = fit.trials, .offset = fit.offset},
            fit.family,
            fit.link,
            fit.penalty};
}

} // namespace

Expected<std::vector<ProfileInterval>> profile_intervals(const GeneralisedFit& fit) {
    const auto scoring = scoring_of(fit);
    const auto best = scoring.best();
    if (auto fine = check_peak(best, fit.design, scoring, true); !fine) {
        return fail(std::move(fine).error());
    }
    const double wanted = two_sided_quantile(fit.level, endless);
    std::vector<ProfileInterval> out;
    for (std::size_t k = 0; k < fit.design.columns(); ++k) {
        out.push_back({.name = fit.design.names()[k],
                       .value = fit.coefficients[k].value,
                       .lower = scoring.limit(best, k, wanted, -1.0),
                       .upper = scoring.limit(best, k, wanted, 1.0)});
    }
    return out;
}

Expected<std::vector<TermChiSquared>> term_tests(const GeneralisedFit& fit) {
    const auto scoring = scoring_of(fit);
    const auto best = scoring.best();
    if (auto fine = check_peak(best, fit.design, scoring, true); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<TermChiSquared> out;
    const auto hypotheses = term_hypotheses(fit.design);
    for (std::size_t t = 0; t < hypotheses.size(); ++t) {
        const auto without = scoring.without(best, hypotheses[t]);
        if (auto fine = check_peak(without, fit.design, scoring, true); !fine) {
            return fail(std::move(fine).error());
        }
        out.push_back({.term = fit.design.terms()[t],
                       .test = chi_squared_test(std::max(0.0, 2.0 * (best.value - without.value)),
                                                static_cast<double>(hypotheses[t].size()))});
    }
    return out;
}

namespace {

/// The likelihood ratio of one simulated study; nothing where it could not be fitted.
std::optional<double> simulated_ratio(const GeneralisedFit& fit, std::vector<double> outcome,
                                      const std::vector<std::vector<double>>& sums) {
    const detail::Scoring scoring(fit.design,
                                  {.outcome = std::move(outcome), .trials = fit.trials, .offset = fit.offset},
                                  fit.family, fit.link, fit.penalty);
    const auto best = scoring.best();
    if (best.end != detail::ScoringEnd::reached) {
        return std::nullopt;
    }
    const auto without = scoring.without(best, sums);
    return without.end == detail::ScoringEnd::reached
               ? std::optional(std::max(0.0, 2.0 * (best.value - without.value)))
               : std::nullopt;
}

bool is_all_the_same(const std::vector<double>& outcome) {
    return std::all_of(outcome.begin(), outcome.end(), [&](double y) { return y == outcome.front(); });
}

} // namespace

Expected<TermBootstrap> bootstrap_term(const GeneralisedFit& fit, std::size_t term,
                                       const TermBootstrapOptions& options) {
    const auto hypotheses = term_hypotheses(fit.design);
    if (auto fine = detail::check_bootstrap(term, hypotheses.size(), options); !fine) {
        return fail(std::move(fine).error());
    }
    const auto scoring = scoring_of(fit);
    const auto best = scoring.best();
    const auto null = scoring.without(best, hypotheses[term]);
    if (auto fine = check_peak(null, fit.design, scoring, true); !fine) {
        return fail(std::move(fine).error());
    }
    const detail::Kind kind{.family = fit.family, .link = fit.link, .theta = null.theta};
    std::vector<std::optional<double>> ratios(options.draws);
    detail::DrawsDone done(options);
    parallel_for(options.draws, options.threads, [&](std::size_t draw) {
        if (done.is_over()) {
            return;
        }
        Random random(options.seed, draw);
        std::vector<double> outcome;
        for (std::size_t i = 0; i < fit.n; ++i) {
            outcome.push_back(
                detail::drawn(kind, detail::mean_at(fit.link, null.predictor[i]), fit.trials[i], random));
        }
        if (!is_all_the_same(outcome)) {
            ratios[draw] = simulated_ratio(fit, std::move(outcome), hypotheses[term]);
        }
        done.add_one();
    });
    return detail::judged(fit.design.terms()[term], std::max(0.0, 2.0 * (best.value - null.value)), ratios,
                          options.level);
}

Expected<std::vector<Estimate>> quasi_coefficients(const GeneralisedFit& fit) {
    if (is_of_single_trials(fit)) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = "outcomes of 0 and 1",
                     .expected = "counts, or several trials a row: one trial cannot vary more than it does"});
    }
    if (!(fit.freedom > 0.0)) {
        return fail(
            {.code = ErrorCode::too_few,
             .found = fmt::format("{} rows for {} coefficients", fit.n, fit.coefficients.size()),
             .expected = "more rows than coefficients: the dispersion is judged by what is left over"});
    }
    std::vector<Estimate> out;
    for (const auto& one : fit.coefficients) {
        out.push_back(
            make_estimate(one.name, one.value, one.se * std::sqrt(fit.dispersion), fit.freedom, fit.level));
    }
    return out;
}

} // namespace backeddy::stats
