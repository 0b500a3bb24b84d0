#include "report/page.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <tuple>

#include <fmt/format.h>

#include "base/hash.hpp"
#include "base/number_text.hpp"
#include "report/bundle.hpp"
#include "report/checklist.hpp"
#include "report/detail/base64.hpp"
#include "report/detail/html_parts.hpp"
#include "report/detail/page_catch.hpp"
#include "report/detail/page_condition.hpp"
#include "report/detail/page_findings.hpp"
#include "report/detail/page_parts.hpp"
#include "report/detail/page_plates.hpp"
#include "report/json.hpp"
#include "report/methods.hpp"
#include "report/words.hpp"

namespace backeddy::report {

namespace {

using detail::anchor;
using detail::figure;
using detail::folded;
using detail::group_sign;
using detail::html;
using detail::HtmlTable;
using detail::interval_of;
using detail::joined;
using detail::moment;
using detail::quantity;
using detail::sentence;
using detail::shown_time;
using detail::spoken;
using detail::whole_sentence;

std::string joined(const std::vector<uptake::Reason>& reasons) {
    std::string text;
    for (const uptake::Reason& reason : reasons) {
        text += (text.empty() ? "" : "; ") + reason.text;
    }
    return text;
}

std::string mark_sign(uptake::Mark mark) {
    return fmt::format("<span class=\"mark mark-{0}\">{0}</span>", word_of(mark));
}

// ---------------------------------------------------------------- the sections

std::string title_block(const Results& results) {
    const StudyHeader& study = results.study;
    std::string text = "<header class=\"title-block\">\n";
    if (study.is_simulated) {
        text += fmt::format("<p class=\"simulated\" role=\"note\">{}</p>\n",
                            html(study.simulated_label.empty() ? "Simulated study: no fish was caught"
                                                               : study.simulated_label));
    }
    text += fmt::format("<h1>{}</h1>\n", html(study.title.empty() ? "Untitled study" : study.title));
    text += "<dl class=\"facts\">";
    const auto fact = [&](std::string_view name, const std::string& value) {
        if (!value.empty()) {
            text += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>", html(name), html(value));
        }
    };
    fact("Place", study.place);
    fact("Species", joined(study.species, ", "));
    fact("Fish", fmt::format("{}", results.fish.size()));
    fact("Permit", study.permit);
    fact("Times", study.zone.empty() ? "UTC" : "UTC here; tables in " + study.zone);
    fact("Made by", study.program + " " + study.program_version);
    text += "</dl>\n";
    for (const std::string& note : results.notes) {
        text += fmt::format("<p class=\"note\">{}</p>\n", html(note));
    }
    return text + "</header>\n";
}

/// Chapters of what a study may lack stand in the list only when they stand on the page.
std::string contents(const Results& results) {
    const bool has_condition = results.condition.has_any;
    const bool has_plates = !results.condition.plates.empty();
    const std::tuple<std::string_view, std::string_view, bool> entries[] = {
        {"headline", "Headline numbers", true},
        {"findings", "Findings", true},
        {"accounting", "Fish accounting", true},
        {"study", "The study in figures", true},
        {"condition", "Condition", has_condition},
        {"fish", "Fish by fish", true},
        {"plates", "Assay plates", has_plates},
        {"exclusions", "Exclusions", true},
        {"methods", "Methods", true},
        {"checklist", "Reporting checklist", true},
        {"settings", "Settings", true},
        {"provenance", "Provenance", true},
        {"complaints", "Complaints", true},
        {"cautions", "Cautions", true}};
    std::string text = "<nav class=\"contents\" aria-label=\"Sections\"><ol>";
    for (const auto& [id, title, is_there] : entries) {
        text += is_there ? fmt::format("<li><a href=\"#{}\">{}</a></li>", id, title) : "";
    }
    return text + "</ol></nav>\n";
}

std::string headline_section(const Results& results) {
    std::string text =
        "<section id=\"headline\"><h2>Headline numbers</h2>\n<p>Means over fish ± their standard error, "
        "with 95 % intervals by Student's t over the fish of the row: what other fish of the same "
        "kind, met and treated likewise, would make of it. They are of the values as measured; "
        "groups are not compared here, and several intervals read together miss more often than "
        "one. A fish that never came to rest has no part in resting uptake and scope.";
    const bool has_human = std::ranges::any_of(
        results.exclusions, [](const Exclusion& each) { return each.by == ExcludedBy::human; });
    text += has_human ? " The last columns leave every decision made by hand undone.</p>\n"
                      : " No decision was made by hand: with and without are the same.</p>\n";
    std::vector<std::string> columns{"Group", "Fish", "Mean", "95 % interval", "Between fish (sd)", "Median"};
    if (has_human) {
        columns.insert(columns.end(), {"Fish, undone", "Mean, undone", "95 % interval, undone"});
    }
    HtmlTable table("Means over fish", columns);
    for (std::size_t i = 0; i < results.headlines.size(); ++i) {
        const Headline& each = results.headlines[i];
        const std::string at = fmt::format("/headlines/{}", i);
        table.title(sentence(each.title));
        std::vector<std::string> cells{each.group.empty() ? "all" : group_sign(results, each.group),
                                       fmt::format("{}", each.fish),
                                       quantity(each.mean, at + "/mean"),
                                       interval_of(each.mean),
                                       quantity(each.between_fish_sd, at + "/between_fish_sd"),
                                       quantity(each.median, at + "/median")};
        if (has_human) {
            cells.push_back(fmt::format("{}", each.fish_without_human));
            cells.push_back(quantity(each.mean_without_human, at + "/mean_without_human"));
            cells.push_back(interval_of(each.mean_without_human));
        }
        table.row(cells);
    }
    return text + std::move(table).take("No measure could be computed for any fish.") + "</section>\n";
}

std::string accounting_section(const Results& results) {
    std::string text = "<section id=\"accounting\"><h2>Fish accounting</h2>\n";
    text +=
        figure("accounting", "From bite to fate: how many reached each step, and why the others did not.");
    HtmlTable stages("Steps", {"Step", "Reached it", "Went no further", "Reasons"});
    for (const AccountingStage& stage : results.accounting.stages) {
        std::vector<std::string> reasons;
        for (const Leaving& each : stage.left) {
            const std::string& who = each.fish.empty() ? each.encounter : each.fish;
            reasons.push_back((who.empty() ? "" : who + ": ") + each.reason);
        }
        stages.row({html(sentence(stage.title)), fmt::format("{}", stage.count),
                    fmt::format("{}", stage.left.size()), html(joined(reasons))});
    }
    text += std::move(stages).take("Nothing was recorded of bites, hook-ups and landings.");
    HtmlTable fates("Fates", {"Fate", "Fish", "Which"});
    for (const FateCount& each : results.accounting.fates) {
        fates.row({html(each.fate), fmt::format("{}", each.count), html(joined(each.fish, ", "))});
    }
    text += std::move(fates).take("No fate was recorded.");
    for (const std::string& note : results.accounting.notes) {
        text += fmt::format("<p class=\"note\">{}</p>\n", html(note));
    }
    return text + detail::catch_part(results.fishing) + "</section>\n";
}

std::string pairs_table(const Results& results);

std::string study_section(const Results& results) {
    std::string text = "<section id=\"study\"><h2>The study in figures</h2>\n<div class=\"figures\">\n";
    text += figure("study-overview", "Peak uptake after capture.", {{"measure", "peak_after_capture"}});
    text += figure("study-overview", "Peak uptake after chase.", {{"measure", "peak_after_chase"}});
    text +=
        figure("study-overview", "Resting uptake; open points are not recovered.", {{"measure", "resting"}});
    text += figure("study-overview", "Absolute scope after capture.", {{"measure", "scope_absolute"}});
    text += figure("paired-peaks", "The same fish after capture and after chase, joined.");
    text += figure("study-overview", "Excess in the boat hour.", {{"measure", "excess_boat_hour"}});
    return text + "</div>\n" + pairs_table(results) + "</section>\n";
}

std::string fish_index(const Results& results) {
    std::string text = "<nav class=\"fish-index\" aria-label=\"Fish\"><p class=\"keys\">n next fish, p "
                       "previous fish</p><ul>";
    for (std::size_t i = 0; i < results.fish.size(); ++i) {
        const Fish& fish = results.fish[i];
        text += fmt::format(
            "<li><a href=\"#{}\"><span class=\"name\">{}</span> {} <span class=\"fate\">{}</span></a></li>",
            anchor(i), html(fish.id), group_sign(results, fish.group), html(fish.fate.word));
    }
    return text + "</ul></nav>\n";
}

std::string fish_facts(const Results& results, const Fish& fish, const std::string& at) {
    std::string text = "<dl class=\"facts\">";
    const auto fact = [&](std::string_view name, const std::string& value_html) {
        if (!value_html.empty()) {
            text += fmt::format("<div><dt>{}</dt><dd>{}</dd></div>", html(name), value_html);
        }
    };
    fact("Species", html(fish.species));
    fact("Group", group_sign(results, fish.group));
    for (const NamedText& each : fish.treatments) {
        fact(spoken(each.name), html(spoken(each.text)));
    }
    fact("Mass", quantity(fish.mass_g, at + "/mass_g") +
                     (fish.mass_source.empty() ? "" : " (" + html(fish.mass_source) + ")"));
    fact("Fork length", quantity(fish.fork_length_mm, at + "/fork_length_mm"));
    fact("Tag", html(fish.tag));
    fact("Fate", html(fish.fate.text.empty() ? fish.fate.word : fish.fate.text));
    return text + "</dl>\n";
}

std::string peak_row_note(const Peak& peak) {
    std::string text = mark_sign(peak.mark);
    const std::string why = joined(peak.reasons);
    return why.empty() ? text : text + " " + html(why);
}

/// A row per property, a column per peak: it fits a phone and a page.
std::string peaks_table(const Fish& fish, const std::string& at) {
    const std::vector<Peak>& peaks = fish.metrics.peaks;
    if (peaks.empty()) {
        return "<p class=\"none\">No peak: see what is missing.</p>\n";
    }
    std::vector<std::string> columns{"Number"};
    for (const Peak& peak : peaks) {
        columns.push_back("After " + peak.after);
    }
    HtmlTable table("Peak uptake", columns);
    const auto row = [&](const std::string& title, const std::function<std::string(const Peak&)>& cell) {
        std::vector<std::string> cells{html(title)};
        std::ranges::transform(peaks, std::back_inserter(cells), cell);
        table.row(cells);
    };
    const auto number_row = [&](const std::string& title, std::string_view name, Number Peak::* member) {
        std::size_t i = 0;
        row(title, [&](const Peak& peak) {
            return quantity(peak.*member, fmt::format("{}/metrics/peaks/{}/{}", at, i++, name));
        });
    };
    number_row("Per kilogram", "uptake_mg_per_kg_h", &Peak::uptake_mg_per_kg_h);
    number_row("Whole animal", "uptake_mg_per_h", &Peak::uptake_mg_per_h);
    number_row("As found", "steepest", &Peak::steepest);
    number_row("Of it luck of the search, taken off", "selection_bias", &Peak::selection_bias);
    number_row("Mean of the first sealed spell", "whole_spell", &Peak::whole_spell);
    number_row("Window", "window_s", &Peak::window_s);
    number_row("Event to seal", "delay_to_seal_s", &Peak::delay_to_seal_s);
    number_row("Event to window", "delay_to_window_s", &Peak::delay_to_window_s);
    number_row("Air", "air_s", &Peak::air_s);
    number_row("Saturation at the window's start", "saturation_start_percent",
               &Peak::saturation_start_percent);
    number_row("Saturation at its end", "saturation_end_percent", &Peak::saturation_end_percent);
    number_row("Temperature", "temperature_celsius", &Peak::temperature_celsius);
    number_row("Error of the slope over the slope", "relative_slope_error", &Peak::relative_slope_error);
    row("Where", [](const Peak& peak) {
        return html(fmt::format("{}, spell {}, ", peak.stay, peak.spell)) + moment(peak.from);
    });
    row("Mark", peak_row_note);
    return std::move(table).take("");
}

std::string resting_tables(const Fish& fish, const std::string& at) {
    if (!fish.metrics.resting) {
        return "<p class=\"none\">No resting uptake: see what is missing below.</p>\n";
    }
    const Resting& rest = *fish.metrics.resting;
    const std::string here = at + "/metrics/resting";
    std::string text = fmt::format(
        "<p><strong>{}</strong>: {} (whole animal {}). {} Values count from {} after handling. {}</p>\n",
        html(rest.kind), quantity(rest.uptake_mg_per_kg_h, here + "/uptake_mg_per_kg_h"),
        quantity(rest.uptake_mg_per_h, here + "/uptake_mg_per_h"), html(whole_sentence(rest.rule)),
        quantity(rest.cut_off_hours), html(whole_sentence(rest.cut_off_reason)));
    const auto spread = [](const EstimatorSpread& each) {
        return each.low.has_value() && each.high.has_value()
                   ? fmt::format("{} to {} {} over {}", bare_text_of(each.low), bare_text_of(each.high),
                                 html(shown_unit(each.high.unit)), html(each.of))
                   : std::string();
    };
    if (rest.family_spread.low.has_value()) {
        text += fmt::format("<p>Choice of estimator: {}; {}. That choice is not an error of measurement and "
                            "stands in no ± and no interval here.</p>\n",
                            spread(rest.family_spread), spread(rest.all_spread));
    }
    const std::string cautions = joined(rest.reasons);
    if (!cautions.empty()) {
        text += fmt::format("<p class=\"note\">{}</p>\n", html(cautions));
    }
    HtmlTable table("Resting uptake by every estimator",
                    {"Estimator", "As computed", "Corrected for noise", "Values", "Picked"});
    for (std::size_t i = 0; i < rest.estimates.size(); ++i) {
        const RestingEstimate& each = rest.estimates[i];
        const std::string row = fmt::format("{}/estimates/{}", here, i);
        table.row({html(each.title), quantity(each.raw, row + "/raw"),
                   quantity(each.corrected, row + "/corrected"), fmt::format("{}", each.values),
                   each.is_picked ? "picked by the rule" : ""});
    }
    return text + std::move(table).take("No estimator could be computed.");
}

std::string scope_table(const Fish& fish, const std::string& at) {
    HtmlTable table("Aerobic scope", {"Scope", "Absolute", "Factorial", "Adjusted, absolute",
                                      "Adjusted, factorial", "Peak less rest, temperature", "Remarks"});
    for (std::size_t i = 0; i < fish.metrics.scopes.size(); ++i) {
        const Scope& each = fish.metrics.scopes[i];
        const std::string here = fmt::format("{}/metrics/scopes/{}", at, i);
        std::vector<std::string> remarks;
        for (const std::string& remark : {each.adjusted_how, joined(each.reasons)}) {
            if (!remark.empty()) {
                remarks.push_back(remark);
            }
        }
        table.row({html(each.peak_name + " over " + each.resting_name),
                   quantity(each.absolute, here + "/absolute"), quantity(each.factorial, here + "/factorial"),
                   quantity(each.adjusted_absolute, here + "/adjusted_absolute"),
                   quantity(each.adjusted_factorial, here + "/adjusted_factorial"),
                   quantity(each.temperature_difference_celsius), html(joined(remarks))});
    }
    return std::move(table).take("No scope: it needs a peak and a resting uptake.");
}

std::string recovery_table(const Recovery& recovery, const std::string& here) {
    const bool is_capture = recovery.after == "capture";
    HtmlTable table(fmt::format("Recovery after {}, from {} at {}", recovery.after,
                                spoken(recovery.time_zero),
                                recovery.time_zero_at ? shown_time(*recovery.time_zero_at) : "unknown time"),
                    {"Baseline", "Level", is_capture ? "Excess in the boat hour" : "Excess in the tube",
                     "Excess after transfer", is_capture ? "Capture plus handling" : "All",
                     "Recovered, by the data", "Recovered, by the fit"});
    for (std::size_t i = 0; i < recovery.baselines.size(); ++i) {
        const BaselineVariant& each = recovery.baselines[i];
        const std::string row = fmt::format("{}/baselines/{}", here, i);
        table.row({html(each.title) + (each.is_headline ? " <em>(headline)</em>" : ""),
                   quantity(each.level, row + "/level"),
                   quantity(each.excess_boat_hour, row + "/excess_boat_hour"),
                   quantity(each.excess_after_transfer, row + "/excess_after_transfer"),
                   quantity(each.capture_plus_handling, row + "/capture_plus_handling"),
                   quantity(each.hours_by_data, row + "/hours_by_data"),
                   quantity(each.hours_by_fit, row + "/hours_by_fit")});
    }
    std::string text = std::move(table).take("No baseline to measure recovery from.");
    text += "<p>";
    text += recovery.fit.reason.empty()
                ? fmt::format("Fitted decay: {}. Half-time {}. ", html(recovery.fit.formula),
                              quantity(recovery.fit.half_time_h, here + "/fit/half_time_h"))
                : fmt::format("No decay fitted: {}. ", html(recovery.fit.reason));
    for (std::size_t i = 0; i < recovery.sensitivity.size(); ++i) {
        const DecayFit& each = recovery.sensitivity[i];
        text +=
            fmt::format("{}: {}. ", html(sentence(each.title)),
                        each.reason.empty()
                            ? "half-time " + quantity(each.half_time_h,
                                                      fmt::format("{}/sensitivity/{}/half_time_h", here, i))
                            : html(each.reason));
    }
    text += "In brackets, the 95 % interval of the hours: mostly, how far rest at that hour may lie from the "
            "level, which was measured at others, and what recovery was left in it. \"Or more\": no upper "
            "limit is known.";
    const std::string reasons = joined(recovery.reasons);
    return text + "</p>\n" +
           (reasons.empty() ? "" : fmt::format("<p class=\"note\">{}</p>\n", html(reasons)));
}

const Peak* peak_after(const Fish& fish, std::string_view after) {
    const auto found = std::ranges::find(fish.metrics.peaks, after, &Peak::after);
    return found != fish.metrics.peaks.end() ? &*found : nullptr;
}

std::string pair_table(const Fish& fish, const std::string& at) {
    if (!fish.metrics.pair) {
        return "";
    }
    const PairedPeaks& pair = *fish.metrics.pair;
    const std::string here = at + "/metrics/pair";
    if (!pair.missing.empty()) {
        return fmt::format("<p class=\"none\">No pair of peaks: {}</p>\n", html(pair.missing));
    }
    HtmlTable table("Peak after capture and after chase, side by side: a comparison of protocols",
                    {"", "After capture", "After chase", "Capture less chase", "95 % interval",
                     "Capture over chase", "95 % interval (log scale)"});
    table.row({"As measured", quantity(pair.after_capture, here + "/after_capture"),
               quantity(pair.after_chase, here + "/after_chase"),
               quantity(pair.difference, here + "/difference"), interval_of(pair.difference),
               quantity(pair.ratio, here + "/ratio"), interval_of(pair.ratio)});
    if (pair.chase_adjusted.has_value()) {
        table.row({"Chase brought to the temperature at capture", quantity(pair.after_capture),
                   quantity(pair.chase_adjusted, here + "/chase_adjusted"), "", "",
                   quantity(pair.ratio_adjusted, here + "/ratio_adjusted"), ""});
    }
    std::string text = std::move(table).take("") + "<p>What else differed between the two:</p><ul>";
    for (const std::string& each : pair.differences) {
        text += fmt::format("<li>{}</li>", html(shown_unit(each)));
    }
    text += "</ul>\n";
    const std::string reasons = joined(pair.reasons);
    return reasons.empty() ? text
                           : text + fmt::format("<p class=\"note\">{}</p>\n", html(shown_unit(reasons)));
}

/// All pairs of the study, a row per fish.
std::string pairs_table(const Results& results) {
    HtmlTable table("Peak after capture and after chase, fish by fish",
                    {"Fish", "Group", "After capture", "After chase", "Capture less chase", "95 % interval",
                     "Capture over chase", "95 % interval", "Hours between",
                     "Capture less chase, temperature", "Tubes"});
    std::size_t pairs = 0;
    for (std::size_t i = 0; i < results.fish.size(); ++i) {
        const Fish& fish = results.fish[i];
        if (!fish.metrics.pair || !fish.metrics.pair->missing.empty()) {
            continue;
        }
        ++pairs;
        const PairedPeaks& pair = *fish.metrics.pair;
        const std::string here = fmt::format("/fish/{}/metrics/pair", i);
        const auto tube = [&](std::string_view after) {
            const Peak* peak = peak_after(fish, after);
            if (peak == nullptr) {
                return std::string();
            }
            const auto stay = std::ranges::find(fish.stays, peak->stay, &Stay::id);
            return stay != fish.stays.end() ? stay->assembly : std::string();
        };
        table.row({fmt::format("<a href=\"#{}\">{}</a>", anchor(i), html(fish.id)),
                   group_sign(results, fish.group), quantity(pair.after_capture, here + "/after_capture"),
                   quantity(pair.after_chase, here + "/after_chase"),
                   quantity(pair.difference, here + "/difference"), interval_of(pair.difference),
                   quantity(pair.ratio, here + "/ratio"), interval_of(pair.ratio),
                   quantity(pair.hours_between), quantity(pair.temperature_difference_celsius),
                   html(tube("capture") + ", " + tube("chase"))});
    }
    return pairs == 0
               ? ""
               : folded("Peak after capture and after chase, fish by fish", pairs, std::move(table).take(""));
}

std::string events_table(const Fish& fish) {
    HtmlTable table("Events", {"Event", "When (UTC)", "Sure to", "Hours", "Stay", "Value", "By", "Note"});
    for (const Event& each : fish.events) {
        table.row({html(spoken(each.word)), moment(each.at), quantity(each.at_uncertainty_s),
                   each.hours ? html(fixed_text(std::abs(*each.hours) < 0.005 ? 0.0 : *each.hours, 2)) : "",
                   html(each.stay), each.value ? quantity(*each.value) : "", html(each.who),
                   html(each.note)});
    }
    return std::move(table).take("No event was recorded.");
}

std::string stays_table(const Fish& fish, const std::string& at) {
    HtmlTable table("Stays", {"Stay", "Chamber", "From", "To", "Ended", "Sealed spells", "States known from",
                              "Background", "Share of background", "Remarks"});
    for (std::size_t i = 0; i < fish.stays.size(); ++i) {
        const Stay& stay = fish.stays[i];
        std::vector<std::string> remarks = stay.notes;
        remarks.insert(remarks.end(), stay.background.notes.begin(), stay.background.notes.end());
        if (!stay.unanswered.empty()) {
            remarks.insert(remarks.begin(), stay.unanswered);
        }
        table.row({html(stay.id), html(stay.assembly), moment(stay.from), moment(stay.to),
                   html(stay.ending.word), fmt::format("{}", stay.spells.size()), html(stay.states_from),
                   html(stay.background.how),
                   quantity(stay.background.share_of_uptake,
                            fmt::format("{}/stays/{}/background/share_of_uptake", at, i)),
                   html(joined(remarks))});
    }
    return std::move(table).take("The fish was in no chamber.");
}

std::string missing_list(const Fish& fish) {
    std::string text;
    for (const NamedText& each : fish.metrics.missing) {
        text += fmt::format("<li>{}: {}</li>", html(each.name), html(each.text));
    }
    for (const uptake::Reason& each : fish.metrics.implausible) {
        text += fmt::format("<li>outside the plausible bounds: {}</li>", html(each.text));
    }
    for (const std::string& note : fish.notes) {
        text += fmt::format("<li>{}</li>", html(note));
    }
    return text.empty() ? "" : "<ul class=\"missing\">" + text + "</ul>\n";
}

std::string fish_figures(const Fish& fish, std::size_t index) {
    const std::string i = fmt::format("{}", index);
    std::string text = "<div class=\"figures\">\n";
    text += figure("uptake-through-time", "Uptake through time, with events; a point per sealed spell.",
                   {{"fish", i}});
    for (std::size_t s = 0; s < fish.stays.size(); ++s) {
        text +=
            figure("trace", fmt::format("Oxygen in {}, stay {}.", fish.stays[s].assembly, fish.stays[s].id),
                   {{"fish", i}, {"stay", fmt::format("{}", s)}});
    }
    for (std::size_t p = 0; p < fish.metrics.peaks.size(); ++p) {
        text +=
            figure("peak-against-window",
                   fmt::format("{} against the length of the window.", sentence(fish.metrics.peaks[p].name)),
                   {{"fish", i}, {"peak", fmt::format("{}", p)}});
    }
    if (fish.metrics.resting) {
        text += figure("resting-distribution",
                       "Uptake at rest: every value, the fitted normals, every estimator.", {{"fish", i}});
        text += figure("cut-off", "Resting uptake against the hour from which values count.", {{"fish", i}});
    }
    for (std::size_t r = 0; r < fish.metrics.recoveries.size(); ++r) {
        text += figure("recovery",
                       fmt::format("Recovery after {}, the excess shaded.", fish.metrics.recoveries[r].after),
                       {{"fish", i}, {"recovery", fmt::format("{}", r)}});
    }
    text += figure("uncertainty-shares", "Where the uncertainty comes from (shares of the variance).",
                   {{"fish", i}});
    return text + "</div>\n";
}

std::string fish_page(const Results& results, std::size_t index) {
    const Fish& fish = results.fish[index];
    const std::string at = fmt::format("/fish/{}", index);
    std::string text = fmt::format("<article class=\"fish\" id=\"{}\" tabindex=\"-1\"><h3>{}</h3>\n",
                                   anchor(index), html(fish.id));
    text += fish_facts(results, fish, at);
    text += missing_list(fish);
    text += fish_figures(fish, index);
    text += peaks_table(fish, at) + resting_tables(fish, at) + scope_table(fish, at);
    for (std::size_t r = 0; r < fish.metrics.recoveries.size(); ++r) {
        text += recovery_table(fish.metrics.recoveries[r], fmt::format("{}/metrics/recoveries/{}", at, r));
    }
    text += pair_table(fish, at) + detail::condition_panel(results, index);
    text += events_table(fish) + stays_table(fish, at);
    return text + "</article>\n";
}

std::string fish_section(const Results& results) {
    std::string text = "<section id=\"fish\"><h2>Fish by fish</h2>\n" + fish_index(results);
    for (std::size_t i = 0; i < results.fish.size(); ++i) {
        text += fish_page(results, i);
    }
    return text + "</section>\n";
}

std::string spell_cell(const Exclusion& each) {
    if (each.spell != 0) {
        return fmt::format("{}", each.spell);
    }
    return each.moment ? "gave no line" : "whole stay";
}

std::string decisions_table(const Results& results) {
    HtmlTable table("Decisions made by hand",
                    {"Fish", "Stay", "Spell", "Moment", "Act", "Reasons", "By", "Decided"});
    for (const Exclusion& each : results.exclusions) {
        if (each.by == ExcludedBy::human) {
            table.row({html(each.fish), html(each.stay), spell_cell(each), moment(each.moment),
                       html(each.act), html(joined(each.reasons)), html(each.author), moment(each.decided)});
        }
    }
    return std::move(table).take(
        "No decision was made by hand: the headline numbers are the program's alone.");
}

/// By what counted most against it: the reason's word, "after_the_last_good_moment" as people say it.
std::string group_of_reasons(const Exclusion& each) {
    // Several reasons: the one that alone sets a spell aside comes last, after those that only make it
    // doubtful.
    return each.reasons.empty() ? "no reason" : spoken(each.reasons.back().word);
}

std::string automatic_list(const Results& results) {
    std::vector<std::string> groups;
    std::size_t all = 0;
    for (const Exclusion& each : results.exclusions) {
        if (each.by == ExcludedBy::automatic) {
            ++all;
            if (std::ranges::find(groups, group_of_reasons(each)) == groups.end()) {
                groups.push_back(group_of_reasons(each));
            }
        }
    }
    if (all == 0) {
        return "<p class=\"none\">Nothing was set aside by rule.</p>\n";
    }
    std::string text =
        fmt::format("<h3>Set aside by rule</h3>\n<p>{} sealed spells of fish and blanks, by what set "
                    "them aside; a decision made by hand can take in again those that gave a line.</p>\n",
                    all);
    for (const std::string& group : groups) {
        HtmlTable table(sentence(group), {"Fish", "Stay", "Spell", "Moment", "Reasons"});
        std::size_t count = 0;
        for (const Exclusion& each : results.exclusions) {
            if (each.by == ExcludedBy::automatic && group_of_reasons(each) == group) {
                table.row({each.fish.empty() ? "blank" : html(each.fish), html(each.stay), spell_cell(each),
                           moment(each.moment), html(joined(each.reasons))});
                ++count;
            }
        }
        text += folded(sentence(group), count, std::move(table).take(""));
    }
    return text;
}

std::string with_and_without(const Results& results) {
    HtmlTable table("Headline numbers with and without the decisions made by hand",
                    {"Group", "With", "95 % interval", "Fish", "Without", "95 % interval", "Fish"});
    for (std::size_t i = 0; i < results.headlines.size(); ++i) {
        const Headline& each = results.headlines[i];
        table.title(sentence(each.title));
        table.row({each.group.empty() ? "all" : group_sign(results, each.group),
                   quantity(each.mean, fmt::format("/headlines/{}/mean", i)), interval_of(each.mean),
                   fmt::format("{}", each.fish),
                   quantity(each.mean_without_human, fmt::format("/headlines/{}/mean_without_human", i)),
                   interval_of(each.mean_without_human), fmt::format("{}", each.fish_without_human)});
    }
    return std::move(table).take("There are no headline numbers.");
}

std::string exclusions_section(const Results& results) {
    const bool has_human = std::ranges::any_of(
        results.exclusions, [](const Exclusion& each) { return each.by == ExcludedBy::human; });
    return "<section id=\"exclusions\"><h2>Exclusions</h2>\n" + decisions_table(results) +
           (has_human ? with_and_without(results) : "") + automatic_list(results) + "</section>\n";
}

std::string methods_section(const Results& results) {
    std::string text = "<section id=\"methods\"><h2>Methods</h2>\n";
    for (const Paragraph& each : methods_text(results)) {
        text += fmt::format("<h3>{}</h3><p>{}</p>\n", html(each.title), html(each.text));
    }
    return text + "</section>\n";
}

std::string checklist_section(const Results& results) {
    const auto rows = checklist(results);
    const auto open = std::ranges::count(rows, AnswerState::unanswered, &ChecklistRow::state);
    std::string text = fmt::format(
        "<section id=\"checklist\"><h2>Reporting checklist</h2>\n<p>Content after Killen and "
        "others (2021), J Exp Biol "
        "224, jeb242522, in our words. Their count, order and numbers are from memory and were not "
        "compared with the paper's table 1: a number here is a help to find the row, not a "
        "reference. {} of {} rows are unanswered; the brief answers them under [report.answers], by "
        "the word in the second column.</p>\n",
        open, rows.size());
    HtmlTable table("Criteria",
                    {"Criterion", "Word", "Number, unconfirmed", "State", "Answer", "Filled from"});
    for (const ChecklistRow& each : rows) {
        table.title(each.section);
        table.row(
            {html(each.criterion), "<code>" + html(each.word) + "</code>",
             each.number ? fmt::format("{}?", *each.number) : "ours",
             fmt::format("<span class=\"state state-{0}\">{1}</span>", word_of(each.state),
                         each.state == AnswerState::not_applicable ? "not applicable" : word_of(each.state)),
             html(each.answer), html(each.filled_from)});
    }
    return text + std::move(table).take("") + "</section>\n";
}

std::string settings_section(const Results& results) {
    HtmlTable table("Every setting of the run", {"Setting", "Value", "Unit", "Default", "Why this default"});
    for (const Setting& each : results.settings) {
        const std::string value =
            each.is_default ? html(each.value) : "<strong>" + html(each.value) + "</strong>";
        table.title(each.section);
        table.row({html(each.key), value, html(each.unit), html(each.default_value), html(each.why)});
    }
    return "<section id=\"settings\"><h2>Settings</h2>\n<p>Bold: not the default.</p>\n" +
           std::move(table).take("No settings were recorded.") + "</section>\n";
}

std::string inputs_table(const Results& results) {
    HtmlTable table("Inputs",
                    {"File", "Kind", "SHA-256", "Bytes", "What was understood", "Rows kept", "Rows refused"});
    for (const Input& each : results.inputs) {
        std::string refused = each.rows_refused ? fmt::format("{}", *each.rows_refused) : "";
        for (const RefusedRow& row : each.refused) {
            refused +=
                fmt::format("<br>line {}: {}: <code>{}</code>", row.line, html(row.reason), html(row.raw));
        }
        table.row({html(each.path), html(each.kind), "<code class=\"hash\">" + html(each.sha256) + "</code>",
                   fmt::format("{}", each.bytes), html(joined(each.understood)),
                   each.rows_kept ? fmt::format("{}", *each.rows_kept) : "", refused});
    }
    return std::move(table).take("No inputs were recorded.");
}

std::string sensors_table(const Results& results) {
    HtmlTable table("Sensors", {"Sensor", "In", "Every", "Lag", "White noise", "Correlated noise",
                                "Correlation time", "Estimated from", "Drift", "Note"});
    for (std::size_t i = 0; i < results.sensors.size(); ++i) {
        const Sensor& each = results.sensors[i];
        const std::string at = fmt::format("/sensors/{}", i);
        table.row({html(each.name), html(joined(each.assemblies, ", ")), quantity(each.sampling_interval_s),
                   quantity(each.lag_s),
                   quantity(each.noise.white_sd_mg_per_l, at + "/noise/white_sd_mg_per_l"),
                   quantity(each.noise.autoregressive_sd_mg_per_l, at + "/noise/autoregressive_sd_mg_per_l"),
                   quantity(each.noise.correlation_time_s, at + "/noise/correlation_time_s"),
                   html(each.noise.from), quantity(each.drift, at + "/drift"), html(each.note)});
    }
    return std::move(table).take("No sensor was described.");
}

std::string calibrations_table(const Results& results) {
    HtmlTable table("Calibrations", {"Sensor", "When", "Point", "Reading", "Temperature", "Pressure",
                                     "Salinity", "By", "Note"});
    for (const Sensor& sensor : results.sensors) {
        for (const Calibration& each : sensor.calibrations) {
            table.row({html(sensor.name), moment(each.at), html(each.point), quantity(each.reading),
                       quantity(each.temperature_celsius), quantity(each.pressure_kpa),
                       quantity(each.salinity), html(each.who), html(each.note)});
        }
    }
    return std::move(table).take("No calibration was recorded.");
}

std::string clocks_table(const Results& results) {
    HtmlTable table("Clocks",
                    {"Clock", "Checks", "Shown less true", "Drift per day", "Left uncertain", "Note"});
    for (const Clock& each : results.clocks) {
        table.row({html(each.name), fmt::format("{}", each.checks.size()), quantity(each.offset_s),
                   quantity(each.drift_s_per_day), quantity(each.remaining_s), html(each.note)});
    }
    return std::move(table).take("No clock was described.");
}

std::string assemblies_table(const Results& results) {
    HtmlTable table("Assemblies", {"Assembly", "From", "To", "Chamber", "Loop", "Flush flow", "Sensor",
                                   "Channels", "Mixing time", "Note"});
    for (const Assembly& each : results.assemblies) {
        table.row({html(each.name), moment(each.from), moment(each.to), quantity(each.chamber_volume_l),
                   quantity(each.loop_volume_l), quantity(each.flow_l_per_min), html(each.sensor),
                   html(each.channels), quantity(each.mixing_s), html(each.note)});
    }
    return std::move(table).take("No assembly was described.");
}

std::string blanks_table(const Results& results) {
    HtmlTable table("Blanks: chambers without a fish",
                    {"Stay", "Chamber", "From", "To", "Sealed spells", "Remarks"});
    for (const Stay& each : results.blanks) {
        table.row({html(each.id), html(each.assembly), moment(each.from), moment(each.to),
                   fmt::format("{}", each.spells.size()), html(joined(each.notes))});
    }
    return std::move(table).take("No blank was run.");
}

std::string provenance_section(const Results& results) {
    const Water& water = results.water;
    std::string text = "<section id=\"provenance\"><h2>Provenance</h2>\n";
    text += fmt::format("<p>{} {}; results document {}. Water: salinity {} ({}); pressure {} ({}). {}</p>\n",
                        html(results.study.program), html(results.study.program_version), schema_version,
                        quantity(water.salinity, "/water/salinity"), html(water.salinity_from),
                        quantity(water.pressure_kpa, "/water/pressure_kpa"), html(water.pressure_from),
                        html(joined(water.assumptions)));
    std::size_t calibrations = 0;
    for (const Sensor& sensor : results.sensors) {
        calibrations += sensor.calibrations.size();
    }
    return text + folded("Inputs", results.inputs.size(), inputs_table(results)) + clocks_table(results) +
           assemblies_table(results) + sensors_table(results) +
           folded("Calibrations", calibrations, calibrations_table(results)) +
           folded("Blanks", results.blanks.size(), blanks_table(results)) + "</section>\n";
}

std::string complaints_section(const Results& results) {
    HtmlTable table("What the program found fault with", {"Where", "Weight", "Complaint"});
    for (const Complaint& each : results.complaints) {
        const std::string where = each.file + (each.line ? fmt::format(", line {}", *each.line) : "") +
                                  (each.column.empty() ? "" : ", " + each.column);
        table.row({html(where), html(each.severity), html(each.text)});
    }
    return "<section id=\"complaints\"><h2>Complaints</h2>\n" + std::move(table).take("None.") +
           "</section>\n";
}

std::string cautions_section() {
    std::string text = "<section id=\"cautions\"><h2>Cautions</h2>\n<ul>";
    for (const std::string& each : cautions()) {
        text += "<li>" + html(each) + "</li>";
    }
    return text + "</ul></section>\n";
}

// ---------------------------------------------------------------- the document

std::string bytes_of_hex(std::string_view hex) {
    const auto digit = [](char c) { return static_cast<unsigned>(c <= '9' ? c - '0' : c - 'a' + 10); };
    std::string bytes;
    for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
        bytes += static_cast<char>(digit(hex[i]) * 16U + digit(hex[i + 1]));
    }
    return bytes;
}

std::string head(const Results& results) {
    const std::string policy = fmt::format("default-src 'none'; style-src 'unsafe-inline'; img-src data: "
                                           "blob:; script-src 'sha256-{}'; base-uri 'none'; "
                                           "form-action 'none'",
                                           detail::base64(bytes_of_hex(sha256_hex(bundle_script()))));
    return fmt::format(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"{}\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
        "<meta name=\"color-scheme\" content=\"light dark\">\n<meta name=\"generator\" content=\"{} {}\">\n"
        "<title>{}</title>\n<style>{}</style>\n</head>\n",
        policy, html(results.study.program), html(results.study.program_version),
        html(results.study.title.empty() ? "Untitled study" : results.study.title), bundle_style());
}

} // namespace

std::string report_page(const Results& results) {
    std::string text = head(results);
    text += "<body>\n" + title_block(results) + contents(results) + "<main>\n";
    text += headline_section(results) + detail::findings_section(results) + accounting_section(results) +
            study_section(results) + detail::condition_section(results) + fish_section(results) +
            detail::plates_section(results);
    text += exclusions_section(results) + methods_section(results) + checklist_section(results);
    text += settings_section(results) + provenance_section(results) + complaints_section(results) +
            cautions_section();
    text += "</main>\n<script type=\"application/json\" id=\"results\">" + json_text(results, Detail::drawn) +
            "</script>\n<script>";
    text += bundle_script();
    return text + "</script>\n</body>\n</html>\n";
}

} // namespace backeddy::report
