#include <limits>

#include <gmock/gmock.h>

#include "report/invented_study.hpp"
#include "report/methods.hpp"
#include "report/page.hpp"

namespace backeddy::report {
namespace {

using testing::HasSubstr;
using testing::Not;

std::size_t times(const std::string& text, std::string_view part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
        ++count;
    }
    return count;
}

Results invented(std::size_t fish = 5) {
    return invented_study({.fish = fish, .night_h = 1.0});
}

/// What a person reads, without the documents for the script.
std::string body_of(const Results& results) {
    const std::string page = report_page(results);
    const std::size_t from = page.find("<body");
    return page.substr(from, page.find("<script type") - from);
}

std::string between(const std::string& page, const std::string& begin, const std::string& end) {
    const std::size_t from = page.find(begin);
    return from == std::string::npos ? "" : page.substr(from, page.find(end, from) - from);
}

std::string fish_of(const Results& results, std::size_t number) {
    return between(body_of(results), "id=\"fish-" + std::to_string(number) + "\"", "</article>");
}

std::string plate_of(const Results& results, std::size_t number) {
    return between(body_of(results), "id=\"plate-" + std::to_string(number) + "\"", "</article>");
}

std::string chapter_of(const Results& results) {
    return between(body_of(results), "<section id=\"condition\">", "</section>");
}

/// The invented study as it was before anybody drew blood.
Results without_condition() {
    Results results = invented(2);
    results.condition = {};
    for (Fish& fish : results.fish) {
        fish.condition = {};
    }
    return results;
}

TEST(ConditionPage, of_a_study_without_such_sheets_shows_nothing_of_it) {
    const std::string body = body_of(without_condition());
    EXPECT_THAT(body, Not(HasSubstr(">Condition<")));
    EXPECT_THAT(body, Not(HasSubstr("Assay plates")));
    EXPECT_THAT(body, Not(HasSubstr("#condition")));
    EXPECT_THAT(body, Not(HasSubstr("#plates")));
    for (const char* figure : {"fish-timeline", "blood-after-event", "fish-outline", "plate-curve",
                               "plate-map", "condition-points"}) {
        EXPECT_THAT(body, Not(HasSubstr(figure)));
    }
    for (const Paragraph& each : methods_text(without_condition())) {
        EXPECT_THAT(each.title, testing::AllOf(Not("Blood"), Not("Assay plates"), Not("Mortality")));
    }
}

// Events alone make handling times: they are no sheet of condition.
TEST(ConditionPage, shows_no_panel_for_handling_times_alone) {
    Results results = without_condition();
    results.fish[0].condition.handling = {{.word = "fight_s", .title = "fight"}};
    EXPECT_THAT(body_of(results), Not(HasSubstr("<h4>Condition</h4>")));
    EXPECT_EQ(methods_text(results).size(), methods_text(without_condition()).size());
}

TEST(ConditionPage, lists_its_chapters_where_there_is_something_in_them) {
    Results results = invented();
    std::string body = body_of(results);
    EXPECT_THAT(body, HasSubstr("<a href=\"#condition\">Condition</a>"));
    EXPECT_THAT(body, HasSubstr("<a href=\"#plates\">Assay plates</a>"));
    results.condition.plates.clear();
    body = body_of(results);
    EXPECT_THAT(body, HasSubstr("<a href=\"#condition\">Condition</a>"));
    EXPECT_THAT(body, Not(HasSubstr("#plates")));
}

TEST(ConditionPage, puts_a_fishs_figures_where_their_data_are) {
    Results results = invented();
    const std::string first = fish_of(results, 1);
    for (const char* figure : {"fish-timeline", "blood-after-event", "fish-outline"}) {
        EXPECT_THAT(first, HasSubstr("data-figure=\"" + std::string(figure) + "\" data-fish=\"0\""));
    }
    results.fish[0].condition.draws.clear();
    EXPECT_THAT(fish_of(results, 1), Not(HasSubstr("blood-after-event")));
    EXPECT_THAT(body_of(results), HasSubstr("data-figure=\"condition-points\""));
}

// ---------------------------------------------------------------- a fish

TEST(FishPanel, shows_a_limit_in_its_words_and_never_as_a_number) {
    const std::string page = fish_of(invented(), 3);
    EXPECT_THAT(page,
                HasSubstr("<th scope=\"row\">Cortisol</th><td>plasma</td><td><span class=\"none\">below "
                          "7.8 ng/mL</span></td>"));
}

TEST(FishPanel, shows_blood_beside_the_published_range_and_the_road_back) {
    const Results results = invented();
    const std::string first = fish_of(results, 1);
    EXPECT_THAT(first, HasSubstr("plate P1, wells B3 and B4; samples.csv, line 2"));
    EXPECT_THAT(first, HasSubstr("<strong>over the ceiling</strong>"));
    EXPECT_THAT(first, HasSubstr("lactate: invented for the example"));
    EXPECT_THAT(first, HasSubstr(": the first after the event</th>"));
    EXPECT_EQ(times(first, ": the first after the event"), 1U) << "of two draws";
    EXPECT_THAT(first, HasSubstr("<p>Drawn before the peak after capture: <span"));
    EXPECT_EQ(times(first, "haemolysis: none"), 2U) << "four values of two draws: once of each draw";
    const std::string second = fish_of(results, 2);
    EXPECT_THAT(second, HasSubstr("1.5 to 20 mmol/L</span>: <strong>outside</strong>"));
    EXPECT_THAT(second, HasSubstr("written as 47 mg/dL"));
    EXPECT_THAT(second, HasSubstr("haemolysis: marked"));
    EXPECT_THAT(second, HasSubstr("</span> (within)"));
}

TEST(FishPanel, shows_both_scorers_and_what_was_not_scored) {
    const std::string page = fish_of(invented(), 3);
    EXPECT_THAT(page, HasSubstr("<th scope=\"col\">Landing, by A</th><th scope=\"col\">Landing, by B</th>"
                                "<th scope=\"col\">After holding, by A</th>"));
    EXPECT_THAT(page, HasSubstr("<th scope=\"row\">Right pelvic</th><td><span class=\"none\">not "
                                "scored</span></td>"));
    EXPECT_THAT(page, HasSubstr("right pelvic not scored"));
    EXPECT_THAT(page, HasSubstr("2 split (split, net marks)"));
}

TEST(FishPanel, says_what_a_missing_reflex_could_make_of_it) {
    const std::string page = fish_of(invented(), 2);
    EXPECT_THAT(page, HasSubstr("<th scope=\"row\">Head complex</th><td>not tested</td>"));
    EXPECT_THAT(page, HasSubstr(">50 <span class=\"unit\">%"));
    EXPECT_THAT(page, HasSubstr("<span class=\"quantity\">33.3 to 66.7 %</span>"));
    EXPECT_THAT(fish_of(invented(), 1), HasSubstr("<th scope=\"row\">Of all, whatever the missing ones "
                                                  "were</th><td><span class=\"quantity\">0 %</span></td>"));
}

TEST(FishPanel, shows_disagreements_doubts_reminders_and_a_death_between_two_looks) {
    const Results results = invented();
    const std::string doubtful = fish_of(results, 4);
    EXPECT_THAT(doubtful, HasSubstr("<strong>no</strong>: fight: 156 s by the events, 600 s typed"));
    EXPECT_THAT(doubtful, HasSubstr("back in water at 15:39 before landed at 15:40"));
    EXPECT_THAT(doubtful, HasSubstr("Lost to follow-up 2026-"));
    EXPECT_THAT(doubtful, HasSubstr("detected on tag 0103 before it was tagged"));
    const std::string dead = fish_of(results, 5);
    EXPECT_THAT(dead, HasSubstr("for the permit&#39;s holder to decide"));
    EXPECT_THAT(dead, HasSubstr("Found dead 2026-"));
    EXPECT_THAT(dead, HasSubstr("last known alive 2026-"));
    EXPECT_THAT(dead, HasSubstr("it died in between"));
}

TEST(FishPanel, words_every_kind_of_fate) {
    Results results = invented(1);
    const Instant when = *results.fish[0].time_zero;
    const auto words = [&](const KnownFate& fate) {
        results.fish[0].condition.fate = fate;
        return between(fish_of(results, 1), "<strong>Fate</strong>", "</p>");
    };
    EXPECT_THAT(words({.ending = "dead", .last_alive = when, .found_dead = when}),
                HasSubstr("Seen to die 2026"));
    EXPECT_THAT(words({.ending = "dead", .found_dead = when}),
                HasSubstr("no record says when it was last alive: it died in between"));
    EXPECT_THAT(words({.ending = "alive", .last_alive = when}),
                HasSubstr("of the time after that nothing is known"));
    EXPECT_THAT(words({.ending = "alive"}), HasSubstr("No record says when it was last alive"));
    EXPECT_THAT(words({.ending = "lost"}), HasSubstr("Lost to follow-up, no record says"));
}

TEST(FishPanel, puts_all_that_has_a_moment_in_order_and_a_draw_once) {
    const std::string page = fish_of(invented(), 1);
    const std::string table = between(page, "Capture timeline, minutes since hook-up", "</table>");
    EXPECT_LT(table.find("Hook up"), table.find("Fins scored, landing, by A"));
    EXPECT_LT(table.find("Fins scored, landing, by A"), table.find("Blood drawn: 1 mL"));
    EXPECT_THAT(table, HasSubstr("<td><span class=\"quantity\">67.0</span></td><td>Blood drawn: 1 mL</td>"));
    EXPECT_THAT(table, Not(HasSubstr("<td>Blood</td>")));
    EXPECT_THAT(table, HasSubstr("Last known alive"));
    EXPECT_EQ(times(table, "<td>Released</td>"), 1U) << "the event and the fate are one";
}

// ---------------------------------------------------------------- plates

TEST(PlatePage, shows_a_bad_standard_the_edge_and_what_does_not_count) {
    const Results results = invented();
    const std::string bad = plate_of(results, 1);
    EXPECT_THAT(bad, HasSubstr("data-figure=\"plate-curve\" data-plate=\"0\""));
    EXPECT_THAT(bad, HasSubstr("data-figure=\"plate-map\" data-plate=\"0\""));
    EXPECT_EQ(times(bad, "<strong>not accepted</strong>"), 1U);
    EXPECT_THAT(bad, HasSubstr("of what it should be; 80 to 120 % is asked"));
    EXPECT_THAT(bad, HasSubstr("0 ng/mL (zero wells)"));
    EXPECT_THAT(bad, HasSubstr("not clear, the interval holds 0"));
    EXPECT_THAT(bad, HasSubstr("<li>A6: bubble</li>"));
    EXPECT_THAT(bad, HasSubstr("Concentration halfway between"));
    EXPECT_THAT(bad, HasSubstr("0.21 <span class=\"unit\">ng/mL"));
    EXPECT_THAT(bad, HasSubstr("beyond the curve"));
    EXPECT_THAT(plate_of(results, 2),
                HasSubstr("<strong>clear</strong>, the interval leaves out 0. It is shown, and "
                          "no concentration is corrected for it"));
    EXPECT_THAT(plate_of(results, 2), HasSubstr("outer wells read higher than inner ones"));
}

TEST(PlatePage, shows_samples_with_their_interval_or_the_limit_they_lie_beyond) {
    const Results results = invented();
    const std::string page = plate_of(results, 1);
    EXPECT_THAT(page, HasSubstr("<td><a href=\"#fish-3\">st03</a></td>"));
    EXPECT_THAT(page, HasSubstr("<span class=\"none\">below 7.8</span>"));
    EXPECT_THAT(page, HasSubstr(bare_text_of(results.condition.plates[0].samples[1].concentration)));
    EXPECT_THAT(page, HasSubstr("pl-st01; parallel: undecided; 4.1 (-3.2 to 12.0) % with each doubling"));
    EXPECT_THAT(page, HasSubstr("Spiked samples: what came back of what was added"));
    EXPECT_THAT(page, HasSubstr("low control"));
}

TEST(PlatePage, of_a_plate_without_an_answer_says_why_and_still_shows_its_wells) {
    const std::string page = plate_of(invented(), 3);
    EXPECT_THAT(page, HasSubstr("<strong>Not worked out</strong>: The plate map names no standard"));
    EXPECT_THAT(page, Not(HasSubstr("plate-curve")));
    EXPECT_THAT(page, Not(HasSubstr("Standards")));
    EXPECT_THAT(page, HasSubstr("<th scope=\"row\">A1</th><td>sample</td><td>pl-st01</td>"));
}

TEST(PlatePage, writes_an_open_interval_in_words) {
    Results results = invented(1);
    Number& open = results.condition.plates[0].samples[0].concentration;
    open = number(Measured(40.0, 3.0, "curve"), "ng/mL");
    open.interval = Interval{.low = 34.0, .high = std::numeric_limits<double>::infinity()};
    EXPECT_THAT(plate_of(results, 1), HasSubstr("(<span class=\"quantity\">34.0 or more</span>)"));
}

// ---------------------------------------------------------------- the study

TEST(ConditionChapter, gives_analytes_mortality_agreement_and_precision) {
    const Results results = invented();
    const std::string chapter = chapter_of(results);
    EXPECT_THAT(chapter, HasSubstr("Blood is drawn by trained hands named on the permit."));
    EXPECT_THAT(chapter, HasSubstr("Cortisol, plasma"));
    EXPECT_THAT(chapter, HasSubstr("it lies among values below a limit"));
    EXPECT_THAT(chapter, HasSubstr("Within 24 h from capture"));
    EXPECT_THAT(chapter, HasSubstr("<td>1 of 4</td>"));
    EXPECT_THAT(chapter, HasSubstr("<span class=\"quantity\">20 to 40 %</span>"));
    EXPECT_THAT(chapter, HasSubstr("no group is named as the control"));
    EXPECT_THAT(chapter, HasSubstr("three fish are too few for an interval"));
    EXPECT_THAT(chapter, HasSubstr("0 whole, 1 frayed edge, 2 split, 3 part missing"));
    EXPECT_THAT(chapter, HasSubstr("Precision between plates"));
    EXPECT_THAT(chapter, HasSubstr("group-0\">barbless, in water<"));
    EXPECT_THAT(chapter, HasSubstr("Haemolysis was not written down of 2 samples."));
    EXPECT_THAT(chapter, HasSubstr("<a href=\"#fish-5\">st05</a>"));
}

TEST(ConditionMethods, tell_how_limits_plates_indices_and_deaths_are_taken) {
    std::string text;
    for (const Paragraph& each : methods_text(invented())) {
        text += each.title + ": " + each.text + "\n";
    }
    EXPECT_THAT(text, HasSubstr("it is never put as 0, as half the limit or as the limit"));
    EXPECT_THAT(text, HasSubstr("A response beyond the curve gives a limit and no number."));
    EXPECT_THAT(text, HasSubstr("takes the steps of the scale for equal"));
    EXPECT_THAT(text, HasSubstr("the tests are all there are"));
    EXPECT_THAT(text, HasSubstr("which is not 0."));
    EXPECT_THAT(text, HasSubstr("with exact limits (Clopper and Pearson"));
}

// ---------------------------------------------------------------- hostile text

TEST(ConditionPage, is_not_broken_by_labels_named_like_the_end_of_a_script) {
    Results results = invented();
    const std::string sound = report_page(results);
    const std::string hostile = "</script><img src=x onerror=alert(1)>\"'";
    StudyCondition& study = results.condition;
    for (AssayPlate& plate : study.plates) {
        for (std::string* text : {&plate.id, &plate.file, &plate.analyte, &plate.unit, &plate.who,
                                  &plate.curve_kind, &plate.weights}) {
            *text = hostile;
        }
        plate.understood = plate.excluded = plate.remarks = {hostile};
        plate.wells.push_back({.name = hostile, .kind = hostile, .label = hostile, .excluded = hostile});
        plate.parameters.push_back(
            {.word = hostile, .title = hostile, .number = no_number(hostile, hostile)});
        plate.limits.push_back({.definition = hostile, .concentration = no_number(hostile, hostile)});
        for (auto* materials : {&plate.samples, &plate.controls, &plate.spikes}) {
            PlateMaterial material{.kind = hostile,
                                   .label = hostile,
                                   .fish = hostile,
                                   .concentration = no_number(hostile, hostile),
                                   .parallel = hostile,
                                   .remarks = {hostile}};
            material.dilutions = {{.wells = {hostile}}, {.wells = {hostile}}};
            materials->push_back(material);
        }
    }
    study.plates.back().unanswered = hostile;
    study.plates.front().standards.push_back({.wells = {hostile}, .remarks = {hostile}});
    study.analytes.push_back({.analyte = hostile, .matrix = hostile, .group = hostile});
    study.agreements.push_back({.of = hostile, .first = hostile, .second = hostile, .note = hostile});
    study.mortality.push_back({.from = hostile, .group = hostile});
    study.inter_assay.push_back({.analyte = hostile, .label = hostile});
    study.points.push_back({.fish = hostile, .group = hostile});
    for (auto* all : {&study.fin_scale, &study.body_scale, &study.cautions, &study.notes}) {
        all->push_back(hostile);
    }
    FishCondition& fish = results.fish[0].condition;
    BloodValue value{.analyte = hostile,
                     .matrix = hostile,
                     .value = no_number(hostile, hostile),
                     .as_written = hostile,
                     .device = hostile,
                     .haemolysis = hostile,
                     .from = hostile,
                     .range_low = no_number(hostile, hostile),
                     .range_source = hostile,
                     .notes = {hostile}};
    fish.draws.push_back({.who = hostile, .values = {value}, .notes = {hostile}});
    const ScoredPlace place{
        .word = hostile, .title = hostile, .level = 1, .level_word = hostile, .marks = {hostile}};
    fish.fins.push_back({.occasion = hostile, .scorer = hostile, .places = {place}, .note = hostile});
    fish.body = fish.fins;
    fish.reflexes.push_back({.tests = {{hostile, hostile}}});
    fish.handling.push_back({.word = hostile, .title = hostile, .disagreement = hostile});
    fish.fate = KnownFate{
        .ending = hostile, .stage = hostile, .cause = hostile, .tags = {hostile}, .doubts = {hostile}};
    fish.reminders = fish.doubts = {hostile};
    const std::string page = report_page(results);
    EXPECT_EQ(times(page, "</script"), times(sound, "</script"));
    EXPECT_EQ(times(page, "<img"), times(sound, "<img"));
}

} // namespace
} // namespace backeddy::report
