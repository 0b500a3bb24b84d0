#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "findings/detail/model_effects.hpp"
#include "stats/censored.hpp"

namespace backeddy::findings::detail {

namespace {

using stats::Distribution;
using study::QuestionFamily;

stats::CensoredOutcome outcome_of(const Frame& frame) {
    stats::CensoredOutcome out;
    for (const auto row : frame.kept) {
        const auto& cell = frame.outcome.cells[row];
        if (const auto* value = std::get_if<Value>(&cell)) {
            out.lower.push_back(value->value);
            out.upper.push_back(value->value);
        } else {
            const auto& within = std::get<Within>(cell);
            out.lower.push_back(within.lower);
            out.upper.push_back(within.upper);
        }
    }
    return out;
}

const char* name_of(Distribution distribution) {
    switch (distribution) {
    case Distribution::normal:
        return "normal";
    case Distribution::log_normal:
        return "log-normal";
    case Distribution::weibull:
        return "Weibull";
    case Distribution::exponential:
        return "exponential";
    case Distribution::log_logistic:
        return "log-logistic";
    }
    return "";
}

struct Asked {
    stats::Terms terms;
    stats::Design design;
    stats::CensoredOutcome outcome;
    stats::CensoredOptions options;
};

// The forms beside the one that answers: those that a question can be answered by as well.
std::vector<Distribution> other_forms(Distribution own, QuestionFamily family) {
    if (family == QuestionFamily::time) {
        return {Distribution::weibull, Distribution::log_logistic};
    }
    return {own == Distribution::normal ? Distribution::log_normal : Distribution::normal};
}

/// By so much more in AIC a form has essentially no support beside the best (Burnham and Anderson 2002, Model
/// Selection and Multimodel Inference, 2nd ed., 2.6).
constexpr double without_support = 10.0;

struct FormsTried {
    std::vector<std::string> told; ///< "log-normal 221.0"
    Distribution best = Distribution::normal;
    double least_aic = 0.0;
};

// Where the answer rests on a form that the rows speak against.
void check_form(const Frame& frame, const stats::CensoredFit& fit, const FormsTried& forms, bool has_effects,
                Finding& out) {
    const bool is_off = fit.aic - forms.least_aic > without_support;
    const auto advice =
        frame.family != QuestionFamily::time
            ? fmt::format("ask with family = \"{}\"",
                          forms.best == Distribution::normal ? "normal" : "log_normal")
        : has_effects ? std::string("the effect under it stands among the tests: trust that")
                      : std::string("compare two groups at a time, and the effect under it stands among the "
                                    "tests");
    out.checks.push_back(
        {.name = "form of the distribution",
         .verdict = is_off ? FoundCheck::Verdict::doubtful : FoundCheck::Verdict::fine,
         .text = is_off ? fmt::format(
                              "AIC {}: the {} form fits far better, and the {} one has essentially no "
                              "support beside it (a difference above {}; Burnham and Anderson 2002, 2.6); {}",
                              fmt::join(forms.told, ", "), name_of(forms.best), name_of(fit.distribution),
                              exact_text(without_support), advice)
                        : fmt::format(
                              "AIC {}: no other form fits far better (by more than {}; Burnham and Anderson "
                              "2002, 2.6)",
                              fmt::join(forms.told, ", "), exact_text(without_support))});
}

// How the same rows are met by another form of the distribution, and of times the effect that it would have
// given: how far the answer rests on the form.
void add_other_forms(const Frame& frame, const Asked& asked, const stats::CensoredFit& own_fit,
                     Finding& out) {
    const auto own = own_column(frame, asked.design);
    const bool has_effects = frame.family == QuestionFamily::time && own;
    FormsTried forms{.told = {fmt::format("{} {:.1f}", name_of(own_fit.distribution), own_fit.aic)},
                     .best = own_fit.distribution,
                     .least_aic = own_fit.aic};
    for (const auto form : other_forms(own_fit.distribution, frame.family)) {
        const auto fit = stats::fit_censored(asked.design, asked.outcome, form, asked.options);
        if (!fit) { // of values at or below 0 there is no logarithm
            continue;
        }
        forms.told.push_back(fmt::format("{} {:.1f}", name_of(form), fit->aic));
        if (fit->aic < forms.least_aic) {
            forms.best = form;
            forms.least_aic = fit->aic;
        }
        if (has_effects) {
            const auto number = found(fit->coefficients[*own], {EffectScale::ratio, ""});
            out.tests.push_back({.name = fmt::format("the same with a {} form", name_of(form)),
                                 .text = fmt::format("{}, {}; AIC {:.1f}", with_interval(number),
                                                     p_text(fit->coefficients[*own].p), fit->aic),
                                 .p = fit->coefficients[*own].p});
        }
    }
    if (forms.told.size() > 1) {
        check_form(frame, own_fit, forms, has_effects, out);
    }
}

void describe_fit(const Frame& frame, const stats::CensoredFit& fit, Finding& out) {
    const auto& counts = fit.counts;
    out.method = fmt::format(
        "{} by maximum likelihood with a {} form, AIC {:.1f}: {} values known, {} only to lie "
        "above a limit, {} below one, {} between two",
        frame.family == QuestionFamily::time ? "Accelerated failure time" : "Censored regression",
        name_of(fit.distribution), fit.aic, counts.exact, counts.above, counts.below, counts.within);
    for (const auto& remark : fit.remarks) {
        out.warnings.push_back(remark.text);
    }
    const bool is_ratio = fit.distribution != Distribution::normal;
    add_coefficients(fit.coefficients,
                     {is_ratio ? EffectScale::ratio : EffectScale::difference, frame.outcome.unit}, out);
    if (fit.random) {
        out.spreads.push_back({.name = "between levels of the random group", .value = fit.random->sd});
    }
    out.spreads.push_back(
        {.name = is_ratio ? "left over (of the logarithm)" : "left over", .value = fit.scale});
}

Expected<Asked> asked_of(const Frame& frame, const stats::Terms& terms,
                         const std::vector<study::QuestionRandom>& random) {
    if (random.size() > 1) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("{} random groups", random.size()),
                     .expected = "one, where some values are only known within limits",
                     .remedy = "keep the one that matters most, and adjust for the others"});
    }
    auto design = stats::make_design(frame.table, terms);
    if (!design) {
        return fail(std::move(design).error());
    }
    Asked out{.terms = terms, .design = std::move(*design), .outcome = outcome_of(frame)};
    if (!random.empty()) {
        out.options.group = &frame.table.factor(random[0].group);
    }
    return out;
}

Distribution form_of(QuestionFamily family) {
    return family == QuestionFamily::normal ? Distribution::normal : Distribution::log_normal;
}

/// With a random intercept nothing is known of the rows that stand behind a spread: limits are then the plain
/// likelihood's.
constexpr std::size_t enough_shared_rows = 40;

// As of least squares, which it is where every value is known: the spread over rows less coefficients, and t.
stats::ContrastTest contrast_by_t(const stats::CensoredFit& fit) {
    std::vector<double> values;
    for (const auto& coefficient : fit.coefficients) {
        values.push_back(coefficient.value);
    }
    if (fit.random) {
        return contrast_of(std::move(values), fit.covariance);
    }
    const auto rows = static_cast<double>(fit.design.rows());
    const double freedom = rows - static_cast<double>(values.size());
    auto covariance = fit.covariance;
    for (double& v : covariance) {
        v *= rows / freedom;
    }
    return contrast_of(std::move(values), std::move(covariance), freedom);
}

void take_few_rows(const Frame& frame, const stats::CensoredFit& fit,
                   std::vector<stats::TermChiSquared> tests, Finding& out) {
    auto wider = fit;
    if (!fit.random) {
        wider.level = stats::few_rows_level(fit);
        for (auto& test : tests) {
            test.test.p = stats::few_rows_p(fit, test.test);
        }
    } else if (frame.kept.size() < enough_shared_rows) {
        out.warnings.push_back(
            fmt::format("{} rows that share levels are few for limits by likelihood: p below "
                        "0.05 comes by chance in more than 5 % of studies (of 12 rows in about "
                        "8 %)",
                        frame.kept.size()));
    }
    take_likelihood(
        frame, fit.design,
        [&](std::size_t column) {
            const auto profile = stats::profile_intervals(wider).at(column);
            return std::optional(stats::Interval{profile.lower, profile.upper});
        },
        tests, out);
    if (!fit.random && out.effects.size() == 1) {
        out.effects.front().method =
            "interval by profile likelihood, p by likelihood ratio, both by F in place of chi-squared";
    }
}

struct KnownOfLevel {
    std::string level;
    std::size_t rows = 0;
    std::size_t open = 0; ///< known on one side only
};

std::vector<KnownOfLevel> known_by_level(const Frame& frame) {
    std::vector<KnownOfLevel> out;
    for (const auto& level : frame.levels()) {
        out.push_back({.level = level});
    }
    for (std::size_t place = 0; !out.empty() && place < frame.kept.size(); ++place) {
        auto& group = out[frame.table.factor(frame.compare_name).codes[place]];
        const auto* within = std::get_if<Within>(&frame.outcome.cells[frame.kept[place]]);
        ++group.rows;
        group.open +=
            within != nullptr && !(std::isfinite(within->lower) && std::isfinite(within->upper)) ? 1 : 0;
    }
    return out;
}

// Of all rows the fit itself warns.
void warn_of_open_levels(const Frame& frame, const stats::CensoredFit& fit, Finding& out) {
    const auto is_much = [](const auto& remark) {
        return remark.about == stats::Remark::About::much_censored;
    };
    if (std::ranges::any_of(fit.remarks, is_much)) {
        return;
    }
    for (const auto& group : known_by_level(frame)) {
        if (2 * group.open > group.rows) {
            out.warnings.push_back(fmt::format(
                "{} of {} {} {} {} are known on one side only: what is said of that group rests on the form "
                "of the distribution; compare another",
                group.open, group.rows, frame.rows.nouns(), frame.compare.preposition, group.level));
        }
    }
}

// What of the question makes a fit fail, in the question's own words.
Error with_cause(const Frame& frame, const std::vector<study::QuestionRandom>& random, Error error) {
    const bool is_lost = error.code == ErrorCode::not_converged || error.code == ErrorCode::degenerate;
    if (!is_lost) {
        return error;
    }
    const auto groups = known_by_level(frame);
    const auto is_open = [](const KnownOfLevel& group) { return group.open == group.rows; };
    for (const auto& group : groups) { // of none known at all the fit says so itself
        if (is_open(group) && !std::ranges::all_of(groups, is_open)) {
            error.found = fmt::format("all {} {} {} {} are known on one side only: how far {} lies beyond, "
                                      "nobody can say",
                                      group.rows, frame.rows.nouns(), frame.compare.preposition, group.level,
                                      frame.outcome.title);
            error.expected = "in every group a row whose value, or whose interval, was seen";
            error.remedy =
                "join the group with others, or test by ranks with all that is beyond a limit tied";
            return error;
        }
    }
    if (random.empty()) {
        return error;
    }
    const auto seen = static_cast<std::size_t>(std::ranges::count_if(frame.kept, [&](std::size_t row) {
        return std::holds_alternative<Value>(frame.outcome.cells[row]);
    }));
    const auto& group = random.front().group;
    error.found =
        fmt::format("of {} values of {} only {} are known, the others to lie beyond a limit or between two, "
                    "and that is too little to tell {} from what is left over ({})",
                    frame.kept.size(), frame.outcome.title, seen, group, error.found);
    error.expected = fmt::format("more than one known value in several levels of {}", group);
    error.remedy = fmt::format("ask without {}, or of the known values alone in a column of your own", group);
    return error;
}

} // namespace

bool has_limits(const Frame& frame) {
    return std::any_of(frame.kept.begin(), frame.kept.end(), [&](std::size_t row) {
        return std::holds_alternative<Within>(frame.outcome.cells[row]);
    });
}

void answer_censored(const Frame& frame, Finding& out) {
    std::vector<std::string> fixed;
    const auto random = random_groups(frame, fixed, out);
    const auto asked = asked_of(frame, fixed_terms(frame, fixed), random);
    if (!asked) {
        return give_up(out, asked.error());
    }
    const auto fit =
        stats::fit_censored(asked->design, asked->outcome, form_of(frame.family), asked->options);
    if (!fit) {
        return give_up(out, with_cause(frame, random, fit.error()));
    }
    const bool is_ratio = fit->distribution != Distribution::normal;
    out.model =
        model_text(is_ratio ? "log " + frame.outcome.title : frame.outcome.title, asked->terms, random);
    describe_fit(frame, *fit, out);
    warn_of_open_levels(frame, *fit, out);
    const auto tests = stats::term_tests(*fit).value_or(std::vector<stats::TermChiSquared>{});
    add_likelihood_tests(tests, out);
    add_effects(frame,
                {.design = fit->design,
                 .contrast = contrast_by_t(*fit),
                 .scale = {is_ratio ? EffectScale::ratio : EffectScale::difference, frame.outcome.unit},
                 .response = [is_ratio](double value) { return is_ratio ? std::exp(value) : value; },
                 .response_unit = frame.outcome.unit},
                out);
    take_few_rows(frame, *fit, tests, out);
    add_other_forms(frame, *asked, *fit, out);
    if (frame.family == QuestionFamily::time) {
        add_cox(frame, out);
    }
}

} // namespace backeddy::findings::detail
