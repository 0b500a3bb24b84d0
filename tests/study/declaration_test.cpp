#include "study/declaration.hpp"

#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/hash.hpp"
#include "study/settings.hpp"

namespace backeddy::study {
namespace {

using testing::HasSubstr;

Instant at(const char* text) {
    return *parse_iso(text);
}

const Question& question() {
    static const Question value{.name = "rig_peak", .outcome = "peak", .compare = "rig"};
    return value;
}

/// The question as it was before somebody changed its outcome.
Question other_form() {
    Question out = question();
    out.outcome = "resting";
    return out;
}

const std::string settings(64, 'a');
const std::string other_settings(64, 'b');

Declarable now() {
    return {question(), settings};
}

Declaration row(const Question& of, const char* when, const std::string& under = settings) {
    return {.question = of.name,
            .form_sha256 = form_sha256(of),
            .settings_sha256 = under,
            .declared_at = at(when),
            .author = "A. Keen"};
}

TEST(Declared, a_question_without_a_row_is_exploratory) {
    auto others = row(question(), "2026-05-01T09:12:00Z");
    others.question = "another";
    for (const auto& rows : {std::vector<Declaration>{}, std::vector<Declaration>{others}}) {
        const auto state = declared_state(now(), rows);
        EXPECT_EQ(state.declared, Declared::never);
        EXPECT_EQ(state.text, "never declared: exploratory");
    }
}

TEST(Declared, before_the_first_fish_with_day_and_author) {
    const std::vector<Declaration> rows{row(question(), "2026-05-01T09:12:00Z")};
    const auto state = declared_state(now(), rows, at("2026-05-01T09:12:01Z"));
    EXPECT_EQ(state.declared, Declared::before_any_fish);
    EXPECT_EQ(state.text, "declared 1 May 2026, 09:12 UTC, by A. Keen, before the first fish");
}

TEST(Declared, fish_that_were_met_before_they_were_typed_in_count) {
    const std::vector<Declaration> rows{row(question(), "2026-12-31T23:59:59Z")};
    const auto state = declared_state(now(), rows, at("2026-06-01T10:00:00Z"));
    EXPECT_EQ(state.declared, Declared::before_results);
    EXPECT_EQ(state.text,
              "declared 31 December 2026, 23:59 UTC, by A. Keen, after the first fish was met (1 June "
              "2026, 10:00 UTC) and before results were seen");
}

TEST(Declared, with_fish_met_and_after_results_are_told_apart) {
    auto one = row(question(), "2026-05-01T09:12:00Z");
    one.fish_met = 7;
    auto state = declared_state(now(), std::vector{one});
    EXPECT_EQ(state.declared, Declared::before_results);
    EXPECT_THAT(state.text, HasSubstr("with 7 fish met and before results were seen"));
    one.results_seen = true;
    state = declared_state(now(), std::vector{one});
    EXPECT_EQ(state.declared, Declared::after_results);
    EXPECT_EQ(state.text, "declared 1 May 2026, 09:12 UTC, by A. Keen, after results were seen");
    one.fish_met = 0; // results of another season's fish are still results
    EXPECT_EQ(declared_state(now(), std::vector{one}).declared, Declared::after_results);
}

TEST(Declared, a_question_that_was_changed_is_seen_to_be) {
    const std::vector<Declaration> rows{row(other_form(), "2026-05-01T09:12:00Z")};
    const auto state = declared_state(now(), rows);
    EXPECT_EQ(state.declared, Declared::changed_since);
    EXPECT_EQ(state.text, "changed since it was declared on 1 May 2026, 09:12 UTC, by A. Keen");
    Question reworded = question();
    reworded.ask = "Does it matter?";
    EXPECT_EQ(
        declared_state({reworded, settings}, std::vector{row(question(), "2026-05-01T09:12:00Z")}).declared,
        Declared::before_any_fish)
        << "other words for the same question change nothing";
}

TEST(Declared, the_earliest_row_of_the_present_form_holds_and_other_forms_are_told) {
    auto late = row(question(), "2026-07-01T00:00:00Z");
    late.results_seen = true;
    const auto early = row(question(), "2026-05-01T09:12:00Z");
    const auto other = row(other_form(), "2026-06-02T08:00:00Z");
    const auto state = declared_state(now(), std::vector{late, other, early});
    EXPECT_EQ(state.declared, Declared::before_any_fish);
    EXPECT_THAT(state.text,
                HasSubstr("before the first fish; another form of it was declared too, the last on 2 June "
                          "2026, 08:00 UTC"));
    // Declared anew after results: the old form does not make it an early one.
    EXPECT_EQ(declared_state(now(), std::vector{other, late}).declared, Declared::after_results);
}

TEST(Declared, settings_that_were_changed_after_it_are_seen_to_be) {
    const std::vector<Declaration> rows{row(question(), "2026-05-01T09:12:00Z", other_settings)};
    const auto state = declared_state(now(), rows);
    EXPECT_EQ(state.declared, Declared::changed_since);
    EXPECT_EQ(
        state.text,
        "settings of the analysis were changed since it was declared on 1 May 2026, 09:12 UTC, by A. Keen");
    EXPECT_EQ(declaration_of(now(), rows), nullptr) << "to be declared again";
}

TEST(Declared, under_other_settings_too_the_row_of_the_present_ones_holds) {
    auto late = row(question(), "2026-07-01T00:00:00Z");
    late.results_seen = true;
    const auto early = row(question(), "2026-05-01T09:12:00Z", other_settings);
    const std::vector rows{early, late};
    const auto state = declared_state(now(), rows);
    EXPECT_EQ(state.declared, Declared::after_results);
    EXPECT_THAT(state.text,
                HasSubstr("after results were seen; it was declared under other settings too, the "
                          "last time on 1 May 2026, 09:12 UTC"));
    EXPECT_EQ(declaration_of(now(), rows), &rows[1]);
}

TEST(Declared, a_row_of_before_settings_were_recorded_holds_and_says_so) {
    const std::vector<Declaration> rows{row(question(), "2026-05-01T09:12:00Z", "")};
    const auto state = declared_state(now(), rows);
    EXPECT_EQ(state.declared, Declared::before_any_fish);
    EXPECT_EQ(state.text,
              "declared 1 May 2026, 09:12 UTC, by A. Keen, before the first fish; the settings of "
              "the analysis were not recorded then");
}

TEST(Declared, the_hash_of_settings_is_of_those_that_numbers_rest_on) {
    Brief brief;
    const auto usual = settings_sha256(brief);
    brief.study.title = "Another";
    brief.water.salinity = Salinity::practical(30.0);
    brief.report.drawn_points = 100;
    brief.plausible.peak_mg_per_kg_h.high = 900.0;
    EXPECT_EQ(settings_sha256(brief), usual);
    brief.peak.window = Duration::seconds(30.0);
    EXPECT_EQ(analysis_form(brief), "peak.window_s = 30\n");
    EXPECT_EQ(settings_sha256(brief), sha256_hex(std::string_view("peak.window_s = 30\n")));
    brief.seasons.push_back({.name = "autumn",
                             .from = at("2026-09-01T00:00:00Z"),
                             .to = at("2026-12-01T00:00:00Z"),
                             .overrides = {{.section = "peak", .key = "window_s", .value = 20.0},
                                           {.section = "water", .key = "salinity", .value = 20.0}}});
    EXPECT_EQ(analysis_form(brief), "peak.window_s = 30\nseason autumn 2026-09-01T00:00:00Z "
                                    "2026-12-01T00:00:00Z: peak.window_s = 20\n");
}

// FIPS 180-4's SHA-256 of the form's bytes, as sha256sum gives it too.
TEST(Declared, the_hash_is_that_of_the_declared_form) {
    EXPECT_EQ(form_sha256(question()), sha256_hex(std::string_view(question().declared_form())));
    EXPECT_NE(form_sha256(question()), form_sha256(other_form()));
}

TEST(Declared, the_first_fish_is_that_of_the_earliest_encounter_or_stay) {
    Tables tables;
    EXPECT_FALSE(first_met(tables));
    const auto stay = [](const char* fish, const char* from) {
        Stay out;
        out.fish = FishId(fish);
        out.parts = {{.from = at(from), .to = at("2026-09-01T00:00:00Z")}};
        return out;
    };
    tables.stays = {stay("", "2026-05-01T00:00:00Z"), stay("st01", "2026-06-03T00:00:00Z")};
    EXPECT_EQ(first_met(tables), at("2026-06-03T00:00:00Z")) << "a blank is no fish";
    tables.encounters.resize(2);
    tables.encounters[1].at = at("2026-06-02T00:00:00Z");
    EXPECT_EQ(first_met(tables), at("2026-06-02T00:00:00Z"));
}

} // namespace
} // namespace backeddy::study
