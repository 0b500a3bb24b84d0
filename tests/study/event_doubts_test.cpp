// Slips in the log of a fish's handling: each alone, and that the usual is let pass.

#include "study/event_doubts.hpp"

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::study {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Instant at(const char* clock) {
    return parse_iso(std::string("2026-06-14T") + clock + ":00Z").value();
}

Event event_of(EventKind kind, const char* clock) {
    Event out;
    out.kind = kind;
    out.at = at(clock);
    out.fish = FishId("A");
    return out;
}

/// Caught at 14:00, landed at 14:04, sealed in from 14:10.
Tables one_catch() {
    Tables tables;
    Fish fish;
    fish.id = FishId("A");
    tables.fish = {fish};
    Encounter met;
    met.fish = FishId("A");
    met.at = at("14:00");
    met.rig = "single";
    met.place.line = 5;
    tables.encounters = {met};
    tables.events = {event_of(EventKind::landed, "14:04")};
    tables.events.front().rig = "single";
    Stay stay;
    stay.id = StayId("s1");
    stay.fish = FishId("A");
    stay.parts = {
        {.role = uptake::StayRole::after_capture, .from = at("14:10"), .to = at("15:00"), .place = {}}};
    tables.stays = {stay};
    return tables;
}

TEST(EventDoubts, a_usual_catch_is_let_pass) {
    EXPECT_THAT(check_event_doubts(one_catch()), IsEmpty());
}

TEST(EventDoubts, a_landing_on_a_clock_of_twelve_hours_is_told_with_both_lines) {
    Tables tables = one_catch();
    tables.events.front().at = at("02:04");
    const auto said = check_landings(tables);
    ASSERT_THAT(said, SizeIs(1));
    EXPECT_EQ(said.front().severity, Severity::warning);
    EXPECT_THAT(said.front().error.text(), HasSubstr("encounters.csv, line 5"));
    EXPECT_THAT(check_captures(tables), SizeIs(1));
    tables.encounters.front().at.reset();
    EXPECT_THAT(check_landings(tables), IsEmpty());
}

TEST(EventDoubts, a_capture_before_its_landing_or_long_after_is_told) {
    Tables tables = one_catch();
    tables.stays.front().parts.front().from = at("14:01");
    EXPECT_THAT(check_captures(tables), SizeIs(1));
    tables.stays.front().parts.front().from = at("16:05");
    EXPECT_THAT(check_captures(tables), SizeIs(1));
    tables.stays.front().parts.front().role = uptake::StayRole::after_chase;
    EXPECT_THAT(check_captures(tables), IsEmpty());
}

TEST(EventDoubts, a_role_after_chase_needs_a_chase_and_a_capture_so_soon_after_one_is_told) {
    Tables tables = one_catch();
    tables.stays.front().parts.push_back(
        {.role = uptake::StayRole::after_chase, .from = at("18:10"), .to = at("19:00"), .place = {}});
    EXPECT_THAT(check_chases(tables), SizeIs(1));
    tables.events.push_back(event_of(EventKind::chase_end, "16:05"));
    EXPECT_THAT(check_chases(tables), SizeIs(1));
    tables.events.back().at = at("16:15");
    EXPECT_THAT(check_event_doubts(tables), IsEmpty());
    tables.events.back().fish = FishId("B");
    EXPECT_THAT(check_chases(tables), SizeIs(1));
    tables.events.back().fish = FishId("A");
    tables.events.push_back(event_of(EventKind::chase_end, "14:00"));
    tables.events.back().place.line = 7;
    const auto said = check_chases(tables);
    ASSERT_THAT(said, SizeIs(1));
    EXPECT_EQ(said.front().severity, Severity::warning);
    EXPECT_THAT(said.front().error.text(), HasSubstr("events.csv, line 7"));
    tables.events.back().at = at("13:59");
    EXPECT_THAT(check_chases(tables), IsEmpty());
}

TEST(EventDoubts, a_stay_or_chase_of_a_released_fish_is_told_until_it_is_met_again) {
    Tables tables = one_catch();
    tables.events.push_back(event_of(EventKind::released, "15:30"));
    tables.events.back().place.line = 3;
    EXPECT_THAT(check_released(tables), IsEmpty());
    tables.events.push_back(event_of(EventKind::chase_start, "16:00"));
    tables.stays.push_back(tables.stays.front());
    tables.stays.back().parts.front().from = at("17:00");
    const auto said = check_released(tables);
    ASSERT_THAT(said, SizeIs(2));
    EXPECT_EQ(said.front().severity, Severity::warning);
    EXPECT_THAT(said.front().error.text(), HasSubstr("events.csv, line 3"));
    tables.encounters.push_back(tables.encounters.front());
    tables.encounters.back().at = at("15:45");
    EXPECT_THAT(check_released(tables), IsEmpty());
}

TEST(EventDoubts, an_opening_of_no_chamber_is_told) {
    Tables tables = one_catch();
    tables.events.push_back(event_of(EventKind::opened, "14:30"));
    EXPECT_THAT(check_event_doubts(tables), IsEmpty());
    tables.events.back().fish = {};
    EXPECT_THAT(check_event_doubts(tables), SizeIs(1));
}

TEST(EventDoubts, a_rig_that_is_not_the_encounters_is_told) {
    Tables tables = one_catch();
    tables.events.front().rig = "treble";
    EXPECT_THAT(check_rigs(tables), SizeIs(1));
    tables.events.front().rig.clear();
    EXPECT_THAT(check_rigs(tables), IsEmpty());
}

TEST(EventDoubts, two_masses_at_one_moment_are_told) {
    Tables tables = one_catch();
    for (const double grams : {800.0, 900.0}) {
        tables.events.push_back(event_of(EventKind::weighed, "14:08"));
        tables.events.back().value = grams;
        tables.events.back().unit = "g";
    }
    EXPECT_THAT(check_weighings(tables), SizeIs(1));
    tables.events.back().at = at("14:30");
    EXPECT_THAT(check_weighings(tables), IsEmpty());
}

} // namespace
} // namespace backeddy::study
