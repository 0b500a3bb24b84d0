#include "report/invented_findings.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include <fmt/format.h>

#include "base/random.hpp"

namespace backeddy::report {

namespace {

using findings::EffectScale;
using findings::Finding;
using findings::FoundCurve;
using findings::FoundNumber;
using findings::FoundPoint;

FoundNumber ranged(std::string name, double value, double half, std::string unit = {}) {
    return {.name = std::move(name),
            .value = value,
            .se = half / 2.0,
            .lower = value - half,
            .upper = value + half,
            .unit = std::move(unit)};
}

std::string fish_name(std::size_t i) {
    return fmt::format("st{:02}", i + 1);
}

Finding asked(std::string name, std::string ask, std::string outcome, std::string title, std::string unit,
              std::string compare) {
    Finding out;
    out.name = std::move(name);
    out.ask = std::move(ask);
    out.outcome = std::move(outcome);
    out.outcome_title = std::move(title);
    out.outcome_unit = std::move(unit);
    out.compare = std::move(compare);
    out.row_noun = "fish";
    out.family = "normal";
    return out;
}

void count_rows(Finding& out) {
    out.rows = out.points.size();
    std::vector<std::string> fish;
    for (const auto& point : out.points) {
        fish.push_back(point.fish);
    }
    std::ranges::sort(fish);
    out.fish = static_cast<std::size_t>(std::ranges::unique(fish).begin() - fish.begin());
}

// Points of each level about its height, and the mean of each.
void add_groups(Finding& out, std::size_t each, double height, double step, double sd, std::uint64_t seed) {
    Random random(seed);
    std::size_t fish = 0;
    for (std::size_t level = 0; level < out.levels.size(); ++level) {
        double sum = 0.0;
        for (std::size_t i = 0; i < each; ++i, ++fish) {
            const double value = height + step * static_cast<double>(level) + sd * random.normal();
            sum += value;
            out.points.push_back({.row = fish_name(fish),
                                  .fish = fish_name(fish),
                                  .group = out.levels[level],
                                  .value = value,
                                  .uncertainty = 0.3 * sd});
        }
        const double half = 2.1 * sd / std::sqrt(static_cast<double>(each));
        out.groups.push_back(
            ranged(out.levels[level], sum / static_cast<double>(each), half, out.outcome_unit));
    }
    count_rows(out);
}

Finding of_two_groups() {
    Finding out = asked("rig_peak", "Does the rig change the peak after capture?", "peak_after_capture",
                        "peak after capture", "mg/kg/h", "rig");
    out.levels = {"single_hook", "treble_hooks"};
    out.adjusted_for = {"log(mass_g)", "temperature_c"};
    out.random = {"day"};
    out.family_of_tests = "rig";
    out.correction =
        "Holm's, over the 2 answered questions of \"rig\"; intervals are of each question by itself";
    out.declared = findings::Declared::before_any_fish;
    out.declared_text = "declared on 2 June 2026, before the first fish was met on 14 June 2026";
    add_groups(out, 16, 390.0, 38.0, 46.0, 11);
    FoundNumber effect = ranged("treble_hooks against single_hook", 38.2, 31.6, "mg/kg/h");
    effect.freedom = 27.4;
    effect.p = 0.0193;
    effect.p_corrected = 0.0386;
    out.effects = {effect};
    out.sentence = "Across 32 fish, peak after capture is 38 mg/kg/h higher with treble_hooks than with "
                   "single_hook (95 % interval 7 to 70).";
    out.model = "peak after capture = rig + log(mass_g) + temperature_c + (day)";
    out.method = "Linear mixed model by REML, degrees of freedom and errors by Kenward and Roger";
    out.coefficients = {ranged("log(mass_g)", -21.0, 40.0), ranged("temperature_c", 9.4, 7.7)};
    out.spreads = {{.name = "between day", .value = 12.1, .unit = "mg/kg/h"},
                   {.name = "left over", .value = 44.8, .unit = "mg/kg/h"}};
    out.tests = {{.name = "rig", .text = "F(1, 27.4) = 6.15, p = 0.019", .p = 0.0193}};
    out.checks = {
        {.name = "residuals", .verdict = findings::FoundCheck::Verdict::fine, .text = "look normal"},
        {.name = "same spread",
         .verdict = findings::FoundCheck::Verdict::look,
         .text = "the scatter of treble_hooks is 1.6 times that of single_hook: look at Welch's t"}};
    out.warnings = {
        "temperature_c became known during the treatment: adjusting for it can hide a part of what "
        "the rig does; ask the same without it beside"};
    out.margin_text = "A difference within ±60 mg/kg/h was declared to be no harm: not shown, the interval "
                      "reaches 70.";
    out.plan = findings::FoundPlan{.effect = 40.0,
                                   .scatter = 46.4,
                                   .counted = "fish in each group",
                                   .sizes = {{.power = 0.8, .n = 23}, {.power = 0.9, .n = 30}},
                                   .text = "To show a difference of 40 mg/kg/h takes 23 fish in each group."};
    out.left_out = {{"st33", "peak_after_capture", "no usable peak: the tube leaked"},
                    {"st34", "mass_g", "never weighed"}};
    findings::FoundVariant variant{.rows = 33, .fish = 33, .effects = {effect}};
    variant.effects[0] = ranged("treble_hooks against single_hook", 33.9, 33.0, "mg/kg/h");
    variant.effects[0].p = 0.0447;
    out.without_human = variant;
    return out;
}

Finding of_four_groups() {
    Finding out = asked("air_lactate", "Does air exposure change lactate at the tube?", "lactate_mmol_l",
                        "lactate", "mmol/L", "air");
    out.family = "log_normal";
    out.scale = EffectScale::ratio;
    out.levels = {"none", "15 s", "30 s", "60 s, held out of the water by hand at the rail"};
    out.declared = findings::Declared::before_results;
    out.declared_text = "declared on 20 June 2026, when 9 fish had been met and nothing had been computed";
    add_groups(out, 8, 3.4, 0.7, 0.6, 12);
    out.points[3].value = std::nullopt;
    out.points[3].lower = 0.0;
    out.points[3].upper = 2.2;
    for (std::size_t j = 1; j < out.levels.size(); ++j) {
        const double value = 1.0 + 0.2 * static_cast<double>(j);
        FoundNumber effect = ranged(out.levels[j] + " against none", value, 0.24);
        effect.p = j == 1 ? 0.12 : 0.0008;
        effect.p_corrected = j == 1 ? 0.21 : 0.0021;
        out.effects.push_back(effect);
    }
    out.effects[2].lower.reset();
    out.sentence =
        "Across 32 fish, lactate is 1.20 times as high with 15 s as with none (95 % interval 0.96 to "
        "1.44): which is higher stays open.";
    out.model = "log lactate = air";
    out.method = "Censored normal regression by maximum likelihood";
    return out;
}

Finding of_pairs() {
    Finding out = asked("capture_chase", "Is the peak after capture that after a chase?", "peak", "peak",
                        "mg/kg/h", "after");
    out.row_noun = "spell";
    out.within = "fish";
    out.levels = {"chase", "capture"};
    Random random(13);
    for (std::size_t i = 0; i < 17; ++i) {
        const double own = 380.0 + 50.0 * random.normal();
        for (const bool is_capture : {false, true}) {
            out.points.push_back({.row = fmt::format("{} {}", fish_name(i), is_capture ? "capture" : "chase"),
                                  .fish = fish_name(i),
                                  .group = out.levels[is_capture ? 1 : 0],
                                  .value = own + (is_capture ? 31.0 : 0.0) + 24.0 * random.normal(),
                                  .uncertainty = 11.0});
        }
    }
    count_rows(out);
    out.groups = {ranged("chase", 381.0, 26.0, "mg/kg/h"), ranged("capture", 410.0, 27.0, "mg/kg/h")};
    FoundNumber effect = ranged("capture against chase", 29.3, 18.0, "mg/kg/h");
    effect.freedom = 16.0;
    effect.p = 0.0034;
    out.effects = {effect};
    out.sentence =
        "In the same 17 fish, peak is 29 mg/kg/h higher with capture than with chase (95 % interval "
        "11 to 47).";
    out.model = "differences of 17 pairs";
    out.method = "Paired t";
    out.tests = {
        {.name = "Wilcoxon signed rank", .text = "p = 0.0052 (exact, 17 pairs that differ)", .p = 0.0052}};
    findings::FoundVariant same{.rows = out.rows, .fish = out.fish};
    same.is_same = true;
    out.without_human = same;
    return out;
}

Finding of_a_slope() {
    Finding out = asked("mass_rest", "How does rest grow with mass?", "resting_mg_per_h", "resting uptake",
                        "mg/h", "mass_g");
    Random random(14);
    for (std::size_t i = 0; i < 26; ++i) {
        const double mass = 620.0 + 780.0 * random.uniform();
        out.points.push_back({.row = fish_name(i),
                              .fish = fish_name(i),
                              .x = mass,
                              .value = 12.0 + 0.068 * mass + 5.0 * random.normal(),
                              .uncertainty = 2.0});
    }
    count_rows(out);
    FoundCurve line;
    for (int i = 0; i <= 20; ++i) {
        const double mass = 620.0 + 39.0 * i;
        const double half = 2.0 + 0.000012 * (mass - 1000.0) * (mass - 1000.0);
        line.x.push_back(mass);
        line.y.push_back(12.0 + 0.068 * mass);
        line.lower.push_back(line.y.back() - half);
        line.upper.push_back(line.y.back() + half);
    }
    out.curves = {line};
    FoundNumber effect = ranged("g more of mass", 0.068, 0.0094, "mg/h");
    effect.p = 2e-9;
    out.effects = {effect};
    out.sentence =
        "Across 26 fish, resting uptake is 0.068 mg/h higher for each g more of mass (95 % interval "
        "0.059 to 0.077).";
    out.model = "resting uptake = mass_g";
    out.method = "Least squares, t with 24 degrees of freedom";
    return out;
}

Finding of_scores() {
    Finding out = asked("rig_reflex", "Does the rig change the reflex score at release?", "reflexes",
                        "reflexes", "", "rig");
    out.family = "ordinal";
    out.scale = EffectScale::odds_ratio;
    out.levels = {"single_hook", "treble_hooks"};
    out.scores = {"all lost", "two of three lost", "one lost", "none lost"};
    Random random(15);
    for (std::size_t i = 0; i < 36; ++i) {
        const bool is_treble = i % 2 == 1;
        const double latent = (is_treble ? 2.4 : 3.1) + 0.9 * random.normal();
        out.points.push_back({.row = fish_name(i),
                              .fish = fish_name(i),
                              .group = out.levels[is_treble ? 1 : 0],
                              .value = std::clamp(std::round(latent), 1.0, 4.0)});
    }
    count_rows(out);
    FoundNumber effect{.name = "treble_hooks against single_hook",
                       .value = 0.28,
                       .se = 0.6,
                       .lower = 0.083,
                       .upper = 0.92,
                       .p = 0.036};
    out.effects = {effect};
    out.sentence =
        "Across 36 fish, the odds of a higher reflexes are 0.28 times as high with treble_hooks as with "
        "single_hook (95 % interval 0.08 to 0.92).";
    out.model = "reflexes = rig";
    out.method = "Proportional odds by maximum likelihood";
    out.checks = {{.name = "proportional odds",
                   .verdict = findings::FoundCheck::Verdict::doubtful,
                   .text = "the odds ratio differs between cuts: read the scores' shares beside it"}};
    return out;
}

// The share to whom the event has come, by the order of times; a fish that was released before is a tick.
FoundCurve steps_of(const std::string& group, std::vector<const FoundPoint*> points) {
    std::ranges::sort(points, {},
                      [](const FoundPoint* p) { return p->value.value_or(p->lower.value_or(0.0)); });
    FoundCurve out{.group = group, .x = {0.0}, .y = {0.0}, .lower = {0.0}, .upper = {0.0}};
    double left = 1.0;
    double at_risk = static_cast<double>(points.size());
    for (const auto* point : points) {
        if (point->value) {
            left *= 1.0 - 1.0 / at_risk;
            const double half = 1.4 * std::sqrt(left * (1.0 - left) / static_cast<double>(points.size()));
            out.x.push_back(*point->value);
            out.y.push_back(1.0 - left);
            out.lower.push_back(std::max(0.0, 1.0 - left - half));
            out.upper.push_back(std::min(1.0, 1.0 - left + half));
        }
        at_risk -= 1.0;
    }
    return out;
}

Finding of_times() {
    Finding out = asked("rig_recovery", "Does the rig change how long recovery takes?", "recovery_h",
                        "recovery", "h", "rig");
    out.family = "time";
    out.scale = EffectScale::hazard_ratio;
    out.levels = {"single_hook", "treble_hooks"};
    out.declared = findings::Declared::changed_since;
    out.declared_text = "declared on 2 June 2026 and changed after that: adjust_for";
    Random random(16);
    std::vector<std::vector<const FoundPoint*>> groups(2);
    for (std::size_t i = 0; i < 30; ++i) {
        const std::size_t level = i % 2;
        const double time = (level == 1 ? 9.0 : 6.5) * random.exponential() + 1.2;
        FoundPoint point{.row = fish_name(i), .fish = fish_name(i), .group = out.levels[level]};
        if (time < 14.0) {
            point.value = time;
        } else {
            point.lower = 14.0 - 0.1 * static_cast<double>(i);
        }
        out.points.push_back(point);
    }
    for (const auto& point : out.points) {
        groups[point.group == out.levels[0] ? 0 : 1].push_back(&point);
    }
    out.curves = {steps_of(out.levels[0], groups[0]), steps_of(out.levels[1], groups[1])};
    count_rows(out);
    FoundNumber early{.name = "single_hook", .value = 5.9, .lower = 4.2, .upper = 8.8, .unit = "h"};
    early.method = "median, 14 of 15 came to it (Kaplan and Meier)";
    FoundNumber late{.name = "treble_hooks", .value = 8.1, .lower = 5.3, .unit = "h"};
    late.method = "median, 11 of 15 came to it (Kaplan and Meier)";
    out.groups = {early, late};
    FoundNumber effect{.name = "treble_hooks against single_hook",
                       .value = 0.66,
                       .se = 0.4,
                       .lower = 0.3,
                       .upper = 1.45,
                       .p = 0.3};
    out.effects = {effect};
    out.sentence = "Across 30 fish, the hazard of recovery is 0.66 times as high with treble_hooks as with "
                   "single_hook (95 % interval 0.30 to 1.45): which is higher stays open.";
    out.fates_text = "Before it came: 1 died, of 30 fish. To these it cannot come any more.";
    out.fates_until = 13.0;
    out.fates = {{.group = "single_hook",
                  .fate = "came to it",
                  .count = 14,
                  .of = 15,
                  .share = {.name = "came to it", .value = 0.93, .lower = 0.7, .upper = 0.99}},
                 {.group = "single_hook",
                  .fate = "died",
                  .count = 1,
                  .of = 15,
                  .share = {.name = "died", .value = 0.067, .lower = 0.004, .upper = 0.28}}};
    out.model = "hazard of recovery = rig";
    out.method = "Cox regression, ties by Efron";
    return out;
}

Finding of_yes_or_no() {
    Finding out = asked("rig_bleeding", "Does the rig change how many bleed?", "bled", "bled", "", "rig");
    out.family = "binomial";
    out.scale = EffectScale::odds_ratio;
    out.levels = {"single_hook", "treble_hooks"};
    for (std::size_t i = 0; i < 40; ++i) {
        const bool is_treble = i % 2 == 1;
        out.points.push_back({.row = fish_name(i),
                              .fish = fish_name(i),
                              .group = out.levels[is_treble ? 1 : 0],
                              .value = i % (is_treble ? 3 : 8) == 0 ? 1.0 : 0.0});
    }
    count_rows(out);
    out.groups = {{.name = "single_hook", .value = 0.25, .lower = 0.087, .upper = 0.491},
                  {.name = "treble_hooks", .value = 0.35, .lower = 0.154, .upper = 0.592}};
    FoundNumber effect{.name = "treble_hooks against single_hook", .reason = "no fish with single_hook bled"};
    out.effects = {effect};
    out.sentence = "Across 40 fish, bled cannot be compared: no fish with single_hook bled.";
    out.model = "bled by rig";
    out.method = "Odds ratio, exact";
    return out;
}

Finding of_counts() {
    Finding out = asked("rig_landings", "Does the rig change how many are landed per rod-hour?", "landings",
                        "landings", "", "rig");
    out.family = "poisson";
    out.row_noun = "stretch of fishing";
    out.scale = EffectScale::ratio;
    out.levels = {"single_hook", "treble_hooks"};
    Random random(17);
    for (std::size_t i = 0; i < 18; ++i) {
        const double hours = 0.7 + 2.5 * random.uniform();
        out.points.push_back({.row = fmt::format("14 June, rod {}", i + 1),
                              .group = out.levels[i % 2],
                              .value = static_cast<double>(random.below(i % 2 == 1 ? 6 : 4)),
                              .weight = hours});
    }
    out.rows = out.points.size();
    out.groups = {
        {.name = "single_hook", .value = 0.81, .lower = 0.47, .upper = 1.3, .unit = "per rod_hours"},
        {.name = "treble_hooks", .value = 1.34, .lower = 0.91, .upper = 1.9, .unit = "per rod_hours"}};
    FoundNumber effect{
        .name = "treble_hooks against single_hook", .value = 1.65, .lower = 0.9, .upper = 3.1, .p = 0.11};
    out.effects = {effect};
    out.sentence = "In 18 stretches of fishing, landings is 1.7 times as high with treble_hooks as with "
                   "single_hook (95 % interval 0.9 to 3.1): which is higher stays open.";
    out.model = "landings per rod_hours by rig";
    out.method = "Ratio of two Poisson rates, exact";
    return out;
}

Finding without_answer() {
    Finding out = asked("tag_peak", "Does the tag change the peak?", "peak_after_captur", "peak_after_captur",
                        "", "tag");
    out.family = "";
    out.unanswered = "there is no column \"peak_after_captur\"; the nearest is \"peak_after_capture\"; write "
                     "that, or add the column to fish.csv";
    out.left_out = {{"st01", "peak_after_captur", "no such column"}};
    return out;
}

} // namespace

std::vector<Finding> invented_findings() {
    return {of_two_groups(), of_four_groups(), of_pairs(),  of_a_slope(),    of_scores(),
            of_times(),      of_yes_or_no(),   of_counts(), without_answer()};
}

} // namespace backeddy::report
