#include "study/declaration.hpp"
#include "study/relations.hpp"

#include "study/decide.hpp"
#include "study/question_reading.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace backeddy::study {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;
using testing::UnorderedElementsAre;

Instant at(const std::string& clock) {
    return parse_iso("2026-06-" + clock + ":00Z").value();
}

Place in(const char* file, std::uint64_t line) {
    return {.file = file, .line = line, .column = {}, .byte = {}};
}

/// Two fish in one tube one after the other, a blank, a night ashore: nothing to complain of.
struct Study {
    Brief brief;
    Tables tables;

    Study() {
        brief.water.salinity = Salinity::practical(31.0);
        brief.water.pressure = Pressure::kilopascals(101.3);
        brief.traces.push_back({.name = "boat", .files = {"raw/boat.csv"}});
        tables.fish = {fish("st01", 800.0, 2), fish("st02", 900.0, 3)};
        tables.fish[1].mass.reset();
        tables.assemblies = {assembly("tube1", "ox7", "O2_1", 2), assembly("shore1", "ox8", "O2_2", 3)};
        tables.stays = {stay("s1", "st01", "tube1", "14T12:00", "14T12:50", 2),
                        stay("s2", "st02", "tube1", "14T13:00", "14T13:50", 3),
                        stay("s3", "", "tube1", "14T14:00", "14T14:30", 4),
                        stay("s4", "st01", "shore1", "14T13:10", "15T08:00", 5)};
        tables.stays[2].parts[0].role = uptake::StayRole::blank;
        for (const auto* sensor : {"ox7", "ox8"}) {
            Calibration point;
            point.sensor = SensorId(sensor);
            point.at = at("14T08:00");
            point.reading = 100.0;
            point.place = in("calibrations.csv", tables.calibrations.size() + 2);
            tables.calibrations.push_back(point);
        }
    }

    static Fish fish(const char* id, double grams, std::uint64_t line) {
        Fish out;
        out.id = FishId(id);
        out.mass = Mass::grams(grams);
        out.place = in("fish.csv", line);
        return out;
    }
    static Assembly assembly(const char* id, const char* sensor, const char* channel, std::uint64_t line) {
        Assembly out;
        out.id = AssemblyId(id);
        out.sensor = SensorId(sensor);
        out.chamber_volume = Volume::litres(14.0);
        out.oxygen = {.trace = "boat", .channel = channel};
        out.place = in("assemblies.csv", line);
        return out;
    }
    static Stay stay(const char* id, const char* fish, const char* assembly, const char* from, const char* to,
                     std::uint64_t line) {
        Stay out;
        out.id = StayId(id);
        out.fish = FishId(fish);
        out.assembly = AssemblyId(assembly);
        out.place = in("stays.csv", line);
        out.parts = {{.role = uptake::StayRole::rest, .from = at(from), .to = at(to), .place = out.place}};
        return out;
    }
    Event& event(EventKind kind, const char* when, const char* fish, const char* stay_id = "") {
        Event out;
        out.kind = kind;
        out.at = at(when);
        out.at_uncertainty = Duration::seconds(5.0);
        out.fish = FishId(fish);
        out.stay = StayId(stay_id);
        out.place = in("events.csv", tables.events.size() + 2);
        tables.events.push_back(out);
        return tables.events.back();
    }
    Decision& decision(const char* stay_id, const char* moment) {
        Decision out;
        out.stay = StayId(stay_id);
        out.moment = at(moment);
        out.act = DecisionAct::exclude;
        out.reason = "bubble";
        out.author = "AB";
        out.place = in("decisions.csv", tables.decisions.size() + 2);
        tables.decisions.push_back(out);
        return tables.decisions.back();
    }
    ClockCheck& clock(Instant shown, Instant truth) {
        ClockCheck out;
        out.clock = ClockId("boat");
        out.shown = shown;
        out.true_time = truth;
        out.uncertainty = Duration::seconds(1.0);
        out.place = in("clock_checks.csv", tables.clock_checks.size() + 2);
        tables.clock_checks.push_back(out);
        return tables.clock_checks.back();
    }
    /// "stops stays.csv 3 from: found"
    [[nodiscard]] std::vector<std::string> said() const {
        std::vector<std::string> out;
        for (const auto& c : check_relations(brief, tables)) {
            out.push_back(std::string(word(c.severity)) + " " + c.error.place.file + " " +
                          std::to_string(c.error.place.line.value_or(0)) + " " + c.error.place.column + ": " +
                          c.error.found + " | " + c.error.remedy);
        }
        return out;
    }
};

TEST(Relations, several_fish_in_one_tube_one_after_the_other_and_a_fish_not_weighed_are_no_complaint) {
    EXPECT_THAT(Study().said(), IsEmpty());
}

TEST(Relations, a_study_without_a_stay_has_nothing_to_compute) {
    Study s;
    s.tables.stays.clear();
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("stops stays.csv 0 : no stay")));
}

TEST(Relations, a_season_in_which_no_stay_begins_is_said) {
    Study s;
    Season season{.name = "autumn", .from = at("20T00:00"), .to = at("25T00:00")};
    season.overrides = {{.section = "peak", .key = "window_s", .value = 120.0}};
    season.place = in("study.toml", 40);
    s.brief.seasons = {season};
    EXPECT_THAT(s.said(), ElementsAre(testing::AllOf(HasSubstr("study.toml 40"), HasSubstr("no stay begins"),
                                                     HasSubstr("correct its dates"))));
    s.brief.seasons[0].from = at("14T13:05"); // s3 begins at 14:00
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, an_inflow_s_temperature_without_its_oxygen_is_of_no_use) {
    Study s;
    s.brief.water.inflow_temperature_channel = {.trace = "boat", .channel = "in"};
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("a temperature of the inflow without its oxygen")));
    s.brief.water.inflow_oxygen_channel = {.trace = "boat", .channel = "in_oxygen"};
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_weighing_needs_a_fish_and_a_mass_in_grams_or_kilograms) {
    Study s;
    auto& fine = s.event(EventKind::weighed, "14T16:00", "st01");
    fine.value = 0.81;
    fine.unit = "kg";
    s.event(EventKind::weighed, "14T16:01", "st01"); // a note that it was done: no mass
    EXPECT_THAT(s.said(), IsEmpty());
    auto& bare = s.event(EventKind::weighed, "14T16:02", "st01");
    bare.value = 805.0;
    auto& nobody = s.event(EventKind::weighed, "14T16:03", "");
    nobody.value = 805.0;
    nobody.unit = "g";
    auto& strange = s.event(EventKind::weighed, "14T16:04", "st01");
    strange.value = 805.0;
    strange.unit = "kg";
    EXPECT_THAT(s.said(),
                UnorderedElementsAre(
                    testing::AllOf(HasSubstr("events.csv 4 unit"), HasSubstr("weighed 805 \"\"")),
                    HasSubstr("events.csv 5 fish: a mass of no fish"),
                    HasSubstr("stays.csv 5 fish: \"st01\" weighs 805000 g, and \"shore1\" holds 14 L"),
                    testing::AllOf(HasSubstr("events.csv 6 value"),
                                   HasSubstr("805000 g here and 800 g in fish.csv (line 2)"))));
}

TEST(Relations, a_stay_may_begin_at_the_instant_at_which_the_last_one_ended) {
    Study s;
    s.tables.stays[1].parts[0].from = at("14T12:50");
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, two_fish_in_one_tube_at_once_stop_a_run) {
    Study s;
    s.tables.stays[1].parts[0].from = at("14T12:40");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr(
                    "stops stays.csv 3 assembly: the assembly \"tube1\" in the stays \"s1\" (line 2) and "
                    "\"s2\" at once, 2026-06-14T12:40:00Z to 2026-06-14T12:50:00Z")));
}

TEST(Relations, a_long_stay_is_held_against_all_that_begin_within_it) {
    Study s;
    s.tables.stays[0].parts[0].to = at("14T15:00");
    EXPECT_THAT(s.said(), Contains(HasSubstr("\"s1\" (line 2) and \"s2\" at once")));
    EXPECT_THAT(s.said(), Contains(HasSubstr("\"s1\" (line 2) and \"s3\" at once")));
}

TEST(Relations, one_fish_in_two_places_at_once_stops_a_run) {
    Study s;
    s.tables.stays[3].parts[0].from = at("14T12:30");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops stays.csv 5 fish: the fish \"st01\" in the stays \"s1\"")));
}

TEST(Relations, swapped_dates_stop_a_run_with_one_complaint) {
    Study s;
    std::swap(s.tables.stays[0].parts[0].from, s.tables.stays[0].parts[0].to);
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops stays.csv 2 to: it ends (2026-06-14T12:00:00Z) before")));
}

TEST(Relations, last_good_lies_inside_the_stay) {
    Study s;
    s.tables.stays[3].last_good = at("15T08:01");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops stays.csv 5 last_good: 2026-06-15T08:01:00Z lies outside")));
    s.tables.stays[3].last_good = at("15T03:00");
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_stay_that_ended_badly_without_a_last_good_instant_is_warned_of) {
    Study s;
    s.tables.stays[3].ended = StayEnding::died;
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware stays.csv 5 last_good")));
}

TEST(Relations, roles_of_one_stay_follow_each_other) {
    Study s;
    auto& parts = s.tables.stays[3].parts;
    parts.push_back({.role = uptake::StayRole::held,
                     .from = at("15T07:00"),
                     .to = at("15T09:00"),
                     .place = in("stays.csv", 6)});
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("stops stays.csv 6 from")));
    parts[1].from = at("15T08:30");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware stays.csv 6 from: the stay \"s4\" has no role")));
    parts[1].from = at("15T08:00");
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_blank_has_no_fish_and_every_other_role_has_one) {
    Study s;
    s.tables.stays[2].fish = FishId("st02");
    s.tables.stays[0].fish = FishId();
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("stops stays.csv 2 fish: rest without a fish"),
                                      HasSubstr("stops stays.csv 4 role: blank with the fish \"st02\"")));
}

TEST(Relations, unknown_fish_and_assemblies_offer_near_names) {
    Study s;
    s.tables.stays[0].fish = FishId("st1");
    s.tables.stays[1].assembly = AssemblyId("tube_1");
    EXPECT_THAT(
        s.said(),
        ElementsAre(HasSubstr("fish: \"st1\" is not in fish.csv | did you mean \"st01\"?"),
                    HasSubstr("assembly: \"tube_1\" is not in assemblies.csv | did you mean \"tube1\"?")));
}

TEST(Relations, a_fish_larger_than_its_chamber_stops_a_run) {
    Study s;
    s.tables.fish[0].mass = Mass::kilograms(14.0); // at 1 kg/L as large as the chamber
    EXPECT_THAT(s.said(), UnorderedElementsAre(
                              HasSubstr("stops stays.csv 2 fish: \"st01\" weighs 14000 g, and \"tube1\" "
                                        "holds 14 L"),
                              HasSubstr("stops stays.csv 5 fish")));
    s.tables.fish[0].mass = Mass::kilograms(13.9);
    EXPECT_THAT(s.said(), IsEmpty());
    s.tables.fish[0].density = Density::kg_per_l(0.99); // 14.04 L
    EXPECT_THAT(s.said(), SizeIs(2)) << "the fish's own density counts";
}

TEST(Relations, a_sensor_swapped_inside_a_stay_is_a_warning_that_names_where_it_splits) {
    Study s;
    auto swapped = Study::assembly("shore1", "ox9", "O2_2", 4);
    s.tables.assemblies[1].to = at("14T23:00");
    swapped.from = at("14T23:00");
    s.tables.assemblies.push_back(swapped);
    s.tables.calibrations.push_back(s.tables.calibrations[0]);
    s.tables.calibrations.back().sensor = SensorId("ox9");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("beware stays.csv 5 assembly: the stay \"s4\" splits at "
                                      "2026-06-14T23:00:00Z: the sensor changed from \"ox8\" to \"ox9\"")));
    const auto splits = splits_of(s.tables.stays[3], s.tables);
    ASSERT_THAT(splits, SizeIs(2));
    EXPECT_EQ(splits[0].to, at("14T23:00"));
    EXPECT_EQ(splits[1].assembly->sensor.text(), "ox9");
    EXPECT_EQ(splits[1].to, at("15T08:00"));
}

TEST(Relations, a_stay_that_no_row_of_its_assembly_covers_stops_a_run) {
    Study s;
    s.tables.assemblies[1].to = at("15T06:00");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr(
                              "no row of \"shore1\" in assemblies.csv holds from 2026-06-15T06:00:00Z to "
                              "2026-06-15T08:00:00Z")));
}

TEST(Relations, rows_of_one_assembly_do_not_overlap_and_a_sensor_is_in_one_place) {
    Study s;
    s.tables.assemblies.push_back(Study::assembly("tube1", "ox7", "O2_1", 4));
    EXPECT_THAT(s.said(), Contains(HasSubstr(
                              "stops assemblies.csv 4 from: two rows of \"tube1\" hold at once (line 2)")));
    s.tables.assemblies.back().id = AssemblyId("tube2");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("4 sensor: \"ox7\" is in \"tube1\" as well"),
                                      HasSubstr("4 oxygen: \"boat:O2_1\" is the channel of \"tube1\"")));
}

TEST(Relations, a_channel_of_an_unknown_trace_offers_a_near_name) {
    Study s;
    s.tables.assemblies[0].oxygen.trace = "boot";
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr(
                              "stops assemblies.csv 2 oxygen: \"boot:O2_1\": the brief has no [[trace]] "
                              "named \"boot\" | did you mean \"boat:O2_1\"?")));
}

TEST(Relations, an_event_outside_its_stay_stops_a_run_unless_its_uncertainty_reaches_it) {
    Study s;
    s.event(EventKind::disturbance, "14T12:51", "st01", "s1");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr(
                              "stops events.csv 2 at: disturbance at 2026-06-14T12:51:00Z lies outside "
                              "its stay \"s1\"")));
    s.tables.events[0].at_uncertainty = Duration::seconds(30.0);
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, an_event_names_the_fish_of_its_stay) {
    Study s;
    s.event(EventKind::disturbance, "14T12:20", "st02", "s1");
    s.event(EventKind::disturbance, "14T12:20", "", "s9");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("events.csv 2 stay: the stay \"s1\" is that of \"st01\""),
                                      HasSubstr("events.csv 3 stay: \"s9\" is not in stays.csv")));
}

TEST(Relations, chase_air_and_capture_come_in_their_order) {
    Study s;
    s.event(EventKind::chase_end, "15T09:00", "st01");
    s.event(EventKind::chase_start, "15T09:04", "st01");
    s.event(EventKind::landed, "14T11:50", "st01");
    s.event(EventKind::hook_up, "14T11:55", "st01");
    EXPECT_THAT(
        s.said(),
        ElementsAre(HasSubstr("stops events.csv 2 at: chase_end of \"st01\" at 2026-06-15T09:00:00Z comes "
                              "before chase_start"),
                    HasSubstr("stops events.csv 4 at: landed of \"st01\"")));
}

TEST(Relations, a_fish_caught_twice_is_in_order_each_time) {
    Study s;
    s.event(EventKind::hook_up, "14T11:40", "st01");
    s.event(EventKind::landed, "14T11:44", "st01");
    s.event(EventKind::hook_up, "16T11:40", "st01");
    s.event(EventKind::landed, "16T11:44", "st01");
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_chase_without_its_end_is_warned_of_and_so_is_a_release_after_a_death) {
    Study s;
    s.event(EventKind::chase_start, "15T09:00", "st01");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware events.csv 2 event: 1 chase_start and 0 chase_end")));
    s.tables.events.clear();
    s.event(EventKind::died, "15T03:00", "st01");
    s.event(EventKind::released, "15T10:00", "st01");
    EXPECT_THAT(
        s.said(),
        ElementsAre(HasSubstr("beware events.csv 2 at: \"st01\" died"),
                    AllOf(HasSubstr("beware events.csv 3 at: released of \"st01\" after it died (line 2)"),
                          HasSubstr("until then the death stands"))));
}

TEST(Relations, a_death_or_release_inside_a_stay_ends_what_is_used_of_it_and_is_warned_of) {
    // st01 is in s4 from 14T13:10 to 15T08:00.
    for (const auto kind : {EventKind::died, EventKind::released}) {
        Study s;
        s.event(kind, "15T03:00", "st01");
        EXPECT_THAT(s.said(),
                    ElementsAre(AllOf(HasSubstr("beware events.csv 2 at"),
                                      HasSubstr("its stay \"s4\" goes on to 2026-06-15T08:00:00Z"))));
        const auto& night = s.tables.stays[3];
        EXPECT_EQ(last_good_of(night, s.tables), at("15T03:00"));
        EXPECT_EQ(last_good_of(s.tables.stays[0], s.tables), std::nullopt);
        s.tables.stays[3].last_good = at("14T22:00");
        EXPECT_EQ(last_good_of(night, s.tables), at("14T22:00"));
        EXPECT_THAT(s.said(), IsEmpty());
    }
}

TEST(Relations, a_swap_without_a_new_row_of_the_assembly_is_warned_of) {
    Study s;
    s.event(EventKind::sensor_swap, "14T23:00", "");
    s.tables.events.back().assembly = AssemblyId("shore1");
    EXPECT_THAT(s.said(),
                ElementsAre(AllOf(HasSubstr("beware events.csv 2 event: a sensor was swapped in \"shore1\""),
                                  HasSubstr("old sensor's calibrations go on"))));
    auto swapped = Study::assembly("shore1", "ox9", "O2_2", 4);
    s.tables.assemblies[1].to = at("14T23:10");
    swapped.from = at("14T23:10");
    s.tables.assemblies.push_back(swapped);
    EXPECT_THAT(s.said(), Not(Contains(HasSubstr("a sensor was swapped"))));
}

TEST(Relations, a_stay_or_a_chase_after_a_death_stops_with_both_rows) {
    // st01 is in s1 until 12:50 and in s4 from 13:10.
    Study s;
    s.event(EventKind::died, "14T12:55", "st01");
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("stops stays.csv 5 from: the stay \"s4\" of \"st01\""),
                                            HasSubstr("(events.csv, line 2)"))));
    s.tables.events.clear();
    s.tables.stays[0].ended = StayEnding::died;
    s.tables.stays[0].last_good = at("14T12:40");
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("stops stays.csv 5 from: the stay \"s4\" of \"st01\""),
                                            HasSubstr("(stays.csv, line 2)"))));
    s.tables.stays.pop_back();
    EXPECT_THAT(s.said(), IsEmpty());
    s.event(EventKind::chase_start, "14T13:00", "st01");
    s.event(EventKind::chase_end, "14T13:05", "st01");
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops events.csv 2 at: chase_start of \"st01\" after it died "
                                      "(stays.csv, line 2)"),
                            HasSubstr("stops events.csv 3 at")));
}

TEST(Relations, a_start_moved_to_or_past_the_end_stops) {
    Study s;
    s.decision("s1", "14T12:10").act = DecisionAct::move_start;
    s.tables.decisions.back().moved_to = at("14T12:12");
    s.decision("s1", "14T12:10").act = DecisionAct::move_end;
    s.tables.decisions.back().moved_to = at("14T12:13");
    EXPECT_THAT(s.said(), IsEmpty());
    s.tables.decisions.back().moved_to = at("14T12:12");
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("stops decisions.csv 2 value: move_start"),
                                            HasSubstr("(line 3)"))));
}

TEST(Relations, keys_that_stand_twice_stop_a_run) {
    Study s;
    s.tables.fish.push_back(Study::fish("st01", 700.0, 4));
    s.tables.stays.push_back(Study::stay("s1", "st02", "tube1", "16T12:00", "16T12:50", 7));
    s.tables.calibrations.push_back(s.tables.calibrations[0]);
    s.tables.calibrations.back().place.line = 9;
    EXPECT_THAT(
        s.said(),
        ElementsAre(HasSubstr("stops fish.csv 4 fish: the fish \"st01\" stands in line 2 already"),
                    HasSubstr("stops calibrations.csv 9 at: the air point of \"ox7\""),
                    HasSubstr("stops stays.csv 7 stay: the stay \"s1\" (its rows must follow each other) "
                              "stands in line 2 already")));
}

TEST(Relations, a_sensor_never_calibrated_is_warned_of_once) {
    Study s;
    s.tables.calibrations.erase(s.tables.calibrations.begin());
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("beware assemblies.csv 2 sensor: \"ox7\" was never calibrated")));
}

TEST(Relations, zero_that_reads_as_high_as_air_stops_a_run) {
    Study s;
    auto zero = s.tables.calibrations[0];
    zero.point = CalibrationPoint::zero;
    zero.reading = 100.0;
    zero.place.line = 4;
    s.tables.calibrations.push_back(zero);
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops calibrations.csv 4 reading: zero of \"ox7\" reads 100")));
}

TEST(Relations, clock_checks_that_cannot_both_be_true_are_complaints) {
    Study s;
    s.clock(at("14T10:00"), at("14T10:01"));
    s.clock(at("14T18:00") + Duration::seconds(1.0), at("14T18:01"));
    EXPECT_THAT(s.said(), IsEmpty()) << "3 s a day is a clock";
    s.tables.clock_checks[1].true_time = at("14T18:05");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("beware clock_checks.csv 3 shown: \"boat\" went off by")));
    s.tables.clock_checks[1].true_time = at("13T18:01");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("stops clock_checks.csv 3 true: \"boat\" ran on")));
    s.tables.clock_checks[1].shown = at("14T10:05");
    s.tables.clock_checks[1].true_time = at("14T10:07");
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr(
                              "stops clock_checks.csv 3 shown: \"boat\" was off by -60.0 s more than")));
}

TEST(Relations, a_decision_has_a_stay_a_moment_inside_it_a_reason_and_an_author) {
    Study s;
    s.decision("s1", "14T12:10");
    EXPECT_THAT(s.said(), IsEmpty());
    s.decision("s7", "14T12:10");
    s.decision("s1", "14T13:10");
    s.decision("s1", "14T12:10").reason = "";
    s.decision("s1", "14T12:10").author = "";
    s.decision("s1", "14T12:10").act = DecisionAct::move_end;
    s.tables.decisions.back().moment.reset();
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops decisions.csv 3 stay: \"s7\" is not in stays.csv"),
                            HasSubstr("stops decisions.csv 4 moment: 2026-06-14T13:10:00Z lies outside"),
                            HasSubstr("stops decisions.csv 5 reason"),
                            HasSubstr("beware decisions.csv 6 author"),
                            HasSubstr("stops decisions.csv 7 moment: no moment for move_end")));
}

TEST(Relations, water_that_the_brief_says_nothing_of_is_warned_of) {
    Study s;
    s.brief.water = Water();
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("beware study.toml 0 : [water] says nothing of salinity"),
                            HasSubstr("beware study.toml 0 : [water] says nothing of barometric pressure")));
}

TEST(Relations, water_said_twice_or_a_pressure_without_its_altitude_stops) {
    Study s;
    s.brief.water.conductivity_ms_per_cm = 40.0;
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops study.toml 0 : [water] gives salinity and conductivity both")));
    s.brief.water.conductivity_ms_per_cm.reset();
    s.brief.water.pressure_is = PressureIs::sea_level;
    EXPECT_THAT(s.said(), ElementsAre(HasSubstr("pressure_is = \"sea_level\" without an altitude")));
    s.brief.water.altitude_m = 0.0;
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_clock_off_by_whole_hours_is_rather_a_zone) {
    Study s;
    const auto checked = [&](const char* shown) {
        s.tables.clock_checks = {{.clock = s.brief.traces.front().clock_id(),
                                  .shown = at(shown),
                                  .true_time = at("14T12:00"),
                                  .place = s.tables.fish[0].place}};
        return s.said();
    };
    EXPECT_THAT(checked("14T14:01"), ElementsAre(HasSubstr("is off by 2 h and 60 s")));
    EXPECT_THAT(checked("14T11:00"), ElementsAre(HasSubstr("is off by -1 h and 0 s")));
    EXPECT_THAT(checked("14T12:01"), IsEmpty());
    EXPECT_THAT(checked("14T13:30"), IsEmpty());
}

TEST(Relations, cleanings_of_an_assembly_include_those_of_all) {
    Study s;
    s.event(EventKind::cleaning, "16T10:00", "").assembly = AssemblyId("shore1");
    s.event(EventKind::cleaning, "15T10:00", "");
    s.event(EventKind::cleaning, "14T10:00", "").assembly = AssemblyId("tube1");
    EXPECT_THAT(cleanings_of(AssemblyId("shore1"), s.tables), ElementsAre(at("15T10:00"), at("16T10:00")));
}

// ---- decisions onto spells

std::vector<SpellSpan> three_spells() {
    return {
        {at("14T12:00"), at("14T12:05")}, {at("14T12:10"), at("14T12:15")}, {at("14T12:20"), at("14T12:25")}};
}

TEST(Decide, a_moment_finds_the_spell_it_lies_in_even_when_found_states_move_its_ends) {
    Study s;
    s.decision("s1", "14T12:12");
    auto spells = three_spells();
    EXPECT_EQ(project(s.tables.decisions, spells).spells[1].is_excluded, true);
    spells.erase(spells.begin()); // the first is no longer found: the ordinal moves, the decision does not
    spells[0].from = at("14T12:09");
    const auto again = project(s.tables.decisions, spells);
    EXPECT_EQ(again.spells[0].is_excluded, true);
    EXPECT_FALSE(again.spells[1].is_touched());
}

TEST(Decide, a_moment_in_a_flush_belongs_to_no_spell) {
    Study s;
    s.decision("s1", "14T12:07");
    s.decision("s1", "14T12:05"); // the spell's end is not in it
    s.decision("s1", "14T11:00");
    s.decision("s1", "14T12:20"); // its start is
    const auto out = project(s.tables.decisions, three_spells());
    EXPECT_THAT(out.without_spell, ElementsAre(0U, 1U, 2U));
    EXPECT_THAT(out.spells[2].acts, ElementsAre(3U));
}

TEST(Decide, a_later_act_undoes_an_earlier_one_and_a_decision_without_a_moment_means_all) {
    Study s;
    s.decision("s1", "14T12:01").moment.reset();
    s.decision("s1", "14T12:12").act = DecisionAct::include;
    const auto out = project(s.tables.decisions, three_spells());
    EXPECT_THAT(out.of_the_stay, ElementsAre(0U));
    EXPECT_EQ(out.spells[0].is_excluded, true);
    EXPECT_EQ(out.spells[1].is_excluded, false);
    EXPECT_EQ(out.spells[2].is_excluded, true);
}

// ------------------------------------------------------------------------------- columns that the brief
// names

TEST(Relations, a_question_may_name_columns_of_fish_and_encounters_own_ones_and_what_a_run_makes) {
    Study s;
    s.tables.own_columns = {{"fish.csv", {"sex"}}, {"encounters.csv", {"bait"}}, {"events.csv", {"tide"}}};
    s.brief.questions.push_back({.name = "q",
                                 .outcome = "peak_after_capture",
                                 .compare = "rig",
                                 .adjust_for = {"log(mass_g)", "sex x bait"},
                                 .within = "fish",
                                 .random = {"day", "hours within tube"}});
    s.brief.column_places = {{"sex", in("study.toml", 3)}, {"tide", in("study.toml", 4)}};
    EXPECT_THAT(s.said(), IsEmpty());
}

TEST(Relations, a_name_that_holds_a_cross_is_a_column_and_a_product_is_nothing_to_compare) {
    Study s;
    s.tables.own_columns = {{"fish.csv", {"salt x lime"}}};
    s.brief.questions.push_back({.name = "q",
                                 .outcome = "peak_after_capture",
                                 .compare = "log(salt x lime)",
                                 .adjust_for = {"rig", "rig x salt x lime"},
                                 .random = {"salt x lime"}});
    EXPECT_THAT(s.said(), IsEmpty());
    s.brief.questions[0].compare = "rig x mass_g";
    EXPECT_THAT(s.said(), ElementsAre(AllOf(HasSubstr("compare: compare = \"rig x mass_g\""),
                                            HasSubstr("adjust_for: [\"rig x mass_g\"]"))));
}

TEST(QuestionReading, takes_the_longest_names_that_there_are) {
    const auto parts_of = [](const std::string& text, const std::vector<std::string>& names) {
        std::vector<std::string> out;
        const auto term = question_term(
            text, [&](const std::string& name) { return std::ranges::find(names, name) != names.end(); });
        for (const auto& part : term ? term->parts : std::vector<QuestionTerm::Part>{}) {
            out.push_back(part.is_log ? "log " + part.column : part.column);
        }
        return out;
    };
    EXPECT_THAT(parts_of("a x b x c", {"a", "b x c"}), ElementsAre("a", "b x c"));
    EXPECT_THAT(parts_of("a x b x c", {"a x b", "c", "a", "b"}), ElementsAre("a x b", "c"));
    EXPECT_THAT(parts_of("log(a x b) x c", {"a x b", "c"}), ElementsAre("log a x b", "c"));
    EXPECT_THAT(parts_of("a x b", {"a"}), ElementsAre("a", "b")); // as it reads, for the message
    const auto random = [](const std::string& text, const std::vector<std::string>& names) {
        const auto one = question_random(
            text, [&](const std::string& name) { return std::ranges::find(names, name) != names.end(); });
        return one ? one->slope + "|" + one->group : "?";
    };
    EXPECT_EQ(random("near within far", {"near within far", "near", "far"}), "|near within far");
    EXPECT_EQ(random("a within b within c", {"a", "b within c"}), "a|b within c");
}

TEST(Relations, a_column_that_is_nowhere_is_told_with_its_key_and_the_nearest_name) {
    Study s;
    s.tables.own_columns = {{"encounters.csv", {"bait"}}, {"events.csv", {"tide"}}};
    s.brief.questions.push_back({.name = "q",
                                 .outcome = "peek",
                                 .compare = "baitt",
                                 .adjust_for = {"log(mas_g)"},
                                 .within = "fsh",
                                 .random = {"hour within dy", "tide"},
                                 .place = in("study.toml", 9)});
    s.brief.column_places = {{"baits", in("study.toml", 3)}};
    EXPECT_THAT(
        s.said(),
        ElementsAre(
            HasSubstr("beware study.toml 3 baits: there is no column \"baits\" | did you mean \"bait\"?"),
            HasSubstr("beware study.toml 9 outcome: there is no column \"peek\" | did you mean \"peak\"?"),
            HasSubstr("9 compare: there is no column \"baitt\" | did you mean \"bait\"?"),
            HasSubstr("9 adjust_for: there is no column \"mas_g\" | did you mean \"mass_g\"?"),
            HasSubstr("9 within: there is no column \"fsh\" | did you mean \"fish\"?"),
            HasSubstr("9 random: there is no column \"dy\" | did you mean \"day\"?"),
            HasSubstr("9 random: there is no column \"hour\" | did you mean \"hours\"?"),
            // A stage may be of any table's column, a question is put to fish and their captures.
            HasSubstr("9 random: there is no column \"tide\"")));
}

// ------------------------------------------------------------------------------- declarations

TEST(Relations, a_declaration_without_a_hash_or_author_or_question_or_after_a_fish_it_denies_is_told) {
    Study s;
    s.brief.questions.push_back({.name = "rig_peak", .outcome = "peak", .compare = "rig"});
    const std::string hash(64, 'a');
    const auto first = *first_met(s.tables);
    Declaration row{.question = "rig_peak",
                    .form_sha256 = hash,
                    .declared_at = first - Duration::hours(1.0),
                    .author = "A. Keen",
                    .place = in("declarations.csv", 2)};
    s.tables.declarations = {row};
    EXPECT_THAT(s.said(), IsEmpty());
    s.tables.declarations = {row, row, row, row};
    s.tables.declarations[0].form_sha256 = "ABC";
    s.tables.declarations[1].author = "";
    s.tables.declarations[2].declared_at = first + Duration::hours(1.0);
    s.tables.declarations[3].question = "rig_peek";
    for (std::size_t i = 0; i < 4; ++i) {
        s.tables.declarations[i].place = in("declarations.csv", i + 2);
    }
    EXPECT_THAT(s.said(),
                ElementsAre(HasSubstr("stops declarations.csv 2 form_sha256: \"ABC\""),
                            HasSubstr("beware declarations.csv 3 author"),
                            HasSubstr("beware declarations.csv 4 fish_met: 0 fish met at"),
                            HasSubstr("beware declarations.csv 5 question: the question \"rig_peek\" was "
                                      "declared and is not asked | did you mean \"rig_peak\"?")));
}

} // namespace
} // namespace backeddy::study
