#include "app/detail/results_parts.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include <fmt/format.h>

#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using uptake::PeakEvent;

// ---------------------------------------------------------------- fish accounting

bool has_event(const FishAnswer& fish, study::EventKind kind) {
    return std::any_of(fish.events.begin(), fish.events.end(),
                       [&](const study::Event* event) { return event->kind == kind; });
}

std::string ending_of(const StayAnswer* stay) {
    if (stay == nullptr || !stay->stay->ended || *stay->stay->ended == study::StayEnding::done) {
        return {};
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

// Bites and hook-ups have no fish of their own yet: they are counted from the events.
void add_catch_stages(const Answers& answers, report::Accounting& out) {
    const auto& events = answers.study.tables.events;
    const auto count = [&](study::EventKind kind) {
        return static_cast<std::uint64_t>(std::count_if(
            events.begin(), events.end(), [&](const study::Event& e) { return e.kind == kind; }));
    };
    const std::uint64_t bites = count(study::EventKind::bite);
    const std::uint64_t hook_ups = count(study::EventKind::hook_up);
    if (bites == 0) {
        out.notes.emplace_back("bites were not written down");
    }
    if (hook_ups == 0) {
        out.notes.emplace_back("hook-ups were not written down");
    }
    report::AccountingStage hooked{.word = "hook_up", .title = "hook-ups", .count = hook_ups};
    for (const auto& event : events) {
        if (event.kind == study::EventKind::lost) {
            hooked.left.push_back(
                {.reason = event.note.empty() ? "lost, no reason written down" : "lost: " + event.note});
        }
    }
    if (bites > 0) {
        out.stages.push_back({.word = "bite", .title = "bites", .count = bites});
    }
    if (hook_ups > 0) {
        out.stages.push_back(std::move(hooked));
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
        std::string fate = has_event(fish, study::EventKind::died)       ? "died"
                           : has_event(fish, study::EventKind::released) ? "released"
                                                                         : "not written down";
        for (const auto* stay : fish.stays) {
            if (stay->stay->ended && *stay->stay->ended == study::StayEnding::died) {
                fate = "died in " + stay->stay->assembly.text();
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
    if (!fish.rest || !fish.rest->resting || !fish.rest->resting->value.corrected.mg_per_kg_h) {
        return std::nullopt;
    }
    return fish.rest->resting->value.corrected.mg_per_kg_h->value();
}

const uptake::ScopeAnswer* scope_after_capture(const FishAnswer& fish) {
    const auto* event = fish.after_event(PeakEvent::capture);
    return event != nullptr && event->scope && *event->scope ? &**event->scope : nullptr;
}

std::optional<double> boat_hour_excess(const FishAnswer& fish) {
    const auto* event = fish.after_event(PeakEvent::capture);
    if (event == nullptr || !event->recovery || event->recovery->baselines.empty()) {
        return std::nullopt;
    }
    const auto& tube = event->recovery->baselines.front().tube;
    if (!tube || !tube->amount.mg_per_kg) {
        return std::nullopt;
    }
    return tube->amount.mg_per_kg->value();
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
        {"excess_boat_hour", "excess in the boat hour", "mg/kg", boat_hour_excess},
    };
}

/// The values of one metric over the fish of one group.
std::vector<double> values_of(const Answers& answers, const std::vector<FishAnswer>& fish,
                              const HeadlineMetric& metric, const std::string& group) {
    std::vector<double> out;
    for (const auto& one : fish) {
        if (!group.empty() && group_of(answers.study, *one.fish) != group) {
            continue;
        }
        if (const auto value = metric.value(one)) {
            out.push_back(*value);
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

report::Number mean_number(const std::vector<double>& values, const char* unit) {
    if (values.empty()) {
        return report::no_number("no fish has it", unit);
    }
    const double mean = mean_of(values);
    if (values.size() < 2) {
        return report::number(mean, unit, "one fish");
    }
    const double error = sd_of(values, mean) / std::sqrt(static_cast<double>(values.size()));
    return report::number(Measured(mean, error, "between fish"), unit, "mean over fish, its standard error");
}

report::Headline headline_of(const Answers& answers, const HeadlineMetric& metric, const std::string& group) {
    auto values = values_of(answers, answers.fish, metric, group);
    report::Headline out{.word = metric.word,
                         .title = metric.title,
                         .group = group,
                         .fish = static_cast<std::uint32_t>(values.size()),
                         .mean = mean_number(values, metric.unit),
                         .between_fish_sd = values.size() < 2
                                                ? report::no_number("fewer than two fish", metric.unit)
                                                : report::number(sd_of(values, mean_of(values)), metric.unit),
                         .median = report::no_number("no fish has it", metric.unit)};
    const auto without =
        answers.without == nullptr ? values : values_of(answers, *answers.without, metric, group);
    out.fish_without_human = static_cast<std::uint32_t>(without.size());
    out.mean_without_human = mean_number(without, metric.unit);
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
