#include "app/why.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/results_parts.hpp"
#include "app/detail/why_condition.hpp"
#include "base/number_text.hpp"

namespace backeddy::app {

namespace {

using uptake::PeakEvent;

Error unknown(const std::string& what, const std::string& word, const std::vector<std::string>& choices) {
    const auto near = nearest_name(word, choices);
    return {.code = ErrorCode::unknown_name,
            .found = fmt::format("no {} \"{}\"", what, word),
            .expected = fmt::format("one of {}", fmt::join(choices, ", ")),
            .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""};
}

std::string budget(const Measured& value, const char* unit) {
    std::string out;
    auto list = std::vector<Contribution>(value.contributions().begin(), value.contributions().end());
    std::sort(list.begin(), list.end(), [](const Contribution& a, const Contribution& b) {
        return std::abs(a.effect) > std::abs(b.effect);
    });
    for (const auto& one : list) {
        out += fmt::format("  {:>5.1f} %  {:<10} {}  {}\n", 100.0 * value.share(one.source),
                           significant_text(std::abs(one.effect), 2), unit, one.source);
    }
    return out;
}

// "raw/boat/day1.csv lines 120 to 179"
std::string lines_of(const Answers& answers, const Chamber& chamber, std::size_t first_row,
                     std::size_t end_row) {
    if (first_row >= end_row) {
        return "no rows";
    }
    const auto [file, first] = line_of(chamber, first_row);
    const auto [last_file, last] = line_of(chamber, end_row - 1);
    const std::string& path = answers.traces.files[file].path;
    return file == last_file ? fmt::format("{} lines {} to {}", path, first, last)
                             : fmt::format("{} line {} to {} line {}", path, first,
                                           answers.traces.files[last_file].path, last);
}

std::string spell_line(const Answers& answers, const StayAnswer& stay, std::size_t index) {
    const auto& spell = stay.uptake->spells[index];
    const auto& answer = spell.answer;
    return fmt::format(
        "  spell {:>3}  {} to {}  slope {} ± {} mg/L/h  background {} mg/h  {}\n", index + 1,
        iso_text(answer.from), iso_text(answer.to), significant_text(answer.slope_mg_per_l_h, 5),
        significant_text(answer.slope_error, 2),
        measured_text(answer.background_mg_per_h.value(), answer.background_mg_per_h.standard_uncertainty()),
        lines_of(answers, *stay.slices[spell.slice], spell.first_row, spell.end_row));
}

std::string header(const std::string& fish, const std::string& name, const uptake::UptakeRate& rate) {
    const bool per_kg = rate.mg_per_kg_h.has_value();
    const Measured& value = per_kg ? *rate.mg_per_kg_h : rate.mg_per_h;
    const char* unit = per_kg ? "mg/kg/h" : "mg/h";
    return fmt::format("{}: {} = {} {}\n", fish, name,
                       measured_text(value.value(), value.standard_uncertainty()), unit) +
           "what its uncertainty is made of:\n" + budget(value, unit);
}

std::string chamber_line(const StayAnswer& stay) {
    const auto& slice = stay.input.slices.front();
    std::string out = fmt::format(
        "stay {} in {}: chamber and loop {} L", stay.stay->id.text(), stay.stay->assembly.text(),
        measured_text(slice.chamber.volume_l.value(), slice.chamber.volume_l.standard_uncertainty()));
    if (stay.input.fish && stay.input.fish->mass_kg) {
        const auto& mass = *stay.input.fish->mass_kg;
        out += fmt::format(", fish {} kg", measured_text(mass.value(), mass.standard_uncertainty()));
    }
    return out + fmt::format(", states {}, sensor {}\nbackground: {}\n",
                             uptake::text(stay.uptake->states_from), stay.slices.front()->trace.sensor,
                             stay.uptake->background_how);
}

std::string reasons_line(const std::vector<uptake::Reason>& reasons) {
    return reasons.empty() ? std::string() : "remarks: " + uptake::joined(reasons) + "\n";
}

std::string why_peak(const Answers& answers, const std::string& fish, const EventAnswer& event) {
    const auto& peak = *event.peak;
    const std::size_t index = event.spells[peak.spell];
    return header(fish, peak.name, peak.corrected) +
           fmt::format("steepest window {} to {}, {} readings, slope {} ± {} mg/L/h; {} since {}\n",
                       iso_text(peak.window_from), iso_text(peak.window_to), peak.readings,
                       significant_text(peak.slope_mg_per_l_h, 5), significant_text(peak.slope_error, 2),
                       fmt::format("{} s", fixed_text(peak.start_after_event.seconds(), 0)),
                       event.zero.word) +
           fmt::format("as found {} mg/h, less selection bias {} mg/h\n",
                       significant_text(peak.raw.mg_per_h.value(), 5),
                       significant_text(peak.selection_bias_mg_per_h, 2)) +
           chamber_line(*event.stay) + "it lies in:\n" + spell_line(answers, *event.stay, index) +
           reasons_line(peak.reasons);
}

std::string why_resting(const Answers& answers, const std::string& fish, const RestingAnswer& rest) {
    const auto& resting = *rest.resting;
    std::string out =
        header(fish, resting.name, resting.value.corrected) + resting.chosen_why + "\n" +
        fmt::format("values count from {} ({} h after handling): {}\n", iso_text(resting.counted_from),
                    fixed_text(resting.cut_off_h, 1), resting.cut_off_why) +
        chamber_line(*rest.stay) + fmt::format("{} values:\n", resting.counted.size());
    for (const std::size_t i : resting.counted) {
        out += spell_line(answers, *rest.stay, rest.spells[i]);
    }
    return out + reasons_line(resting.reasons);
}

std::string why_scope(const std::string& fish, const EventAnswer& event) {
    const auto& answer = **event.scope;
    const auto& factorial = answer.as_measured.factorial;
    return header(fish, "absolute scope (" + answer.peak_name + " less " + answer.resting_name + ")",
                  answer.as_measured.absolute) +
           fmt::format("factorial scope = {} (95 %: {} to {})\n",
                       measured_text(factorial.value(), factorial.standard_uncertainty()),
                       significant_text(answer.as_measured.factorial_interval.low, 3),
                       significant_text(answer.as_measured.factorial_interval.high, 3)) +
           reasons_line(answer.reasons) + "for its two parts ask for the peak and for resting\n";
}

std::string why_excess(const Answers& answers, const std::string& fish, const EventAnswer& event) {
    const auto& recovery = *event.recovery;
    std::string out;
    for (const auto& baseline : recovery.baselines) {
        const auto& excess = baseline.tube;
        if (!excess) {
            continue;
        }
        const Measured& amount = excess->amount.mg_per_kg ? *excess->amount.mg_per_kg : excess->amount.mg;
        const char* unit = excess->amount.mg_per_kg ? "mg/kg" : "mg";
        out += fmt::format("{}: excess in the tube above {} = {}{} {}\n", fish, baseline.name,
                           excess->at_least ? "at least " : "",
                           measured_text(amount.value(), amount.standard_uncertainty()), unit) +
               budget(amount, unit);
    }
    out += fmt::format("time zero {} ({})\n", iso_text(event.zero.at), event.zero.word) +
           (event.zero.not_from.empty() ? std::string() : event.zero.not_from + "\n") +
           chamber_line(*event.stay);
    for (const std::size_t i : event.spells) {
        out += spell_line(answers, *event.stay, i);
    }
    return out + reasons_line(recovery.reasons);
}

std::string recovery_time(const char* how, const uptake::RecoveryTime& time) {
    std::string out = fmt::format("  {}: ", how);
    if (time.hours) {
        out +=
            fmt::format("{} h (95 %: {} to {})", fixed_text(*time.hours, 2), fixed_text(time.at_least_h, 2),
                        time.at_most_h ? fixed_text(*time.at_most_h, 2) : "no upper limit");
    } else {
        out += fmt::format("more than {} h", fixed_text(time.at_least_h, 2));
    }
    out += time.reason.empty() ? "\n" : "; " + time.reason + "\n";
    return out + (time.limits_from.empty() ? "" : "    limits: " + time.limits_from + "\n");
}

std::string half_time(const char* how, const uptake::HalfTime& half, bool at_least) {
    const Measured& hours = half.hours;
    return fmt::format("half of the excess is gone {}: {}{} h\n", how, at_least ? "at least " : "",
                       measured_text(hours.value(), hours.standard_uncertainty())) +
           budget(hours, "h");
}

std::string why_recovery(const Answers& answers, const std::string& fish, const EventAnswer& event) {
    const auto& recovery = *event.recovery;
    std::string out;
    for (const auto& baseline : recovery.baselines) {
        out += fmt::format("{}: recovered to {} ({} mg/h)\n", fish, baseline.name,
                           significant_text(baseline.level_mg_per_h, 5)) +
               recovery_time("by the data", baseline.by_data) + recovery_time("by the fit", baseline.by_fit);
    }
    if (recovery.half_time_by_data) {
        out += half_time("by the data", *recovery.half_time_by_data, recovery.levels_too_high);
    }
    if (recovery.fit) {
        out += half_time("by the fitted decay", recovery.fit->half_time, recovery.fit->at_least);
    }
    out += fmt::format("time zero {} ({}); {} sealed spells after it; those in the tube:\n",
                       iso_text(event.zero.at), event.zero.word, recovery.spells) +
           chamber_line(*event.stay);
    for (const std::size_t i : event.spells) {
        out += spell_line(answers, *event.stay, i);
    }
    return out + reasons_line(recovery.reasons);
}

Error none(const std::string& fish, const std::string& metric, const std::string& reason) {
    return {.code = ErrorCode::too_few, .found = fmt::format("{} has no {}: {}", fish, metric, reason)};
}

Expected<std::string> why_event(const Answers& answers, const FishAnswer& fish, const std::string& id,
                                const std::string& metric, PeakEvent kind) {
    const auto* event = fish.after_event(kind);
    if (event == nullptr) {
        return fail(none(id, metric, "no stay of that role"));
    }
    if (metric == "excess") {
        return event->recovery ? Expected<std::string>(why_excess(answers, id, *event))
                               : fail(none(id, metric, event->recovery.error().text()));
    }
    if (metric == "recovery") {
        return event->recovery ? Expected<std::string>(why_recovery(answers, id, *event))
                               : fail(none(id, metric, event->recovery.error().text()));
    }
    if (metric == "scope") {
        return event->scope && *event->scope
                   ? Expected<std::string>(why_scope(id, *event))
                   : fail(none(id, metric, "a peak and a resting uptake are both needed"));
    }
    return event->peak ? Expected<std::string>(why_peak(answers, id, *event))
                       : fail(none(id, metric, event->peak.error().text()));
}

} // namespace

std::vector<std::string> why_condition_metrics() {
    return detail::condition_metrics();
}

std::vector<std::string> why_metrics() {
    return {"peak_after_capture", "peak_after_chase", "resting", "scope", "excess", "recovery"};
}

Expected<std::string> why(const Answers& answers, const std::string& fish, const std::string& metric) {
    auto known = why_metrics();
    const auto of_condition = detail::condition_metrics();
    const bool is_condition =
        std::find(of_condition.begin(), of_condition.end(), metric) != of_condition.end();
    known.insert(known.end(), of_condition.begin(), of_condition.end());
    if (std::find(known.begin(), known.end(), metric) == known.end()) {
        return fail(unknown("metric", metric, known));
    }
    std::vector<std::string> names;
    for (std::size_t i = 0; i < answers.fish.size(); ++i) {
        const auto& one = answers.fish[i];
        const std::string& id = one.fish->id.text();
        names.push_back(id);
        if (id != fish) {
            continue;
        }
        if (is_condition) {
            return detail::why_condition(answers, i, metric);
        }
        if (metric == "resting") {
            if (!one.rest) {
                return fail(none(id, metric, "no resting stay"));
            }
            return one.rest->resting ? Expected<std::string>(why_resting(answers, id, *one.rest))
                                     : fail(none(id, metric, one.rest->resting.error().text()));
        }
        return why_event(answers, one, id, metric,
                         metric == "peak_after_chase" ? PeakEvent::chase : PeakEvent::capture);
    }
    return fail(unknown("fish", fish, names));
}

} // namespace backeddy::app
