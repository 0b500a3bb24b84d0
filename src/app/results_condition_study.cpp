#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>

#include "app/detail/condition_parts.hpp"
#include "app/detail/results_condition_parts.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"
#include "condition/blood.hpp"
#include "condition/known_quantile.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Known;
using report::Number;

// ---------------------------------------------------------------- analytes at the first draw

struct AtFirstDraw {
    const std::string* group = nullptr;
    const BloodValue* value = nullptr;
    std::optional<double> minutes; ///< since hook-up
};

using AnalyteKey = std::pair<condition::Analyte, condition::Matrix>;

std::map<AnalyteKey, std::vector<AtFirstDraw>> at_first_draw(const ConditionAnswers& condition,
                                                             const std::vector<report::Fish>& fish) {
    std::map<AnalyteKey, std::vector<AtFirstDraw>> out;
    for (std::size_t i = 0; i < condition.fish.size(); ++i) {
        const auto* draw = first_draw(condition.fish[i]);
        if (draw == nullptr) {
            continue;
        }
        std::set<AnalyteKey> seen;
        for (const auto& value : draw->values) {
            const AnalyteKey key{value.analyte, value.matrix};
            if (seen.insert(key).second) { // of several the first counts
                const auto& since = draw->times.since_hook_up;
                out[key].push_back({.group = &fish[i].group,
                                    .value = &value,
                                    .minutes = since ? std::optional(since->seconds / 60.0) : std::nullopt});
            }
        }
    }
    return out;
}

/// A number where all that is known leaves but one; else where it lies.
Number quantile(const std::vector<stats::Interval>& values, double p, const std::string& unit) {
    const auto within = condition::known_quantile(values, p);
    if (!within) {
        return report::no_number(within.error().text(), unit);
    }
    const auto text = [](double value) { return significant_text(value, 3); };
    if (within->lower == within->upper) {
        return report::number(within->lower, unit);
    }
    if (!std::isfinite(within->upper)) {
        return report::no_number(within->lower > 0.0
                                     ? fmt::format("above {} {}", text(within->lower), unit)
                                     : "may be anything: too many values are known by a limit alone",
                                 unit);
    }
    return report::no_number(within->lower > 0.0 ? fmt::format("between {} and {} {}", text(within->lower),
                                                               text(within->upper), unit)
                                                 : fmt::format("below {} {}", text(within->upper), unit),
                             unit);
}

std::optional<double> median(std::vector<double> values) {
    if (values.empty()) {
        return std::nullopt;
    }
    std::ranges::sort(values);
    const auto half = values.size() / 2;
    return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2.0;
}

report::AnalyteSummary summary_of(const AnalyteKey& key, const std::vector<AtFirstDraw>& of) {
    const std::string unit{condition::usual_unit(key.first)};
    report::AnalyteSummary out{.analyte = study::word_of(key.first),
                               .matrix = spaced(study::word_of(key.second)),
                               .fish = of.size()};
    std::vector<stats::Interval> values;
    std::vector<double> minutes;
    for (const auto& one : of) {
        const auto& determined = one.value->determined;
        values.push_back(determined.known_within);
        out.below += determined.known == Known::below ? 1 : 0;
        out.above += determined.known == Known::above ? 1 : 0;
        if (one.minutes) {
            minutes.push_back(*one.minutes);
        }
    }
    out.median = quantile(values, 0.5, unit);
    out.lower_quartile = quantile(values, 0.25, unit);
    out.upper_quartile = quantile(values, 0.75, unit);
    const auto middle = median(std::move(minutes));
    out.minutes_since_hook_up = middle ? report::number(*middle, "min", "median")
                                       : report::no_number("no hook-up was written down", "min");
    return out;
}

std::vector<report::AnalyteSummary> analytes_of(const ConditionAnswers& condition,
                                                const std::vector<report::Fish>& fish) {
    std::vector<report::AnalyteSummary> out;
    for (const auto& [key, all] : at_first_draw(condition, fish)) {
        out.push_back(summary_of(key, all));
        out.back().is_all = true;
        const auto groups = groups_of(fish);
        for (const auto& group : groups.size() > 1 ? groups : std::vector<std::string>()) {
            std::vector<AtFirstDraw> of;
            std::ranges::copy_if(all, std::back_inserter(of),
                                 [&](const AtFirstDraw& one) { return *one.group == group; });
            if (!of.empty()) {
                out.push_back(summary_of(key, of));
                out.back().group = group;
            }
        }
    }
    return out;
}

// ---------------------------------------------------------------- points, cautions

report::ConditionPoint point_of(const FishCondition& condition, const report::Fish& fish) {
    report::ConditionPoint out{.fish = fish.id, .group = fish.group};
    if (const auto* fins = at_landing(condition)) {
        out.fin_mean = fins->index ? fins->index->mean : std::nullopt;
    }
    if (!condition.reflexes.empty() && condition.reflexes.front().impairment) {
        const auto& share = condition.reflexes.front().impairment->share;
        out.impaired_percent = share ? std::optional(100.0 * *share) : std::nullopt;
    }
    for (const auto& peak : fish.metrics.peaks) {
        if (peak.after == event_word(uptake::PeakEvent::capture)) {
            out.peak_after_capture = peak.uptake_mg_per_kg_h.value;
        }
    }
    for (const auto& recovery : fish.metrics.recoveries) {
        if (recovery.after == event_word(uptake::PeakEvent::capture) && !recovery.baselines.empty()) {
            const auto& hours = recovery.baselines.front().hours_by_data;
            out.recovery_h = hours.is_at_least ? std::nullopt : hours.value;
        }
    }
    return out;
}

void add_cautions(const ConditionAnswers& condition, report::StudyCondition& out) {
    const auto any = [&](auto has) { return std::ranges::any_of(condition.fish, has); };
    if (any([](const FishCondition& fish) { return !fish.draws.empty(); })) {
        out.cautions.emplace_back(condition::blood_caution);
    }
    if (any([](const FishCondition& fish) { return !fish.reflexes.empty() || !fish.body.empty(); })) {
        out.cautions.emplace_back(
            "A lost righting reflex or gill beat, or heavy bleeding, is shown as a reminder of the permit's "
            "humane end-points; what is done about it, the permit's holder decides.");
    }
}

} // namespace

std::vector<std::string> groups_of(const std::vector<report::Fish>& fish) {
    std::vector<std::string> out;
    for (const auto& one : fish) {
        if (std::ranges::find(out, one.group) == out.end()) {
            out.push_back(one.group);
        }
    }
    return out;
}

report::StudyCondition study_condition_of(const Answers& answers, const std::vector<report::Fish>& fish) {
    const auto& brief = answers.study.brief;
    report::StudyCondition out{.has_any = answers.condition.has_any,
                               .inter_assay = inter_assay_of(answers.plates),
                               .analytes = analytes_of(answers.condition, fish),
                               .agreements = agreements_of(brief, answers.condition),
                               .fin_scale = brief.fins.scale.levels,
                               .body_scale = brief.body.scale.levels};
    for (const auto& plate : answers.plates.list) {
        out.plates.push_back(plate_of(plate, answers.condition.sheets));
    }
    for (std::size_t i = 0; i < fish.size(); ++i) {
        const auto point = point_of(answers.condition.fish[i], fish[i]);
        if (point.fin_mean || point.impaired_percent) {
            out.points.push_back(point);
        }
    }
    add_cautions(answers.condition, out);
    add_mortality(answers, fish, out);
    for (auto& words : retention_words(answers.study, answers.condition.sheets)) {
        out.notes.push_back(std::move(words));
    }
    return out;
}

} // namespace backeddy::app::detail
