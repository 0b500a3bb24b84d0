// The cycle of flush and sealed over the chamber's physics, in virtual time.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "watch/simulated_room.hpp"

namespace backeddy::watch {
namespace {

using test::boat_room;
using test::put_in;
using test::shore_room;
using test::SimulatedRoom;

struct Began {
    double at_s;
    PhaseBegan phase;
};

std::vector<Began> phases(const SimulatedRoom& room, std::size_t chamber = 0) {
    std::vector<Began> out;
    for (const auto& event : room.events()) {
        const auto* began = std::get_if<PhaseBegan>(&event.what);
        if (began != nullptr && event.chamber == chamber) {
            out.push_back({room.seconds(event.at), *began});
        }
    }
    return out;
}

std::vector<SpellEnded> spells(const SimulatedRoom& room) {
    std::vector<SpellEnded> out;
    for (const auto& event : room.events()) {
        if (const auto* ended = std::get_if<SpellEnded>(&event.what)) {
            out.push_back(*ended);
        }
    }
    return out;
}

Settings with_timetable() {
    Settings settings;
    settings.rest.timing = settings.fast.timing = Timing::timetable;
    return settings;
}

TEST(Cycle, an_empty_chamber_is_flushed_for_ever) {
    SimulatedRoom room({shore_room(1)});
    room.run(7200.0);
    EXPECT_TRUE(phases(room).empty());
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
}

TEST(Cycle, a_timetable_keeps_its_lengths) {
    auto one = shore_room(2);
    SimulatedRoom room({one}, with_timetable());
    room.at(60.0, 0, put_in(one, StayRole::rest));
    room.run(4.0 * 3600.0);
    const auto began = phases(room);
    ASSERT_GT(began.size(), 20U);
    for (std::size_t i = 2; i + 1 < began.size(); ++i) {
        const double length = began[i + 1].at_s - began[i].at_s;
        EXPECT_NEAR(length, began[i].phase.phase == Phase::sealed ? 600.0 : 300.0, 5.0) << i;
    }
}

TEST(Cycle, a_fish_is_sealed_only_after_its_sensor_was_believed_for_a_while) {
    auto one = shore_room(3);
    SimulatedRoom room({one});
    room.at(60.0, 0, put_in(one, StayRole::rest));
    room.run(3600.0);
    const auto began = phases(room);
    ASSERT_FALSE(began.empty());
    EXPECT_EQ(began[0].phase.phase, Phase::sealed);
    EXPECT_GE(began[0].at_s, 60.0 + 20.0);
}

TEST(Cycle, precision_gives_a_quiet_fish_longer_spells_than_a_busy_one_and_fixes_them_before_they_start) {
    auto one = shore_room(4);
    one.fish->excesses = {{.at_s = 0.0, .phases = {{.amplitude_mg_per_h = 250.0, .rate_per_h = 0.7}}}};
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(8.0 * 3600.0);
    const auto all = spells(room);
    ASSERT_GT(all.size(), 15U);
    EXPECT_LT(all[1].planned_s * 1.3, all.back().planned_s);
    for (const auto& spell : all) {
        if (spell.why == Why::as_planned) {
            EXPECT_NEAR(spell.sealed_s, spell.planned_s, 5.0);
        }
    }
}

TEST(Cycle, overshoot_below_the_floor_is_at_most_2_percent_in_a_tight_tube) {
    double lowest = 100.0;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        auto one = boat_room(seed);
        one.plan.sensor_lag_s = 6.0 + (0.5 * static_cast<double>(seed));
        auto settings = with_timetable();
        settings.fast.sealed_s = 600.0; // the floor has to end every early spell
        SimulatedRoom room({one}, settings);
        room.at(20.0, 0, put_in(one, StayRole::after_capture));
        room.run(3000.0);
        const auto all = spells(room);
        EXPECT_TRUE(std::ranges::any_of(all, [](const SpellEnded& s) { return s.why == Why::floor; }));
        lowest = std::min(lowest, room.lowest_percent(0));
    }
    RecordProperty("lowest_percent", std::to_string(lowest));
    EXPECT_GE(lowest, 78.0);
}

TEST(Cycle, a_flush_ends_95_percent_of_the_way_to_what_the_pump_can_reach_with_this_fish) {
    auto one = shore_room(6);
    one.inflow_tide_percent = 0.0;
    one.plan.flow_l_per_min = 6.0; // the fish holds the water well below the inflow
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(6.0 * 3600.0);
    const auto began = phases(room);
    ASSERT_GT(began.size(), 10U);
    const double turnover = turnover_s(one.plan, 0.75);
    for (std::size_t i = began.size() - 6; i + 1 < began.size(); ++i) {
        if (began[i].phase.phase == Phase::flush) {
            // Three turnovers are 95 %; the sensor's lag comes on top.
            const double turnovers = (began[i + 1].at_s - began[i].at_s) / turnover;
            EXPECT_GT(turnovers, 2.0);
            EXPECT_LT(turnovers, 4.5);
        }
    }
}

TEST(Cycle, a_pump_too_small_is_said_within_the_first_spell) {
    auto one = boat_room(7);
    one.plan.flow_l_per_min = 2.0;
    SimulatedRoom room({one});
    room.at(20.0, 0, put_in(one, StayRole::after_capture));
    room.run(1200.0);
    const auto said = room.raised_s(Cause::pump_too_small, 0);
    ASSERT_TRUE(said);
    const auto began = phases(room);
    ASSERT_GE(began.size(), 2U);
    EXPECT_LE(*said, began[1].at_s + 1.0);
}

TEST(Cycle, a_hold_by_hand_ends_by_itself_and_the_floor_overrides_it) {
    auto one = shore_room(8);
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(1800.0);
    room.at(1800.0, 0, hand::Hold{.minutes = 10.0});
    room.run(3000.0);
    EXPECT_THAT(phases(room), testing::Contains(testing::Truly(
                                  [](const Began& b) { return b.phase.why == Why::hand_ended; })));

    auto tube = boat_room(8);
    SimulatedRoom boat({tube});
    boat.at(20.0, 0, put_in(tube, StayRole::after_capture));
    boat.run(120.0);
    boat.at(120.0, 0, hand::Hold{.minutes = 600.0});
    boat.run(900.0);
    EXPECT_GE(boat.lowest_percent(0), 78.0);
}

TEST(Cycle, a_flush_by_hand_ends_by_itself) {
    auto one = shore_room(9);
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.at(2000.0, 0, hand::Flush{.minutes = 20.0});
    room.run(2000.0 + 1100.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
    room.run(2000.0 + 1800.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::sealed);
}

TEST(Cycle, a_silent_sensor_leads_to_flush_and_the_cycle_goes_on_when_it_speaks) {
    auto one = shore_room(10);
    one.faults = {{.kind = test::FaultKind::silent, .from_s = 3000.0, .to_s = 4000.0}};
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(3040.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
    room.run(6000.0);
    EXPECT_GT(phases(room).back().at_s, 4000.0);
}

TEST(Cycle, after_a_restart_every_chamber_is_flushed_and_the_fish_is_known) {
    auto one = shore_room(11);
    SimulatedRoom room({one});
    room.at(30.0, 0, put_in(one, StayRole::rest));
    room.run(2.0 * 3600.0);
    const auto stay = room.watch().state().chambers[0].stay;
    room.restart();
    room.run(room.now_s() + 5.0);
    EXPECT_EQ(room.watch().state().chambers[0].cycle.phase, Phase::flush);
    EXPECT_EQ(room.watch().state().chambers[0].stay, stay);
    room.run(room.now_s() + 1800.0);
    EXPECT_GT(room.watch().state().chambers[0].stay.spells.size(), stay.spells.size());
}

} // namespace
} // namespace backeddy::watch
