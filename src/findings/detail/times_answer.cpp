#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/cox.hpp"
#include "stats/survival.hpp"

namespace backeddy::findings::detail {

namespace {

std::vector<stats::FollowUp> follow_ups(const Frame& frame) {
    std::vector<stats::FollowUp> out;
    for (const auto row : frame.kept) {
        const auto& cell = frame.outcome.cells[row];
        if (const auto* value = std::get_if<Value>(&cell)) {
            out.push_back({.time = value->value, .is_event = true});
        } else {
            const auto& within = std::get<Within>(cell);
            // Of a time known within limits its best value; of one that had not come, how long it was looked
            // for.
            out.push_back({.time = within.at.value_or(within.lower), .is_event = within.at.has_value()});
        }
    }
    return out;
}

FoundTest median_of(const stats::SurvivalCurve& curve, const std::string& group, const std::string& unit) {
    const auto median = stats::median_time(curve);
    FoundNumber number{
        .name = group, .value = median.time, .lower = median.lower, .upper = median.upper, .unit = unit};
    number.reason = "fewer than half came to it while they were watched";
    return {.name = "median, " + group,
            .text = fmt::format("{}; {} of {} came to it (Kaplan and Meier)", with_interval(number),
                                curve.events, curve.n)};
}

// Share that has come to the event, by group, as steps.
void add_curves(const Frame& frame, const std::vector<stats::FollowUp>& fish, Finding& out) {
    if (!frame.compares_groups) {
        return;
    }
    for (std::size_t level = 0; level < frame.levels().size(); ++level) {
        std::vector<stats::FollowUp> own;
        for (std::size_t i = 0; i < fish.size(); ++i) {
            if (frame.table.factor(frame.compare_name).codes[i] == level) {
                own.push_back(fish[i]);
            }
        }
        const auto curve = stats::kaplan_meier(own);
        if (!curve) {
            continue;
        }
        FoundCurve drawn{
            .group = frame.levels()[level], .x = {0.0}, .y = {0.0}, .lower = {0.0}, .upper = {0.0}};
        for (const auto& step : curve->steps) {
            drawn.x.push_back(step.time);
            drawn.y.push_back(1.0 - step.survival);
            drawn.lower.push_back(step.limits ? 1.0 - step.limits->upper : 1.0 - step.survival);
            drawn.upper.push_back(step.limits ? 1.0 - step.limits->lower : 1.0 - step.survival);
        }
        out.tests.push_back(median_of(*curve, drawn.group, frame.outcome.unit));
        out.curves.push_back(std::move(drawn));
    }
}

void add_proportionality(const stats::CoxFit& fit, Finding& out) {
    const auto check = stats::test_proportional(fit);
    if (!check || check->tests.empty()) {
        return;
    }
    const auto& all = check->tests.back().test;
    const bool is_off = all.p < 0.05;
    out.checks.push_back(
        {.name = "hazards proportional",
         .verdict = is_off ? FoundCheck::Verdict::look : FoundCheck::Verdict::fine,
         .text = fmt::format(
             "{} ({}; Grambsch and Therneau)",
             is_off ? "the ratio changes with time: one number does not describe it, look at the curves"
                    : "the ratio does not change with time, as far as these fish can show",
             p_text(all.p))});
}

stats::Terms terms_of(const Frame& frame) {
    stats::Terms out;
    out.terms.push_back({{frame.compare_name}});
    out.terms.insert(out.terms.end(), frame.adjust.begin(), frame.adjust.end());
    return out;
}

} // namespace

void add_cox(const Frame& frame, Finding& out) {
    const auto fish = follow_ups(frame);
    const auto fates = fates_of(frame);
    if (!fates.any_competed()) {
        add_curves(frame, fish, out);
    }
    add_fates(frame, fates, out);
    if (frame.compares_groups) {
        if (const auto test = stats::log_rank(fish, frame.table.factor(frame.compare_name))) {
            out.tests.push_back(
                {.name = fates.any_competed() ? "log-rank, of those who still wait" : "log-rank",
                 .text = fmt::format("chi-squared({:.0f}) = {:.2f}, {}", test->freedom, test->chi_squared,
                                     p_text(test->p)),
                 .p = test->p});
        }
    }
    const auto design = stats::make_design(frame.table, terms_of(frame));
    if (!design) {
        return;
    }
    const auto fit = stats::fit_cox(*design, fish);
    if (!fit) {
        out.warnings.push_back("proportional hazards could not be fitted: " + fit.error().text());
        return;
    }
    const Scale scale{EffectScale::hazard_ratio, ""};
    for (const auto& coefficient : fit->coefficients) {
        const auto number = found(coefficient, scale);
        out.tests.push_back(
            {.name = "hazard ratio, " + coefficient.name,
             .text = fmt::format("{}, {} (Cox, Efron's ties)", with_interval(number), p_text(coefficient.p)),
             .p = coefficient.p});
    }
    add_proportionality(*fit, out);
}

} // namespace backeddy::findings::detail
