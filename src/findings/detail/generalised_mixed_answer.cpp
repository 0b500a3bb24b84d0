#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "findings/detail/model_effects.hpp"
#include "stats/generalised_mixed.hpp"

namespace backeddy::findings::detail {

namespace {

/// With fewer levels of some group chi-squared promises too much: what chance does is simulated instead.
constexpr std::size_t enough_levels = 30;

Expected<stats::GeneralisedMixedModel> model_of(const Frame& frame, const GeneralisedRows& rows,
                                                const std::vector<study::QuestionRandom>& random) {
    stats::Table table = frame.table;
    if (auto done = table.add_numbers(outcome_column, rows.values); !done) {
        return fail(std::move(done).error());
    }
    stats::GeneralisedMixedTerms terms{.outcome = outcome_column,
                                       .fixed = rows.terms,
                                       .family = rows.family,
                                       .effort = rows.offset.empty() ? "" : frame.outcome.exposure};
    for (const auto& group : random) {
        if (!group.slope.empty()) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("a slope of {} within {}", group.slope, group.group),
                         .expected = "levels alone, for counts and for yes or no",
                         .remedy = fmt::format("random = [\"{}\"]", group.group)});
        }
        terms.random.push_back(group.group);
    }
    return stats::GeneralisedMixedModel::make(table, terms);
}

std::string method_of(const stats::GeneralisedMixedFit& fit) {
    const char* kind = fit.family == stats::Family::binomial  ? "Logistic"
                       : fit.family == stats::Family::poisson ? "Poisson"
                                                              : "Negative binomial";
    return fmt::format(
        "{} mixed model by maximum likelihood (Laplace's approximation), for a level whose own "
        "intercept is 0",
        kind);
}

void add_spreads(const stats::GeneralisedMixedFit& fit, Finding& out) {
    const char* scale = fit.family == stats::Family::binomial ? "log odds" : "of the logarithm";
    for (const auto& group : fit.random) {
        out.spreads.push_back(
            {.name = fmt::format("between {} ({})", group.group, scale), .value = group.sd});
    }
}

std::size_t fewest_levels(const stats::GeneralisedMixedFit& fit) {
    const auto fewest =
        std::min_element(fit.random.begin(), fit.random.end(), [](const auto& one, const auto& other) {
            return one.levels.size() < other.levels.size();
        });
    return fewest->levels.size();
}

// Few levels: the likelihood ratio against what the model without the effect gives by chance, and Wald's
// limits stretched until they leave out "no effect" where that test does, as far as the likelihood is a
// parabola.
void add_simulated(const Frame& frame, const stats::GeneralisedMixedModel& model,
                   const stats::GeneralisedMixedFit& fit, Finding& out) {
    const auto term = own_term(frame, model.design());
    if (fewest_levels(fit) >= enough_levels || !term) {
        return;
    }
    const auto simulated = stats::bootstrap_term(model, fit, *term, bootstrap_of(frame));
    const auto stretched = [&](std::size_t column) {
        const auto& estimate = fit.coefficients[column];
        const double half = estimate.se * std::sqrt(simulated->critical);
        return stats::Interval{estimate.value - half, estimate.value + half};
    };
    take_simulated(frame, model.design(), simulated,
                   fmt::format("{} levels of a random group", fewest_levels(fit)), stretched, out);
}

} // namespace

void answer_generalised_mixed(const Frame& frame, const GeneralisedRows& rows,
                              const std::vector<study::QuestionRandom>& random, Finding& out) {
    const auto model = model_of(frame, rows, random);
    if (!model) {
        return give_up(out, model.error());
    }
    const auto fit = stats::fit_generalised_mixed(*model);
    if (!fit) {
        auto error = fit.error();
        if (error.code == ErrorCode::degenerate) {
            error.remedy = "ask without random: Firth's penalty then keeps the ratio finite";
        }
        return give_up(out, error);
    }
    out.model = model_text(rows.what, rows.terms, random);
    out.method = method_of(*fit);
    for (const auto& remark : fit->remarks) {
        out.warnings.push_back(remark.text);
    }
    add_coefficients(fit->coefficients, rows.scale(), out);
    add_spreads(*fit, out);
    if (const auto tests = stats::term_tests(*model, *fit)) {
        add_likelihood_tests(*tests, out);
    }
    add_effects(frame,
                {.design = model->design(),
                 .contrast =
                     [&](std::string name, std::span<const double> weights) {
                         return stats::contrast(*fit, std::move(name), weights);
                     },
                 .scale = rows.scale(),
                 .response = [&](double predictor) { return rows.response(predictor); },
                 .response_unit = rows.is_binomial() ? "" : rate_unit(frame)},
                out);
    add_simulated(frame, *model, *fit, out);
}

} // namespace backeddy::findings::detail
