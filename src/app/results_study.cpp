#include "app/detail/results_parts.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include <fmt/format.h>

#include "angling/catch_log.hpp"
#include "app/catch_entries.hpp"
#include "fit/student.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using uptake::PeakEvent;

// ---------------------------------------------------------------- fish accounting

std::string ending_of(const StayAnswer* stay) {
    if (stay == nullptr || !stay->stay->ended || *stay->stay->ended == study::StayEnding::done) {
        return {};
    }
    if (*stay->stay->ended == study::StayEnding::died) {
        return fmt::format("died in {} (stay {})", stay->stay->assembly.text(), stay->stay->id.text());
    }
    return fmt::format("stay {} ended: {}", stay->stay->id.text(), study::word_of(*stay->stay->ended));
}

/// A stage that a fish has reached or not, and what to say when it has not.
struct Stage {
    const char* word;
    const char* title;
    std::function<bool(const FishAnswer&)> reached;
    std::function<std::string(const FishAnswer&)> why_not;
};

std::vector<Stage> stages() {
    const auto capture_peak = [](const FishAnswer& fish) {
        const auto* event = fish.after_event(PeakEvent::capture);
        return event != nullptr && event->peak && event->peak->mark != uptake::Mark::unusable;
    };
    return {
        {"landed", "landed", [](const FishAnswer&) { return true; }, nullptr},
        {"eligible", "eligible: weighed, with a stay of its own",
         [](const FishAnswer& fish) {
             // A weighing without a stay changes nothing: each stay knows the mass that holds for it.
             return std::any_of(fish.stays.begin(), fish.stays.end(),
                                [](const StayAnswer* stay) { return stay->mass.has_value(); });
         },
         [](const FishAnswer& fish) { return fish.stays.empty() ? "no stay written down" : "not weighed"; }},
        {"sealed", "sealed after capture",
         [](const FishAnswer& fish) {
             const auto* event = fish.after_event(PeakEvent::capture);
             return event != nullptr && !event->spells.empty();
         },
         [](const FishAnswer& fish) {
             const auto* event = fish.after_event(PeakEvent::capture);
             return event == nullptr      ? std::string("no stay after capture")
                    : event->stay->uptake ? std::string("no sealed spell after capture")
                                          : event->stay->uptake.error().text();
         }},
        {"usable_peak", "usable peak after capture", capture_peak,
         [](const FishAnswer& fish) {
             const auto* event = fish.after_event(PeakEvent::capture);
             return event->peak ? uptake::joined(event->peak->reasons) : event->peak.error().text();
         }},
        {"night", "resting uptake from the night",
         [](const FishAnswer& fish) { return fish.rest && fish.rest->resting; },
         [](const FishAnswer& fish) {
             if (!fish.rest) {
                 return std::string("no resting stay");
             }
             const auto ending = ending_of(fish.rest->stay);
             if (fish.rest->stay->stay->ended == study::StayEnding::died) {
                 return ending + ": its peak counts, what it took up before its death is no resting uptake";
             }
             return ending.empty() ? fish.rest->resting.error().text()
                                   : ending + "; " + fish.rest->resting.error().text();
         }},
        {"chase", "peak after chase",
         [](const FishAnswer& fish) {
             const auto* event = fish.after_event(PeakEvent::chase);
             return event != nullptr && event->peak;
         },
         [](const FishAnswer& fish) {
             const auto* event = fish.after_event(PeakEvent::chase);
             return event == nullptr ? std::string("not chased") : event->peak.error().text();
         }},
    };
}

std::string with_note(const std::string& what, const std::string& note) {
    return note.empty() ? what : what + ": " + note;
}

std::string with_rig(const std::string& what, const angling::Strike& strike) {
    return strike.rig.empty() ? what : fmt::format("{}, rig {}", what, strike.rig);
}

// "lost 95 s after hook-up: in play, rig treble": the moment as the crew wrote it, and as their clock says.
std::string lost_in_words(const angling::Strike& strike) {
    std::string when = "lost";
    if (strike.hook_up) {
        when = fmt::format("lost {:.0f} s after hook-up", (*strike.lost - *strike.hook_up).seconds());
    }
    return with_rig(with_note(when, strike.reason.empty() ? "how was not written down" : strike.reason),
                    strike);
}

// Bites and hook-ups have no fish of their own yet: they are counted from the events.
void add_catch_stages(const Answers& answers, report::Accounting& out) {
    const auto log = angling::read_catch(catch_entries(answers.study));
    report::AccountingStage bitten{.word = "bite", .title = "bites"};
    report::AccountingStage hooked{.word = "hook_up", .title = "hook-ups"};
    for (const auto& strike : log.strikes) {
        bitten.count += strike.bite ? 1 : 0;
        hooked.count += strike.hook_up ? 1 : 0;
    }
    for (const auto& strike : log.strikes) {
        if (hooked.count > 0 && !strike.was_hooked()) {
            bitten.left.push_back({.reason = with_rig(with_note("no hook-up", strike.reason), strike)});
        }
        if (strike.lost) {
            hooked.left.push_back({.reason = lost_in_words(strike)});
        }
    }
    for (auto* stage : {&bitten, &hooked}) {
        if (stage->count == 0) {
            out.notes.push_back(stage->title + " were not written down");
        } else {
            out.stages.push_back(std::move(*stage));
        }
    }
}

report::Leaving leaving(const Answers& answers, const FishAnswer& fish, std::string reason) {
    const auto* capture = capture_of(answers.study, fish.fish->id);
    return {.encounter = capture == nullptr ? std::string() : capture->id.text(),
            .fish = fish.fish->id.text(),
            .group = group_of(answers.study, *fish.fish),
            .reason = reason.empty() ? "no reason known" : std::move(reason)};
}

} // namespace

report::Accounting accounting_of(const Answers& answers) {
    report::Accounting out;
    add_catch_stages(answers, out);
    // Each later stage asks for the earlier ones: a fish stands under the first stage it did not get beyond.
    std::vector<const FishAnswer*> here;
    for (const auto& fish : answers.fish) {
        here.push_back(&fish);
    }
    const auto list = stages();
    for (std::size_t s = 0; s < list.size(); ++s) {
        report::AccountingStage stage{.word = list[s].word, .title = list[s].title, .count = here.size()};
        if (s + 1 < list.size()) {
            std::vector<const FishAnswer*> onward;
            for (const auto* fish : here) {
                if (list[s + 1].reached(*fish)) {
                    onward.push_back(fish);
                } else {
                    stage.left.push_back(leaving(answers, *fish, list[s + 1].why_not(*fish)));
                }
            }
            here = std::move(onward);
        }
        out.stages.push_back(std::move(stage));
    }
    std::map<std::string, report::FateCount> fates;
    for (const auto& fish : answers.fish) {
        std::string fate = fate_of(answers, fish).word;
        for (const auto* stay : fish.stays) {
            if (fate == "died" && stay->stay->ended && *stay->stay->ended == study::StayEnding::died) {
                fate = fmt::format("died in {}, stay {}", stay->stay->assembly.text(), stay->stay->id.text());
            }
        }
        auto& count = fates[fate];
        count.fate = fate;
        ++count.count;
        count.fish.push_back(fish.fish->id.text());
    }
    for (auto& [word, fate] : fates) {
        out.fates.push_back(std::move(fate));
    }
    return out;
}

// ---------------------------------------------------------------- headline numbers

namespace {

struct HeadlineMetric {
    const char* word;
    const char* title;
    const char* unit;
    std::function<std::optional<double>(const FishAnswer&)> value;
    /// A ratio of two measured values: averaged on the log scale, so that two fish of 2 and 1/2 make 1.
    bool is_on_log_scale = false;
    /// Of a fish that has a value: it is a lower bound.
    std::function<bool(const FishAnswer&)> is_at_least = [](const FishAnswer&) { return false; };
};

std::optional<double> peak_value(const FishAnswer& fish, PeakEvent event) {
    const auto* answer = fish.after_event(event);
    if (answer == nullptr || !answer->peak || answer->peak->mark == uptake::Mark::unusable ||
        !answer->peak->corrected.mg_per_kg_h) {
        return std::nullopt;
    }
    return answer->peak->corrected.mg_per_kg_h->value();
}

std::optional<double> resting_value(const FishAnswer& fish) {
    if (!fish.came_to_rest() || !fish.rest->resting->value.corrected.mg_per_kg_h) {
        return std::nullopt;
    }
    return fish.rest->resting->value.corrected.mg_per_kg_h->value();
}

const uptake::ScopeAnswer* scope_after_capture(const FishAnswer& fish) {
    const auto* event = fish.came_to_rest() ? fish.after_event(PeakEvent::capture) : nullptr;
    return event != nullptr && event->scope && *event->scope ? &**event->scope : nullptr;
}

const uptake::Excess* boat_hour_excess(const FishAnswer& fish) {
    const auto* event = fish.after_event(PeakEvent::capture);
    if (event == nullptr || !event->recovery || event->recovery->baselines.empty()) {
        return nullptr;
    }
    const auto& tube = event->recovery->baselines.front().tube;
    return tube && tube->amount.mg_per_kg ? &*tube : nullptr;
}

// Both peaks usable: a pair is no better than its worse half.
const uptake::PeakPair* usable_pair(const FishAnswer& fish) {
    const bool both = peak_value(fish, PeakEvent::capture) && peak_value(fish, PeakEvent::chase);
    return both && fish.pair && *fish.pair ? &**fish.pair : nullptr;
}

std::vector<HeadlineMetric> headline_metrics() {
    return {
        {"peak_after_capture", "peak after capture", "mg/kg/h",
         [](const FishAnswer& f) { return peak_value(f, PeakEvent::capture); }},
        {"peak_after_chase", "peak after chase", "mg/kg/h",
         [](const FishAnswer& f) { return peak_value(f, PeakEvent::chase); }},
        {"resting", "resting uptake", "mg/kg/h", resting_value},
        {"scope_absolute", "absolute scope after capture", "mg/kg/h",
         [](const FishAnswer& f) -> std::optional<double> {
             const auto* scope = scope_after_capture(f);
             return scope != nullptr && scope->as_measured.absolute.mg_per_kg_h
                        ? std::optional(scope->as_measured.absolute.mg_per_kg_h->value())
                        : std::nullopt;
         }},
        {"scope_factorial", "factorial scope after capture", "",
         [](const FishAnswer& f) -> std::optional<double> {
             const auto* scope = scope_after_capture(f);
             return scope == nullptr ? std::nullopt : std::optional(scope->as_measured.factorial.value());
         }},
        {"excess_boat_hour", "excess in the boat hour", "mg/kg",
         [](const FishAnswer& f) -> std::optional<double> {
             const auto* excess = boat_hour_excess(f);
             return excess != nullptr ? std::optional(excess->amount.mg_per_kg->value()) : std::nullopt;
         },
         false,
         [](const FishAnswer& f) {
             const auto* excess = boat_hour_excess(f);
             return excess != nullptr && excess->at_least;
         }},
        {"peak_difference", "peak after capture less peak after chase, same fish", "mg/kg/h",
         [](const FishAnswer& f) -> std::optional<double> {
             const auto* pair = usable_pair(f);
             return pair != nullptr && pair->difference.mg_per_kg_h
                        ? std::optional(pair->difference.mg_per_kg_h->value())
                        : std::nullopt;
         }},
        {"peak_ratio", "peak after capture over peak after chase, same fish", "",
         [](const FishAnswer& f) -> std::optional<double> {
             const auto* pair = usable_pair(f);
             return pair != nullptr && pair->ratio.value() > 0.0 ? std::optional(pair->ratio.value())
                                                                 : std::nullopt;
         },
         true},
    };
}

/// The values of one metric over the fish of one group.
struct Values {
    std::vector<double> list;
    std::size_t lower_bounds = 0; ///< how many of them are
};

Values values_of(const Answers& answers, const std::vector<FishAnswer>& fish, const HeadlineMetric& metric,
                 const std::string& group) {
    Values out;
    for (const auto& one : fish) {
        if (!group.empty() && group_of(answers.study, *one.fish) != group) {
            continue;
        }
        if (const auto value = metric.value(one)) {
            out.list.push_back(*value);
            out.lower_bounds += metric.is_at_least(one) ? 1 : 0;
        }
    }
    return out;
}

double mean_of(const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values) {
        sum += v;
    }
    return sum / static_cast<double>(values.size());
}

double sd_of(const std::vector<double>& values, double mean) {
    double squares = 0.0;
    for (const double v : values) {
        squares += (v - mean) * (v - mean);
    }
    return std::sqrt(squares / static_cast<double>(values.size() - 1));
}

constexpr double headline_level = 0.95;

// The mean with its standard error and Student's t interval; of ratios the geometric mean, both by the logs.
report::Number mean_of_values(std::vector<double> values, const HeadlineMetric& metric) {
    if (values.empty()) {
        return report::no_number("no fish has it", metric.unit);
    }
    const bool logs = metric.is_on_log_scale;
    if (logs) {
        std::transform(values.begin(), values.end(), values.begin(), [](double v) { return std::log(v); });
    }
    const auto back = [&](double v) { return logs ? std::exp(v) : v; };
    const double mean = mean_of(values);
    if (values.size() < 2) {
        return report::number(back(mean), metric.unit, "one fish: no interval");
    }
    const double error = sd_of(values, mean) / std::sqrt(static_cast<double>(values.size()));
    const double half = fit::two_sided_t(headline_level, static_cast<double>(values.size() - 1)) * error;
    auto out = report::number(
        Measured(back(mean), logs ? back(mean) * error : error, "between fish"), metric.unit,
        logs ? "geometric mean over fish, its standard error" : "mean over fish, its standard error");
    out.interval = report::Interval{
        .low = back(mean - half),
        .high = back(mean + half),
        .level = headline_level,
        .method = fmt::format("Student's t, {} fish{}", values.size(), logs ? ", on the log scale" : "")};
    return out;
}

report::Number mean_number(const Values& values, const HeadlineMetric& metric) {
    auto out = mean_of_values(values.list, metric);
    if (values.lower_bounds > 0) {
        out.is_at_least = true;
        out.method +=
            fmt::format("; {} of {} fish give a lower bound", values.lower_bounds, values.list.size());
    }
    return out;
}

report::Number spread_number(const std::vector<double>& values, const HeadlineMetric& metric) {
    if (values.size() < 2) {
        return report::no_number("fewer than two fish", metric.unit);
    }
    if (metric.is_on_log_scale) {
        std::vector<double> logs(values.size());
        std::transform(values.begin(), values.end(), logs.begin(), [](double v) { return std::log(v); });
        return report::number(std::exp(sd_of(logs, mean_of(logs))), "", "geometric: a factor");
    }
    return report::number(sd_of(values, mean_of(values)), metric.unit);
}

report::Headline headline_of(const Answers& answers, const HeadlineMetric& metric, const std::string& group) {
    auto found = values_of(answers, answers.fish, metric, group);
    auto& values = found.list;
    report::Headline out{.word = metric.word,
                         .title = metric.title,
                         .group = group,
                         .fish = static_cast<std::uint32_t>(values.size()),
                         .mean = mean_number(found, metric),
                         .between_fish_sd = spread_number(values, metric),
                         .median = report::no_number("no fish has it", metric.unit)};
    const auto without =
        answers.without == nullptr ? found : values_of(answers, *answers.without, metric, group);
    out.fish_without_human = static_cast<std::uint32_t>(without.list.size());
    out.mean_without_human = mean_number(without, metric);
    if (!values.empty()) {
        std::sort(values.begin(), values.end());
        const std::size_t half = values.size() / 2;
        out.median = report::number(
            values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2.0, metric.unit);
    }
    return out;
}

} // namespace

std::vector<report::Headline> headlines_of(const Answers& answers) {
    std::vector<std::string> groups{""};
    for (const auto& fish : answers.fish) {
        auto group = group_of(answers.study, *fish.fish);
        if (!group.empty() && std::find(groups.begin(), groups.end(), group) == groups.end()) {
            groups.push_back(std::move(group));
        }
    }
    std::vector<report::Headline> out;
    for (const auto& metric : headline_metrics()) {
        for (const auto& group : groups) {
            out.push_back(headline_of(answers, metric, group));
        }
    }
    return out;
}

} // namespace backeddy::app::detail
