#include "report/detail/page_condition.hpp"

#include <algorithm>
#include <iterator>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "report/detail/condition_parts.hpp"
#include "report/detail/html_parts.hpp"
#include "report/detail/page_parts.hpp"

namespace backeddy::report::detail {

namespace {

std::string note_lines(const std::vector<std::string>& texts) {
    std::string out;
    for (const std::string& text : texts) {
        out += fmt::format("<p class=\"note\">{}</p>\n", html(text));
    }
    return out;
}

/// "20 to 40 %"; one number where both are the same.
std::string from_to(const Number& low, const Number& high) {
    return low.value == high.value ? quantity(high)
                                   : fmt::format("<span class=\"quantity\">{} to {}</span>",
                                                 html(bare_text_of(low)), html(text_of(high)));
}

// ---------------------------------------------------------------- the timeline

struct Happening {
    Instant at;
    std::string what;
};

void add_looks(std::vector<Happening>& all, const std::vector<ScoredLook>& looks, std::string_view what) {
    for (const ScoredLook& look : looks) {
        if (look.at) {
            all.push_back({*look.at, fmt::format("{} scored, {}{}", what, spoken(look.occasion),
                                                 look.scorer.empty() ? "" : ", by " + look.scorer)});
        }
    }
}

void add_fate(std::vector<Happening>& all, const KnownFate& fate) {
    const auto add = [&](const std::optional<Instant>& at, const std::string& what) {
        const auto is_same = [&](const Happening& each) { return each.at == *at && each.what == what; };
        if (at && std::ranges::none_of(all, is_same)) {
            all.push_back({*at, what});
        }
    };
    add(fate.released, "released");
    add(fate.last_alive, "last known alive");
    add(fate.lost, "missed: lost to follow-up");
    add(fate.found_dead, "found dead");
}

/// Everything that has a moment, in order; a draw's event stands as the draw.
std::vector<Happening> happenings(const Fish& fish) {
    std::vector<Happening> all;
    const auto& draws = fish.condition.draws;
    for (const Event& event : fish.events) {
        const bool is_draw =
            event.word == "blood" && std::ranges::find(draws, event.at, &BloodDraw::at) != draws.end();
        if (event.at && !is_draw) {
            all.push_back({*event.at, spoken(event.word)});
        }
    }
    for (const BloodDraw& draw : draws) {
        if (draw.at) {
            all.push_back({*draw.at, draw.volume_ml.has_value()
                                         ? "blood drawn: " + text_of(draw.volume_ml)
                                         : fmt::format("sample taken ({})", draw.volume_ml.reason)});
        }
    }
    add_looks(all, fish.condition.fins, "fins");
    add_looks(all, fish.condition.body, "body");
    for (const ReflexLook& look : fish.condition.reflexes) {
        if (look.at) {
            all.push_back({*look.at, "reflexes tested"});
        }
    }
    if (fish.condition.fate) {
        add_fate(all, *fish.condition.fate);
    }
    std::ranges::stable_sort(all, {}, &Happening::at);
    return all;
}

std::string timeline(const Fish& fish) {
    const auto hook_up = std::ranges::find(fish.events, "hook_up", &Event::word);
    const bool is_hooked = hook_up != fish.events.end() && hook_up->at;
    const std::optional<Instant> zero = is_hooked ? hook_up->at : fish.time_zero;
    const std::string since = is_hooked ? "hook-up" : spoken(fish.time_zero_word);
    const std::string title = zero ? "Capture timeline, minutes since " + since : "Capture timeline";
    HtmlTable table(title, {"When (UTC)", "Minutes", "What"});
    const auto all = happenings(fish);
    for (const Happening& each : all) {
        table.row(
            {moment(each.at),
             zero ? "<span class=\"quantity\">" + fixed_text((each.at - *zero).minutes(), 1) + "</span>" : "",
             html(sentence(each.what))});
    }
    return all.empty() ? "" : folded(title, all.size(), std::move(table).take(""));
}

// ---------------------------------------------------------------- blood

std::string draw_title(const BloodDraw& draw) {
    std::string text = draw.at ? "Drawn " + shown_time(*draw.at) : std::string("Drawn at an unknown time");
    const auto since = [&](const Number& minutes, std::string_view what) {
        if (minutes.has_value()) {
            text += fmt::format(", {} after {}", text_of(minutes), what);
        }
    };
    since(draw.since_hook_up_min, "hook-up");
    since(draw.since_sealed_min, "sealing");
    return draw.who.empty() ? text : text + ", by " + draw.who;
}

std::string ceiling_words(const BloodDraw& draw) {
    if (!draw.ceiling_ml_per_kg.has_value()) {
        return "<span class=\"none\">" + html(text_of(draw.ceiling_ml_per_kg)) + "</span>";
    }
    return quantity(draw.ceiling_ml_per_kg) + (!draw.is_over_ceiling ? " (whether it is within is not known)"
                                               : *draw.is_over_ceiling ? " <strong>over the ceiling</strong>"
                                                                       : " (within)");
}

std::string volumes_table(const std::vector<BloodDraw>& draws, const std::string& at) {
    HtmlTable table("Blood drawn, against the permit's ceiling",
                    {"Draw", "Volume", "Per kilogram", "With the draws before it", "Ceiling", "Remarks"});
    for (std::size_t d = 0; d < draws.size(); ++d) {
        const BloodDraw& draw = draws[d];
        const std::string here = fmt::format("{}/draws/{}", at, d);
        table.row({html(draw_title(draw)), quantity(draw.volume_ml, here + "/volume_ml"),
                   quantity(draw.ml_per_kg, here + "/ml_per_kg"),
                   quantity(draw.drawn_ml_per_kg, here + "/drawn_ml_per_kg"), ceiling_words(draw),
                   html(joined(draw.notes))});
    }
    return std::move(table).take("");
}

/// "0.2 to 25 mmol/L", and in words on which side of it the value lies.
std::string range_cell(const BloodValue& value) {
    if (!value.range_low.has_value() || !value.range_high.has_value()) {
        return quantity(value.range_low);
    }
    return fmt::format("<span class=\"quantity\">{} to {}</span>{}", html(bare_text_of(value.range_low)),
                       html(text_of(value.range_high)),
                       value.is_outside_range ? ": <strong>outside</strong>" : "");
}

/// What the whole draw shares stands at its first value.
std::string remarks_of(const BloodValue& value, bool is_haemolysis_told) {
    std::vector<std::string> all;
    const auto add = [&](std::string_view what, const std::string& text) {
        if (!text.empty()) {
            all.push_back(std::string(what) + text);
        }
    };
    add("written as ", value.as_written);
    add("", value.device);
    add("haemolysis: ", is_haemolysis_told ? std::string() : value.haemolysis);
    add("look at it before it is used: ", joined(value.doubts));
    std::ranges::copy_if(value.notes, std::back_inserter(all), [&](const std::string& note) {
        return std::ranges::find(value.doubts, note) == value.doubts.end();
    });
    return joined(all);
}

std::string values_table(const std::vector<BloodDraw>& draws, const std::string& at) {
    HtmlTable table("What was measured; a limit is no value and stays a limit",
                    {"Analyte", "In", "Value, 95 % interval", "Published range", "Comes from", "Remarks"});
    for (std::size_t d = 0; d < draws.size(); ++d) {
        for (std::size_t v = 0; v < draws[d].values.size(); ++v) {
            const BloodValue& value = draws[d].values[v];
            const std::string here = fmt::format("{}/draws/{}/values/{}/value", at, d, v);
            const bool is_told = v > 0 && draws[d].values[v - 1].haemolysis == value.haemolysis;
            table.title(draw_title(draws[d]) +
                        (draws[d].is_first_after_event ? ": the first after the event" : ""));
            table.row({html(sentence(value.analyte)), html(spoken(value.matrix)),
                       quantity_with_interval(value.value, here), range_cell(value), html(value.from),
                       html(remarks_of(value, is_told))});
        }
    }
    return std::move(table).take("Nothing was measured in it.");
}

/// Each source once.
std::string range_sources(const std::vector<BloodDraw>& draws) {
    std::vector<std::string> all;
    for (const BloodDraw& draw : draws) {
        for (const BloodValue& value : draw.values) {
            const std::string source = fmt::format("{}: {}", value.analyte, value.range_source);
            if (!value.range_source.empty() && std::ranges::find(all, source) == all.end()) {
                all.push_back(source);
            }
        }
    }
    return all.empty() ? ""
                       : fmt::format("<p>Published ranges, from rest to exhaustion, to look by and not to "
                                     "judge by: {}.</p>\n",
                                     html(joined(all)));
}

/// A covariate of a peak: what was drawn before it.
std::string bled_before(const FishCondition& condition, const std::string& at) {
    std::vector<std::string> all;
    for (std::size_t i = 0; i < condition.bled_before.size(); ++i) {
        const NamedNumber& each = condition.bled_before[i];
        all.push_back(html(each.title) + ": " +
                      quantity(each.number, fmt::format("{}/bled_before/{}/number", at, i)));
    }
    return all.empty() ? "" : fmt::format("<p>{}.</p>\n", sentence(joined(all)));
}

std::string blood_part(const FishCondition& condition, const std::string& at) {
    return condition.draws.empty() ? ""
                                   : volumes_table(condition.draws, at) + bled_before(condition, at) +
                                         values_table(condition.draws, at) + range_sources(condition.draws);
}

// ---------------------------------------------------------------- fins, body, reflexes

std::string place_cell(const ScoredLook& look, const std::string& word) {
    const auto found = std::ranges::find(look.places, word, &ScoredPlace::word);
    if (found == look.places.end() || (!found->level && found->marks.empty())) {
        return "<span class=\"none\">not scored</span>";
    }
    const std::string level =
        found->level ? fmt::format("{} {}", *found->level, found->level_word) : "level not scored";
    return html(found->marks.empty() ? level : level + " (" + joined(found->marks, ", ") + ")");
}

/// A row per place, a column per look: occasions and scorers stand side by side.
std::string looks_table(const std::vector<ScoredLook>& looks, const std::string& caption,
                        const std::string& at) {
    if (looks.empty()) {
        return "";
    }
    std::vector<std::string> columns{"Place"};
    std::vector<const ScoredPlace*> places;
    for (const ScoredLook& look : looks) {
        columns.push_back(sentence(spoken(look.occasion)) +
                          (look.scorer.empty() ? ", scorer not written down" : ", by " + look.scorer));
        for (const ScoredPlace& place : look.places) {
            if (std::ranges::find(places, place.word, [](const auto* p) { return p->word; }) ==
                places.end()) {
                places.push_back(&place);
            }
        }
    }
    HtmlTable table(caption, columns);
    const auto row = [&](const std::string& title, const auto& cell) {
        std::vector<std::string> cells{html(sentence(title))};
        for (std::size_t i = 0; i < looks.size(); ++i) {
            cells.push_back(cell(looks[i], fmt::format("{}/{}", at, i)));
        }
        table.row(cells);
    };
    for (const ScoredPlace* place : places) {
        row(place->title,
            [&](const ScoredLook& look, const std::string&) { return place_cell(look, place->word); });
    }
    row("Mean level",
        [](const ScoredLook& look, const std::string& here) { return quantity(look.mean, here + "/mean"); });
    row("Sum",
        [](const ScoredLook& look, const std::string& here) { return quantity(look.sum, here + "/sum"); });
    row("Worst", [](const ScoredLook& look, const std::string&) {
        return look.worst ? fmt::format("{}", *look.worst) : std::string();
    });
    row("When (UTC)", [](const ScoredLook& look, const std::string&) { return moment(look.at); });
    row("Missing", [](const ScoredLook& look, const std::string&) { return html(look.note); });
    return std::move(table).take("");
}

std::string test_cell(const ReflexLook& look, const std::string& name) {
    const auto found = std::ranges::find(look.tests, name, &NamedText::name);
    return found != look.tests.end() ? html(found->text) : "<span class=\"none\">not tested</span>";
}

std::string reflexes_table(const std::vector<ReflexLook>& looks, const std::string& at) {
    if (looks.empty()) {
        return "";
    }
    std::vector<std::string> columns{"Test"};
    std::vector<std::string> names;
    for (const ReflexLook& look : looks) {
        columns.push_back(look.at ? shown_time(*look.at) : "Time not written down");
        for (const NamedText& test : look.tests) {
            if (std::ranges::find(names, test.name) == names.end()) {
                names.push_back(test.name);
            }
        }
    }
    HtmlTable table("Reflexes; a test that was not done is neither there nor lost", columns);
    for (const std::string& name : names) {
        std::vector<std::string> cells{html(sentence(name))};
        std::ranges::transform(looks, std::back_inserter(cells),
                               [&](const ReflexLook& look) { return test_cell(look, name); });
        table.row(cells);
    }
    std::vector<std::string> lost{"Lost of those tested"};
    std::vector<std::string> can_be{"Of all, whatever the missing ones were"};
    for (std::size_t i = 0; i < looks.size(); ++i) {
        lost.push_back(
            quantity(looks[i].impaired_percent, fmt::format("{}/reflexes/{}/impaired_percent", at, i)));
        can_be.push_back(from_to(looks[i].can_be_low_percent, looks[i].can_be_high_percent));
    }
    table.row(lost);
    table.row(can_be);
    return std::move(table).take("");
}

// ---------------------------------------------------------------- handling and fate

std::string handling_table(const std::vector<HandlingTime>& times, const std::string& at) {
    HtmlTable table("Handling times, by the events and as typed",
                    {"Time", "By the events", "Typed", "Do they agree"});
    for (std::size_t i = 0; i < times.size(); ++i) {
        const HandlingTime& each = times[i];
        const std::string here = fmt::format("{}/handling/{}", at, i);
        const bool has_both = each.by_events.has_value() && each.typed.has_value();
        const std::string verdict = each.disagreement.empty()
                                        ? (has_both ? std::string("within their uncertainty") : "")
                                        : "<strong>no</strong>: " + html(each.disagreement);
        table.row({html(sentence(each.title)), quantity(each.by_events, here + "/by_events"),
                   quantity(each.typed, here + "/typed"), verdict});
    }
    return times.empty() ? "" : std::move(table).take("");
}

/// What is known, as a sentence: a death lies between two looks and is kept so.
std::string fate_words(const KnownFate& fate) {
    const std::string alive = fate.last_alive ? "last known alive " + shown_time(*fate.last_alive)
                                              : "no record says when it was last alive";
    if (fate.ending == "dead") {
        if (!fate.found_dead) {
            return "Dead, " + alive;
        }
        return fate.found_dead == fate.last_alive ? "Seen to die " + shown_time(*fate.found_dead)
                                                  : fmt::format("Found dead {}, {}: it died in between",
                                                                shown_time(*fate.found_dead), alive);
    }
    if (fate.ending == "lost") {
        return fmt::format("Lost to follow-up{}, {}", fate.lost ? " " + shown_time(*fate.lost) : "", alive);
    }
    return sentence(alive) + "; of the time after that nothing is known";
}

std::string fate_part(const KnownFate& fate) {
    std::string text = "<p><strong>Fate</strong>: " + html(fate_words(fate));
    const auto add = [&](std::string_view what, const std::string& value) {
        if (!value.empty()) {
            text += fmt::format("; {} {}", what, html(value));
        }
    };
    if (fate.released) {
        add("released", shown_time(*fate.released));
    }
    add("stage:", spoken(fate.stage));
    add("cause:", fate.cause);
    add("tags:", joined(fate.tags, ", "));
    return text + ".</p>\n" + note_lines(fate.doubts);
}

// ---------------------------------------------------------------- the study

std::string within_text(double hours) {
    return text_of(as_written(number(hours, "h")));
}

std::string scale_text(std::string_view what, const std::vector<std::string>& levels) {
    std::vector<std::string> words;
    for (std::size_t i = 0; i < levels.size(); ++i) {
        words.push_back(fmt::format("{} {}", i, levels[i]));
    }
    return words.empty()
               ? ""
               : fmt::format("<p>Levels of {}, by the brief: {}.</p>\n", what, html(joined(words, ", ")));
}

std::string analytes_table(const Results& results) {
    HtmlTable table("Blood at the first draw after the event; quantiles take a limit for what it is",
                    {"Group", "Fish", "Of them below a limit", "Above", "Median", "Lower quartile",
                     "Upper quartile", "Since hook-up, median"});
    const auto& all = results.condition.analytes;
    for (std::size_t i = 0; i < all.size(); ++i) {
        const AnalyteSummary& each = all[i];
        const std::string at = fmt::format("/condition/analytes/{}", i);
        table.title(sentence(each.analyte) + ", " + spoken(each.matrix));
        table.row({each.is_all          ? "all"
                   : each.group.empty() ? "in no group"
                                        : group_sign(results, each.group),
                   fmt::format("{}", each.fish), fmt::format("{}", each.below), fmt::format("{}", each.above),
                   quantity_with_interval(each.median, at + "/median"),
                   quantity_with_interval(each.lower_quartile, at + "/lower_quartile"),
                   quantity_with_interval(each.upper_quartile, at + "/upper_quartile"),
                   quantity(each.minutes_since_hook_up, at + "/minutes_since_hook_up")});
    }
    return all.empty() ? "" : std::move(table).take("");
}

std::string agreement_table(const StudyCondition& study) {
    HtmlTable table("Two scorers of the same fish",
                    {"Of", "Scorers", "Fish", "Places scored by both", "Same level",
                     "Weighted kappa, 95 % interval", "Remarks"});
    for (std::size_t i = 0; i < study.agreements.size(); ++i) {
        const ScorerAgreement& each = study.agreements[i];
        table.row({html(sentence(each.of)), html(each.first + ", " + each.second),
                   fmt::format("{}", each.fish), fmt::format("{}", each.pairs), fmt::format("{}", each.same),
                   quantity_with_interval(each.kappa, fmt::format("/condition/agreements/{}/kappa", i)),
                   html(each.note)});
    }
    return study.agreements.empty() ? "" : std::move(table).take("");
}

std::string mortality_table(const Results& results) {
    const auto& all = results.condition.mortality;
    HtmlTable table("Dead of those whose state is known, with exact 95 % limits",
                    {"Group", "Dead of known", "Share", "State not known",
                     "Share of all, whatever these were", "Added over the control",
                     "Times the share of the other group"});
    for (std::size_t i = 0; i < all.size(); ++i) {
        const MortalityRow& each = all[i];
        const std::string at = fmt::format("/condition/mortality/{}", i);
        table.title(sentence(fmt::format("within {} {}", within_text(each.horizon_h), each.from)));
        table.row({each.group.empty() ? "all" : group_sign(results, each.group),
                   fmt::format("{} of {}", each.dead, each.known),
                   quantity_with_interval(each.percent, at + "/percent"), fmt::format("{}", each.unknown),
                   from_to(each.can_be_low_percent, each.can_be_high_percent),
                   quantity_with_interval(each.corrected_percent, at + "/corrected_percent"),
                   quantity_with_interval(each.relative_risk, at + "/relative_risk")});
    }
    return all.empty() ? "" : std::move(table).take("");
}

std::string inter_assay_table(const StudyCondition& study) {
    HtmlTable table("Precision between plates, by controls; per cent of the mean",
                    {"Analyte", "Control", "Plates", "Wells", "Mean", "CV of the plates' results",
                     "Within plates", "Between plates", "One well on any plate", "Left out"});
    for (std::size_t i = 0; i < study.inter_assay.size(); ++i) {
        const InterAssay& each = study.inter_assay[i];
        const std::string at = fmt::format("/condition/inter_assay/{}", i);
        table.row({html(sentence(each.analyte)), html(each.label), fmt::format("{}", each.plates),
                   fmt::format("{}", each.wells), quantity(each.mean, at + "/mean"),
                   quantity(each.cv_of_means_percent, at + "/cv_of_means_percent"),
                   quantity(each.within_percent, at + "/within_percent"),
                   quantity(each.between_percent, at + "/between_percent"),
                   quantity(each.total_percent, at + "/total_percent"), html(joined(each.left_out))});
    }
    return study.inter_assay.empty() ? "" : std::move(table).take("");
}

std::string points_table(const Results& results) {
    HtmlTable table("Condition and uptake, fish by fish",
                    {"Fish", "Group", "Fin index at landing", "Reflexes lost", "Peak after capture",
                     "Recovered after capture"});
    const auto cell = [](const std::optional<double>& value, const char* unit) {
        return value ? quantity(number(*value, unit)) : std::string("<span class=\"none\">none</span>");
    };
    const auto& points = results.condition.points;
    for (const ConditionPoint& each : points) {
        const auto found = std::ranges::find(results.fish, each.fish, &Fish::id);
        const auto place = static_cast<std::size_t>(found - results.fish.begin());
        table.row({found != results.fish.end()
                       ? fmt::format("<a href=\"#{}\">{}</a>", anchor(place), html(each.fish))
                       : html(each.fish),
                   group_sign(results, each.group), cell(each.fin_mean, ""), cell(each.impaired_percent, "%"),
                   cell(each.peak_after_capture, "mg/kg/h"), cell(each.recovery_h, "h")});
    }
    return points.empty()
               ? ""
               : folded("Condition and uptake, fish by fish", points.size(), std::move(table).take(""));
}

} // namespace

std::string condition_panel(const Results& results, std::size_t index) {
    const Fish& fish = results.fish[index];
    const FishCondition& condition = fish.condition;
    if (!results.condition.has_any || !is_told_of(condition)) {
        return "";
    }
    const std::string at = fmt::format("/fish/{}/condition", index);
    const std::string i = fmt::format("{}", index);
    std::string text =
        "<h4>Condition</h4>\n" + note_lines(condition.reminders) + note_lines(condition.doubts);
    text += "<div class=\"figures\">\n" +
            figure("fish-timeline", "What happened to it, and when.", {{"fish", i}});
    if (!condition.draws.empty()) {
        text += figure("blood-after-event", "Blood after the event, beside what is published of salmonids.",
                       {{"fish", i}});
    }
    if (!condition.fins.empty() || !condition.body.empty()) {
        text += figure("fish-outline", "Fins and body as they were scored.", {{"fish", i}});
    }
    text += "</div>\n";
    if (condition.fate) {
        text += fate_part(*condition.fate);
    }
    return text + timeline(fish) + blood_part(condition, at) +
           looks_table(condition.fins, "Fins: levels from 0, unhurt", at + "/fins") +
           looks_table(condition.body, "Body, eyes and hook wound: levels from 0, unhurt", at + "/body") +
           reflexes_table(condition.reflexes, at) + handling_table(condition.handling, at);
}

std::string condition_section(const Results& results) {
    const StudyCondition& study = results.condition;
    if (!study.has_any) {
        return "";
    }
    std::string text = "<section id=\"condition\"><h2>Condition</h2>\n" + note_lines(study.cautions);
    text += "<p>Fish by fish, each page has its own panel. Groups stand side by side here and are not "
            "compared: what treatment does to condition, and condition to uptake, is asked under "
            "<a href=\"#findings\">Findings</a>.</p>\n";
    std::string figures;
    if (!study.points.empty()) {
        figures += figure("condition-points", "Condition and uptake: a point per fish, by group.");
    }
    if (!study.analytes.empty()) {
        figures += figure("blood-after-event", "Blood after the event, every fish.");
    }
    text += figures.empty() ? "" : "<div class=\"figures\">\n" + figures + "</div>\n";
    text += analytes_table(results) + mortality_table(results);
    if (!study.mortality.empty()) {
        text += "<p>A fish is of unknown state when it was lost before the hour, or died between two looks "
                "about it. Were these to die more often than others, the share is too low; the bounds hold "
                "whatever became of them.</p>\n";
    }
    text += agreement_table(study) + scale_text("fins", study.fin_scale) +
            scale_text("the body", study.body_scale) + inter_assay_table(study) + points_table(results);
    return text + note_lines(study.notes) + "</section>\n";
}

} // namespace backeddy::report::detail
