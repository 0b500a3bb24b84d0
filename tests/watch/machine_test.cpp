// Alarms of the station, stay events, floods, hands that are refused, and the handover, told step by step.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "watch/faults.hpp"
#include "watch/handover.hpp"
#include "watch/kept.hpp"

namespace backeddy::watch::test {
namespace {

using testing::HasSubstr;

AlarmState station(const SimulatedRoom& room, Cause cause) {
    return room.watch().state().station_alarms[static_cast<std::size_t>(cause)].state;
}

std::string last_answer(const SimulatedRoom& room) {
    std::string words = "no answer";
    for (const auto& event : room.events()) {
        if (const auto* answer = std::get_if<HandAnswered>(&event.what)) {
            words = answer->words;
        }
    }
    return words;
}

SimulatedRoom room_with_fish() {
    const auto one = shore_room(1);
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(1800.0);
    return room;
}

TEST(Machine, a_clock_step_is_told_and_disturbs_no_cycle) {
    auto room = room_with_fish();
    const auto phase = room.watch().state().chambers[0].cycle.phase;
    room.wall_error_s = -7200.0;
    room.run(1805.0);
    EXPECT_EQ(station(room, Cause::clock_step), AlarmState::returned);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, phase);
}

TEST(Machine, a_full_disk_a_failed_write_and_lost_mains_are_alarms) {
    auto room = room_with_fish();
    room.machine = Machine{.disk_free_mb = 200.0, .on_mains = false, .battery_percent = 80.0};
    room.run(1830.0);
    EXPECT_EQ(station(room, Cause::disk), AlarmState::unacknowledged);
    EXPECT_EQ(station(room, Cause::power), AlarmState::unacknowledged);
    room.machine = Machine{.readings_are_kept = false};
    room.run(1900.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.why, Why::not_kept);
    EXPECT_EQ(station(room, Cause::disk), AlarmState::unacknowledged);
    EXPECT_EQ(station(room, Cause::power), AlarmState::returned);
}

TEST(Machine, a_watch_that_stood_still_flushes_all_and_says_so) {
    auto room = room_with_fish();
    room.run(2400.0);
    room.meddle = [](Input& input) { input.now.steady_s += 60.0; };
    room.run(2402.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
    EXPECT_EQ(station(room, Cause::watch_away), AlarmState::unacknowledged);
}

TEST(StayEvents, a_blood_sample_not_taken_is_an_alarm_until_it_is_done) {
    auto room = room_with_fish();
    room.at(1800.0, 0, hand::Expect{.what = Due::blood, .at = room.wall(2000.0)});
    room.run(2055.0);
    EXPECT_FALSE(room.raised_s(Cause::blood_due, 0));
    room.run(2070.0);
    EXPECT_TRUE(room.raised_s(Cause::blood_due, 0));
    room.at(2100.0, 0, hand::Done{.what = Due::blood});
    room.run(2110.0);
    EXPECT_EQ(room.watch().state().chambers[0].alarms[static_cast<std::size_t>(Cause::blood_due)].state,
              AlarmState::returned);
}

TEST(Hands, are_refused_in_words) {
    auto room = room_with_fish();
    room.at(1800.0, 0, hand::Clean{.minutes = 30.0});
    room.run(1805.0);
    EXPECT_THAT(last_answer(room), HasSubstr("a fish is in this chamber"));
    room.at(1810.0, 0, hand::Shelve{.cause = Cause::oxygen_low, .minutes = 30.0, .reason = "noise"});
    room.run(1815.0);
    EXPECT_THAT(last_answer(room), HasSubstr("two minutes"));
    room.at(1820.0, 0, hand::PutIn{.role = StayRole::rest, .mass_kg = 80.0});
    room.run(1825.0);
    EXPECT_THAT(last_answer(room), HasSubstr("does not fit"));
    room.at(1830.0, 7, hand::TakenOut{});
    room.run(1835.0);
    EXPECT_THAT(last_answer(room), HasSubstr("no such chamber"));
}

TEST(Flood, announces_the_first_of_each_chamber_and_lists_all) {
    std::vector<Room> rooms;
    for (std::uint64_t i = 1; i <= 14; ++i) {
        auto room = shore_room(i);
        room.faults = {{.kind = FaultKind::silent, .from_s = 3000.0},
                       {.kind = FaultKind::no_temperature, .from_s = 3000.0}};
        rooms.push_back(room);
    }
    SimulatedRoom room(rooms);
    for (std::size_t i = 0; i < rooms.size(); ++i) {
        room.at(30.0, i, put_in(rooms[i], StayRole::rest));
    }
    room.run(3100.0);
    int raised = 0;
    int announced = 0;
    bool has_flooded = false;
    for (const auto& event : room.events()) {
        if (const auto* change = std::get_if<AlarmChanged>(&event.what)) {
            raised += change->to == AlarmState::unacknowledged ? 1 : 0;
            announced += change->announce ? 1 : 0;
        }
        has_flooded = has_flooded || std::holds_alternative<Flood>(event.what);
    }
    EXPECT_TRUE(has_flooded);
    EXPECT_EQ(raised, 28);
    EXPECT_LT(announced, 20);
    EXPECT_GE(announced, 14);
}

TEST(Handover, says_what_is_in_each_chamber_and_what_waits) {
    auto room = room_with_fish();
    room.at(1800.0, 0, hand::Expect{.what = Due::blood, .at = room.wall(1700.0)});
    room.run(1830.0);
    const auto text = to_text(handover(room.watch()));
    EXPECT_THAT(text, HasSubstr("shore: fish, rest, 0.75 kg"));
    EXPECT_THAT(text, HasSubstr("Blood due (unacknowledged): blood was due"));
    EXPECT_THAT(text, HasSubstr("Take the sample by your permit's rules"));
}

TEST(Kept, a_long_absence_is_an_alarm_after_a_restart) {
    auto room = room_with_fish();
    const auto kept = keep(room.watch().state(), room.watch().plan());
    const Now later{.wall = room.wall(1800.0 + 300.0), .steady_s = 20.0, .boot = "another"};
    Watch watch(room.watch().plan(), resume(kept, room.watch().plan(), later));
    (void)watch.step({.now = later});
    EXPECT_EQ(watch.state().station_alarms[static_cast<std::size_t>(Cause::watch_away)].state,
              AlarmState::unacknowledged);
    EXPECT_EQ(watch.state().chambers[0].stay, room.watch().state().chambers[0].stay);
}

TEST(Kept, text_that_is_not_ours_is_refused_with_its_line) {
    const auto wrong = kept_from("backeddy watch 1\nat\tnoon\nend\n");
    ASSERT_FALSE(wrong.has_value());
    EXPECT_EQ(wrong.error().place.line, 2U);
    EXPECT_FALSE(kept_from("").has_value());
    EXPECT_FALSE(kept_from("backeddy watch 1\nat\t5\n").has_value());
}

} // namespace
} // namespace backeddy::watch::test
