#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "findings/detail/model_effects.hpp"
#include "stats/checks.hpp"
#include "stats/linear.hpp"
#include "stats/means.hpp"
#include "stats/mixed.hpp"
#include "stats/ranks.hpp"
#include "stats/small_sample.hpp"

namespace backeddy::findings::detail {

namespace {

/// What either kind of model says, in one form.
struct Answered {
    stats::Design design;
    std::vector<stats::Estimate> coefficients;
    std::vector<stats::TermTest> terms;
    stats::ContrastTest contrast;
    stats::ModelChecks checks;
    std::vector<FoundNumber> spreads;
    std::string method;
    std::vector<std::string> warnings;
};

/// Terms of the model after groups of few levels have become fixed.
struct Plan {
    stats::Terms fixed;
    std::vector<study::QuestionRandom> random;
};

Plan plan_of(const Frame& frame, Finding& out) {
    std::vector<std::string> fixed;
    auto random = random_groups(frame, fixed, out);
    return {.fixed = fixed_terms(frame, fixed), .random = std::move(random)};
}

Expected<Answered> linear(const Frame& frame, const Plan& plan, const stats::Table& table) {
    auto design = stats::make_design(table, plan.fixed);
    if (!design) {
        return fail(std::move(design).error());
    }
    auto fit = stats::fit_linear(*design, table.numbers(outcome_column));
    if (!fit) {
        return fail(std::move(fit).error());
    }
    const auto shared = std::make_shared<const stats::LinearFit>(std::move(*fit));
    Answered out{.design = shared->design,
                 .coefficients = shared->coefficients,
                 .terms = stats::term_tests(*shared),
                 .contrast =
                     [shared](std::string name, std::span<const double> weights) {
                         return stats::contrast(*shared, std::move(name), weights);
                     },
                 .checks = stats::check_model(*shared),
                 .method = fmt::format("Least squares, t with {:.0f} degrees of freedom", shared->freedom)};
    out.spreads.push_back({.name = "left over", .value = shared->residual_sd});
    if (frame.question.weigh_by_uncertainty) {
        out.warnings.push_back("measurement uncertainties enter models with random terms only: here all rows "
                               "count alike");
    }
    return out;
}

std::vector<FoundNumber> spreads_of(const stats::MixedFit& fit) {
    std::vector<FoundNumber> out;
    for (const auto& random : fit.random) {
        out.push_back({.name = "between " + random.group, .value = random.intercept_sd});
        if (!random.slope_of.empty()) {
            out.push_back({.name = fmt::format("slope of {} between {}", random.slope_of, random.group),
                           .value = random.slope_sd});
        }
    }
    out.push_back({.name = "left over", .value = fit.residual_sd});
    return out;
}

Expected<Answered> mixed(const Plan& plan, const stats::Table& table) {
    stats::MixedTerms terms{.outcome = outcome_column, .fixed = plan.fixed};
    for (const auto& random : plan.random) {
        terms.random.push_back({.group = random.group,
                                .kind = random.slope.empty() ? stats::RandomKind::intercept
                                                             : stats::RandomKind::intercept_and_slope,
                                .slope = random.slope});
    }
    terms.known_variance = table.has("variance") ? "variance" : "";
    auto model = stats::MixedModel::make(table, terms);
    if (!model) {
        return fail(std::move(model).error());
    }
    auto fit = stats::fit_mixed(*model);
    if (!fit) {
        return fail(std::move(fit).error());
    }
    auto exact = stats::SmallSample::make(*model, *fit, stats::FreedomMethod::kenward_roger);
    if (!exact) {
        return fail(std::move(exact).error());
    }
    const auto shared = std::make_shared<const stats::SmallSample>(std::move(*exact));
    Answered out{.design = model->design(),
                 .coefficients = shared->coefficients(),
                 .terms = shared->term_tests(),
                 .contrast =
                     [shared](std::string name, std::span<const double> weights) {
                         return shared->contrast(std::move(name), weights);
                     },
                 .checks = stats::check_model(*model, *fit),
                 .spreads = spreads_of(*fit),
                 .method = "Linear mixed model by REML, degrees of freedom and errors by Kenward and Roger"};
    if (!terms.known_variance.empty()) {
        out.method += ", each value's measurement variance known";
    }
    for (const auto& remark : fit->remarks) {
        out.warnings.push_back(remark.text);
    }
    return out;
}

// The frame's table with the outcome in it, and each value's own variance where it is asked for.
Expected<stats::Table> table_of(const Frame& frame, Finding& out) {
    stats::Table table = frame.table;
    if (auto done = table.add_numbers(outcome_column, frame.outcomes()); !done) {
        return fail(std::move(done).error());
    }
    if (frame.question.weigh_by_uncertainty) {
        if (const auto uncertainties = frame.uncertainties()) {
            std::vector<double> variances = *uncertainties;
            for (auto& variance : variances) {
                variance *= variance;
            }
            if (auto done = table.add_numbers("variance", std::move(variances)); !done) {
                return fail(std::move(done).error());
            }
        } else {
            out.warnings.push_back(
                fmt::format("not every {} has an uncertainty: rows count alike", frame.outcome.title));
        }
    }
    return table;
}

// What is left over is rounding alone. Values of known variance may well differ by that and nothing else.
bool leaves_nothing(const Frame& frame, const Answered& model, bool has_known_variances) {
    const auto left = std::ranges::find_if(
        model.spreads, [](const FoundNumber& spread) { return spread.name == "left over"; });
    const auto outcomes = frame.outcomes();
    const auto [least, most] = std::ranges::minmax(outcomes);
    constexpr double rounding = 1e-9;
    return !has_known_variances && left != model.spreads.end() && left->value &&
           *left->value <= rounding * (most - least);
}

void add_tests(const Frame& frame, const Answered& model, Finding& out) {
    for (const auto& term : model.terms) {
        out.tests.push_back({.name = term.term,
                             .text = fmt::format("F({:.0f}, {:.1f}) = {:.2f}, {}", term.numerator,
                                                 term.denominator, term.f, p_text(term.p)),
                             .p = term.p});
    }
    for (const auto& term : frame.adjust) {
        const bool has_compare =
            std::find(term.columns.begin(), term.columns.end(), frame.compare_name) != term.columns.end();
        if (has_compare && term.columns.size() > 1) {
            out.warnings.push_back(
                fmt::format("{} stands in an interaction ({}): the effect given is its mean over "
                            "the other's levels, or at the other's mean",
                            frame.compare_name, fmt::join(term.columns, " x ")));
        }
    }
}

// Two groups with nothing else in the model: spreads of their own, and ranks.
void add_plain_ways(const Frame& frame, const Plan& plan, const Scale& scale, Finding& out) {
    if (!frame.compares_groups || frame.levels().size() != 2 || plan.fixed.terms.size() > 1 ||
        !plan.random.empty()) {
        return;
    }
    std::array<std::vector<double>, 2> groups;
    const auto outcomes = frame.outcomes();
    for (std::size_t i = 0; i < outcomes.size(); ++i) {
        groups[frame.table.factor(frame.compare_name).codes[i]].push_back(outcomes[i]);
    }
    if (const auto welch = stats::compare_means(groups[1], groups[0])) {
        const auto number = found(welch->difference, scale);
        out.tests.push_back({.name = "Welch's t (spreads of their own)",
                             .text = fmt::format("{}, {}", with_interval(number), p_text(welch->p.two_sided)),
                             .p = welch->p.two_sided});
    }
    if (const auto ranks = stats::mann_whitney(groups[1], groups[0])) {
        out.tests.push_back(
            {.name = "Mann-Whitney",
             .text =
                 fmt::format("{} ({}); a fish {} {} is higher than one {} {} in {:.0f} % of pairs",
                             p_text(ranks->p.two_sided), ranks->is_exact ? "exact" : "normal approximation",
                             frame.compare.preposition, frame.levels()[1], frame.compare.preposition,
                             frame.levels()[0], 100.0 * ranks->superiority),
             .p = ranks->p.two_sided});
    }
}

void add_spread_check(const Frame& frame, const Answered& model, Finding& out) {
    const auto& spread = model.checks.spread;
    if (!(spread.se > 0.0)) {
        return;
    }
    const bool grows = spread.p < 0.05;
    out.checks.push_back(
        {.name = "same spread at every level",
         .verdict = grows ? FoundCheck::Verdict::look : FoundCheck::Verdict::fine,
         .text = fmt::format("{} ({}){}",
                             grows ? "residuals scatter differently at higher values"
                                   : "residuals do not scatter differently at higher values, as far as "
                                     "these rows can show",
                             p_text(spread.p), grows ? advice_on_scatter(frame, ": ask again") : "")});
}

void add_residual_check(const Frame& frame, const Answered& model, Finding& out) {
    std::size_t outside = 0;
    const stats::RowCheck* farthest = nullptr;
    for (const auto& point : model.checks.residuals) {
        outside += point.value < point.lower || point.value > point.upper ? 1 : 0;
    }
    for (const auto& row : model.checks.rows) {
        if (farthest == nullptr || std::fabs(row.standardised) > std::fabs(farthest->standardised)) {
            farthest = &row;
        }
    }
    const auto n = model.checks.residuals.size();
    if (n == 0 || farthest == nullptr) {
        return;
    }
    const bool is_off = static_cast<double>(outside) > 0.1 * static_cast<double>(n) ||
                        std::fabs(farthest->standardised) > 3.5;
    out.checks.push_back(
        {.name = "residuals like a normal distribution's",
         .verdict = is_off ? FoundCheck::Verdict::look : FoundCheck::Verdict::fine,
         .text = fmt::format(
             "{} of {} lie outside the band in which 95 % of normal ones lie; the "
             "farthest is {} at {:.1f} standard deviations{}",
             outside, n, farthest->row, farthest->standardised,
             !is_off ? std::string()
                     : fmt::format(": look at that row{}; where rows are few, p and interval lean "
                                   "on this",
                                   advice_on_scatter(frame, ", and ask beside")))});
}

/// Of less nothing is made: intervals would be a fifth longer.
constexpr double telling_correlation = 0.2;

// Whether the compared column stays the same in each series, and fish have a spread of their own in the
// model: what rows of one fish share is then in that spread, however they follow each other.
bool is_between_fish(const Frame& frame, const Plan& plan) {
    const auto is_fish = [](const study::QuestionRandom& random) { return random.group == "fish"; };
    std::map<std::string, Cell> first;
    return std::ranges::any_of(plan.random, is_fish) && std::ranges::all_of(frame.kept, [&](std::size_t row) {
               const auto& cell = frame.compare.cells[row];
               return first.try_emplace(frame.rows.fish(row), cell).first->second == cell;
           });
}

// What has not been done yet.
std::string advice_on_series(const Frame& frame, const Plan& plan) {
    std::vector<std::string> courses;
    const auto has_slope = [](const study::QuestionRandom& random) { return !random.slope.empty(); };
    const auto is_hours = [](const std::string& column) {
        return column == "hours" || column == "log(hours)";
    };
    if (std::ranges::none_of(plan.random, has_slope)) {
        courses.emplace_back("random = [\"hours within fish\"]");
    }
    const bool knows_hours =
        is_hours(frame.compare_name) || std::ranges::any_of(frame.adjust, [&](const stats::Term& term) {
            return std::ranges::any_of(term.columns, is_hours);
        });
    if (!knows_hours) {
        courses.emplace_back("log(hours) in adjust_for");
    }
    return courses.empty()
               ? std::string("ask of one number for each fish (peak_after_capture, resting)")
               : fmt::format(
                     "ask of one number for each fish (peak_after_capture, resting), or give each fish a "
                     "course of its own ({}) and look whether this goes away",
                     fmt::join(courses, ", or "));
}

// Rows that follow each other in time, under a model that takes them for independent but for their groups.
void check_series(const Frame& frame, const Plan& plan, const Answered& model, Finding& out) {
    std::vector<double> residuals;
    std::vector<std::string> series;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        residuals.push_back(model.checks.rows[place].standardised);
        series.push_back(frame.rows.series(frame.kept[place]));
    }
    const auto serial = stats::serial_correlation(residuals, series);
    if (!serial) {
        return;
    }
    const bool goes_on = serial->lag_one > std::max(serial->bound, telling_correlation);
    const bool is_off = goes_on && !is_between_fish(frame, plan);
    const auto seen =
        fmt::format("(correlation {} over {} neighbours, where chance alone seldom goes beyond {})",
                    significant_text(serial->lag_one, 2), serial->pairs, significant_text(serial->bound, 2));
    const auto widening = significant_text(serial->widening(), 2);
    out.checks.push_back(
        {.name = "rows independent in time",
         .verdict = is_off ? FoundCheck::Verdict::doubtful : FoundCheck::Verdict::fine,
         .text =
             !goes_on
                 ? fmt::format("what is left over hardly goes on from one {} to the next within a fish {}",
                               frame.rows.noun(), seen)
             : is_off
                 ? fmt::format(
                       "what is left over goes on from one {} to the next within a fish {}, and the "
                       "model takes {} for independent: standard errors, p and intervals are too small, "
                       "of what changes within a fish by up to {} times; {}",
                       frame.rows.noun(), seen, frame.rows.nouns(), widening, advice_on_series(frame, plan))
                 : fmt::format(
                       "what is left over goes on from one {} to the next within a fish {}: {} does not "
                       "change within a fish, and its differences are judged by the spread between fish, "
                       "which has this in it; of coefficients that change within a fish standard errors "
                       "are too small by up to {} times",
                       frame.rows.noun(), seen, frame.compare_name, widening)});
}

} // namespace

void answer_linear(const Frame& frame, Finding& out) {
    const bool is_log = frame.family == study::QuestionFamily::log_normal;
    const Scale scale{is_log ? EffectScale::ratio : EffectScale::difference, frame.outcome.unit};
    const auto plan = plan_of(frame, out);
    auto table = table_of(frame, out);
    if (!table) {
        return give_up(out, table.error());
    }
    auto model = plan.random.empty() ? linear(frame, plan, *table) : mixed(plan, *table);
    if (!model) {
        return give_up(out, model.error());
    }
    if (leaves_nothing(frame, *model, table->has("variance"))) {
        return give_up(out,
                       {.code = ErrorCode::degenerate,
                        .found = fmt::format("no scatter is left over in {}: the model meets each of the "
                                             "{} {} exactly",
                                             frame.outcome.title, frame.kept.size(), frame.rows.nouns()),
                        .expected = "outcomes that differ between like rows: without scatter there is no "
                                    "standard error, no interval and no p",
                        .remedy = "look at the column: was it filled down, rounded, or computed from what "
                                  "explains it? Else give each group's value as it is"});
    }
    out.model =
        model_text(is_log ? "log " + frame.outcome.title : frame.outcome.title, plan.fixed, plan.random);
    out.method = model->method;
    out.spreads = model->spreads;
    for (auto& spread : out.spreads) { // a slope's is per unit of its column too
        if (is_log) {
            spread.name += " (of the logarithm)";
        } else if (!spread.name.starts_with("slope")) {
            spread.unit = frame.outcome.unit;
        }
    }
    out.warnings.insert(out.warnings.end(), model->warnings.begin(), model->warnings.end());
    add_coefficients(model->coefficients, scale, out);
    add_tests(frame, *model, out);
    add_plain_ways(frame, plan, scale, out);
    add_spread_check(frame, *model, out);
    add_residual_check(frame, *model, out);
    if (!plan.random.empty()) { // without them rows of one fish are warned of in any case
        check_series(frame, plan, *model, out);
    }
    add_effects(frame,
                {.design = model->design,
                 .contrast = model->contrast,
                 .scale = scale,
                 .response = [is_log](double value) { return is_log ? std::exp(value) : value; },
                 .response_unit = frame.outcome.unit},
                out);
    plan_groups(frame, plan.random, model->spreads, out);
}

} // namespace backeddy::findings::detail
