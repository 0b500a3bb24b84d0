#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/checks.hpp"
#include "stats/linear.hpp"
#include "stats/means.hpp"
#include "stats/mixed.hpp"
#include "stats/ranks.hpp"
#include "stats/small_sample.hpp"

namespace backeddy::findings::detail {

namespace {

/// Groups with fewer levels tell nothing of a variance between levels: they become fixed terms.
constexpr std::size_t least_random_levels = 4;

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
    std::vector<stats::RandomTerm> random;
};

Plan plan_of(const Frame& frame, Finding& out) {
    Plan plan;
    plan.fixed.terms.push_back({{frame.compare_name}});
    plan.fixed.terms.insert(plan.fixed.terms.end(), frame.adjust.begin(), frame.adjust.end());
    for (const auto& random : frame.random) {
        const auto levels = frame.table.factor(random.group).levels.size();
        if (levels == 1) {
            out.warnings.push_back(
                fmt::format("{} is the same in every row: it takes no part", random.group));
        } else if (levels < least_random_levels && random.slope.empty() &&
                   random.group != frame.compare_name) {
            plan.fixed.terms.push_back({{random.group}});
            out.warnings.push_back(
                fmt::format("{} has {} levels only, too few to tell how much they vary: it is a "
                            "fixed term instead of a random one",
                            random.group, levels));
        } else {
            plan.random.push_back({.group = random.group,
                                   .kind = random.slope.empty() ? stats::RandomKind::intercept
                                                                : stats::RandomKind::intercept_and_slope,
                                   .slope = random.slope});
        }
    }
    return plan;
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
    out.spreads.push_back({.name = "left over", .value = shared->residual_sd, .unit = frame.outcome.unit});
    if (frame.question.weigh_by_uncertainty) {
        out.warnings.push_back("measurement uncertainties enter models with random terms only: here all rows "
                               "count alike");
    }
    return out;
}

std::vector<FoundNumber> spreads_of(const stats::MixedFit& fit, const std::string& unit) {
    std::vector<FoundNumber> out;
    for (const auto& random : fit.random) {
        out.push_back({.name = "between " + random.group, .value = random.intercept_sd, .unit = unit});
        if (!random.slope_of.empty()) {
            out.push_back({.name = fmt::format("slope of {} between {}", random.slope_of, random.group),
                           .value = random.slope_sd});
        }
    }
    out.push_back({.name = "left over", .value = fit.residual_sd, .unit = unit});
    return out;
}

Expected<Answered> mixed(const Frame& frame, const Plan& plan, const stats::Table& table) {
    stats::MixedTerms terms{.outcome = outcome_column, .fixed = plan.fixed, .random = plan.random};
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
                 .spreads = spreads_of(*fit, frame.outcome.unit),
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

std::string model_text(const Frame& frame, const Plan& plan) {
    std::vector<std::string> parts;
    for (const auto& term : plan.fixed.terms) {
        parts.push_back(fmt::format("{}", fmt::join(term.columns, " x ")));
    }
    for (const auto& random : plan.random) {
        parts.push_back(random.slope.empty() ? fmt::format("({})", random.group)
                                             : fmt::format("({} within {})", random.slope, random.group));
    }
    const bool is_log = frame.family == study::QuestionFamily::log_normal;
    return fmt::format("{} = {}", is_log ? "log " + frame.outcome.title : frame.outcome.title,
                       fmt::join(parts, " + "));
}

void add_groups(const Frame& frame, const Answered& model, const Scale& scale, Finding& out) {
    const auto means = stats::marginal_means(model.design, {.of = {frame.compare_name}}, model.contrast);
    if (!means) {
        return give_up(out, means.error());
    }
    for (const auto& mean : *means) {
        auto number = found(mean.estimate, scale);
        number.name = mean.of.front();
        number.p.reset(); // of a mean being 0: nobody asks
        number.unit = frame.outcome.unit;
        out.groups.push_back(std::move(number));
    }
    const bool is_family = means->size() > 2;
    const auto pairs =
        stats::compare(*means, model.contrast,
                       {.adjustment = is_family ? stats::Adjustment::tukey : stats::Adjustment::none});
    if (!pairs) {
        return give_up(out, pairs.error());
    }
    for (const auto& pair : *pairs) {
        auto number = found(pair.estimate, scale);
        if (is_family) {
            number.p_corrected = number.p;
            number.p = pair.p_alone;
        }
        out.effects.push_back(std::move(number));
    }
    if (is_family) {
        out.method += fmt::format("; the {} comparisons by Tukey's range", pairs->size());
    }
}

// Names of comparisons as sentences need them, in the order of compare(): later less earlier.
void name_effects(const Frame& frame, Finding& out) {
    std::size_t at = 0;
    const auto& levels = frame.levels();
    for (std::size_t i = 0; i < levels.size(); ++i) {
        for (std::size_t j = i + 1; j < levels.size() && at < out.effects.size(); ++j) {
            out.effects[at++].name = fmt::format("{} against {}", levels[j], levels[i]);
        }
    }
}

std::optional<std::size_t> coefficient_of(const Frame& frame, const stats::Design& design) {
    for (std::size_t k = 0; k < design.columns(); ++k) {
        if (design.names()[k] == frame.compare_name) {
            return k;
        }
    }
    return std::nullopt;
}

// The slope with all that it interacts with at its mean, as one estimate.
std::optional<stats::Estimate> slope_of(const Frame& frame, const Answered& model, double per) {
    std::vector<double> low;
    std::vector<double> high;
    for (const auto& variable : model.design.variables()) {
        const double at = variable.levels.empty() ? variable.mean : 0.0;
        low.push_back(at);
        high.push_back(at + (variable.name == frame.compare_name ? per : 0.0));
    }
    auto weights = model.design.row_at(high);
    const auto base = model.design.row_at(low);
    for (std::size_t k = 0; k < weights.size(); ++k) {
        weights[k] -= base[k];
    }
    return coefficient_of(frame, model.design) ? std::optional(model.contrast(frame.compare_name, weights))
                                               : std::nullopt;
}

void add_curve(const Frame& frame, const Answered& model, const Scale& scale, Finding& out) {
    double least = std::numeric_limits<double>::infinity();
    double most = -least;
    for (const auto x : frame.table.numbers(frame.compare_name)) {
        least = std::min(least, x);
        most = std::max(most, x);
    }
    const bool is_log = frame.compare_name != frame.compare.name;
    FoundCurve curve;
    constexpr int steps = 40;
    for (int i = 0; i <= steps; ++i) {
        const double x = least + (most - least) * i / steps;
        std::vector<double> point;
        for (const auto& variable : model.design.variables()) {
            point.push_back(variable.name == frame.compare_name ? x
                            : variable.levels.empty()           ? variable.mean
                                                                : 0.0);
        }
        const auto at = found(model.contrast("", model.design.row_at(point)), scale);
        if (at.value && at.lower && at.upper) {
            curve.x.push_back(is_log ? std::exp(x) : x);
            curve.y.push_back(*at.value);
            curve.lower.push_back(*at.lower);
            curve.upper.push_back(*at.upper);
        }
    }
    out.curves.push_back(std::move(curve));
}

void add_slope(const Frame& frame, const Answered& model, const Scale& scale, Finding& out) {
    const bool is_log = frame.compare_name != frame.compare.name;
    const auto slope = slope_of(frame, model, is_log ? std::log(2.0) : 1.0);
    if (!slope) {
        return give_up(out, {.code = ErrorCode::degenerate,
                             .found = fmt::format("{} has no slope in the model", frame.compare_name),
                             .expected = "a column of its own"});
    }
    auto number = found(*slope, scale);
    number.name = is_log ? "doubling of " + frame.compare.title
                         : fmt::format("{} more of {}", frame.compare.unit.empty() ? "1" : frame.compare.unit,
                                       frame.compare.title);
    out.effects.push_back(std::move(number));
    add_curve(frame, model, scale, out);
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

void add_spread_check(const Answered& model, bool is_log, Finding& out) {
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
                             p_text(spread.p),
                             grows && !is_log ? ": ask again with family = \"log_normal\"" : "")});
}

void add_residual_check(const Answered& model, Finding& out) {
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
         .text = fmt::format("{} of {} lie outside the band in which 95 % of normal ones lie; the "
                             "farthest is {} at {:.1f} standard deviations",
                             outside, n, farthest->row, farthest->standardised)});
}

void report_coefficients(const Answered& model, const Scale& scale, Finding& out) {
    for (const auto& coefficient : model.coefficients) {
        auto number = found(coefficient, scale);
        if (!scale.is_ratio() && coefficient.name != "intercept") {
            number.unit.clear(); // per unit of its column
        }
        out.coefficients.push_back(std::move(number));
    }
}

} // namespace

void answer_linear(const Frame& frame, Finding& out) {
    const bool is_log = frame.family == study::QuestionFamily::log_normal;
    const Scale scale{is_log ? EffectScale::ratio : EffectScale::difference, frame.outcome.unit};
    out.scale = scale.scale;
    const auto plan = plan_of(frame, out);
    auto table = table_of(frame, out);
    if (!table) {
        return give_up(out, table.error());
    }
    auto model = plan.random.empty() ? linear(frame, plan, *table) : mixed(frame, plan, *table);
    if (!model) {
        return give_up(out, model.error());
    }
    out.model = model_text(frame, plan);
    out.method = model->method;
    out.spreads = model->spreads;
    out.warnings.insert(out.warnings.end(), model->warnings.begin(), model->warnings.end());
    report_coefficients(*model, scale, out);
    add_tests(frame, *model, out);
    add_plain_ways(frame, plan, scale, out);
    add_spread_check(*model, is_log, out);
    add_residual_check(*model, out);
    if (frame.compares_groups) {
        add_groups(frame, *model, scale, out);
        name_effects(frame, out);
    } else {
        add_slope(frame, *model, scale, out);
    }
    if (!out.unanswered.empty() || out.effects.empty()) {
        return;
    }
    const auto& levels = frame.levels();
    const auto words =
        frame.compares_groups ? effect_words(frame, levels[1], levels[0]) : effect_words(frame, "", "");
    out.sentence = effect_sentence(out.effects.front(), scale.scale, words);
    if (frame.compares_groups && levels.size() == 2) {
        const auto means =
            stats::marginal_means(model->design, {.of = {frame.compare_name}}, model->contrast);
        const auto pairs = stats::compare(*means, model->contrast, {.adjustment = stats::Adjustment::none});
        judge_margin(frame, pairs->front().estimate, out);
    }
}

} // namespace backeddy::findings::detail
