// States from columns, logs and timetables; spells and settle.

#include "uptake/states.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "uptake/role.hpp"
#include "uptake/spell.hpp"

namespace backeddy::uptake {
namespace {

const Instant start = Instant::unix_nanoseconds(1'780'000'000'000'000'000);
constexpr auto flush = ChamberState::flush;
constexpr auto sealed = ChamberState::sealed;
constexpr auto unknown = ChamberState::unknown;

Instant at(double seconds) {
    return start + Duration::seconds(seconds);
}

std::vector<std::int64_t> seconds_from(int first, int end, int step = 1) {
    std::vector<std::int64_t> out;
    for (int s = first; s < end; s += step) {
        out.push_back(at(s).unix_nanoseconds());
    }
    return out;
}

const Duration ns = Duration::nanoseconds(1);

TEST(States, a_column_gives_runs_and_leaves_out_what_it_does_not_know) {
    const auto times = seconds_from(0, 6);
    const std::vector<ChamberState> column{flush, flush, sealed, sealed, unknown, sealed};
    const auto runs = states_from_column(times, column);
    const std::vector<StateRun> expected{
        {flush, at(0), at(2)}, {sealed, at(2), at(4)}, {sealed, at(5), at(5) + ns}};
    EXPECT_EQ(runs, expected);
}

TEST(States, each_row_of_a_log_holds_until_the_next) {
    const PumpLog log{.times_ns = {at(-100).unix_nanoseconds(), at(10).unix_nanoseconds(),
                                   at(17).unix_nanoseconds(), at(400).unix_nanoseconds()},
                      .state = {flush, sealed, sealed, flush}};
    const auto runs = states_from_log(log, at(0), at(500));
    ASSERT_TRUE(runs.has_value());
    const std::vector<StateRun> expected{
        {flush, at(0), at(10)}, {sealed, at(10), at(400)}, {flush, at(400), at(500)}};
    EXPECT_EQ(*runs, expected);
}

TEST(States, before_its_first_row_a_log_says_nothing) {
    const PumpLog log{.times_ns = {at(100).unix_nanoseconds()}, .state = {sealed}};
    const auto runs = states_from_log(log, at(0), at(200));
    ASSERT_TRUE(runs.has_value());
    ASSERT_EQ(runs->size(), 1U);
    EXPECT_EQ(runs->front().from, at(100));
}

TEST(States, a_timetable_flushes_first) {
    const Timetable timetable{.start = at(0), .period = Duration::minutes(10), .flush = Duration::minutes(4)};
    const auto runs = states_from_timetable(timetable, at(500), at(1300));
    ASSERT_TRUE(runs.has_value());
    const std::vector<StateRun> expected{{sealed, at(500), at(600)},
                                         {flush, at(600), at(840)},
                                         {sealed, at(840), at(1200)},
                                         {flush, at(1200), at(1300)}};
    EXPECT_EQ(*runs, expected);
    EXPECT_FALSE(
        states_from_timetable({.start = at(0), .period = Duration::minutes(4), .flush = Duration::minutes(4)},
                              at(0), at(10))
            .has_value());
}

TEST(States, the_four_sources_of_one_truth_agree) {
    // Column, log and timetable of the same pump give the same spells.
    const auto times = seconds_from(0, 3600);
    ChamberTrace trace{.times_ns = times};
    trace.oxygen_mg_per_l.assign(times.size(), 9.0);
    PumpLog log;
    for (int s = 0; s < 3600; ++s) {
        const auto state = s % 600 < 180 ? flush : sealed;
        trace.state.push_back(state);
        if (s == 0 || trace.state[static_cast<std::size_t>(s - 1)] != state) {
            log.times_ns.push_back(times[static_cast<std::size_t>(s)]);
            log.state.push_back(state);
        }
    }
    const auto by_column = chamber_states(trace, 0, trace.rows(), {});
    const auto by_log = chamber_states(trace, 0, trace.rows(), {.asked = StatesFrom::pump_log, .log = &log});
    const auto by_table =
        chamber_states(trace, 0, trace.rows(),
                       {.asked = StatesFrom::timetable,
                        .timetable = Timetable{at(0), Duration::minutes(10), Duration::minutes(3)}});
    ASSERT_TRUE(by_column && by_log && by_table);
    EXPECT_EQ(by_column->from, StatesFrom::pump_column);
    EXPECT_EQ(by_column->runs, by_log->runs);
    EXPECT_EQ(by_column->runs, by_table->runs);
    EXPECT_EQ(by_column->runs.size(), 12U);
}

TEST(States, a_source_that_is_asked_for_is_never_replaced) {
    ChamberTrace trace{.times_ns = seconds_from(0, 100)};
    trace.oxygen_mg_per_l.assign(100, 9.0);
    trace.state.assign(100, sealed);
    const auto out = chamber_states(trace, 0, 100, {.asked = StatesFrom::pump_log});
    ASSERT_FALSE(out.has_value());
    EXPECT_NE(out.error().found.find("pump log"), std::string::npos);
}

// ------------------------------------------------------------------------------------------------ spells

TEST(Spells, runs_are_cut_at_gaps_and_at_role_boundaries) {
    auto times = seconds_from(0, 100);
    for (const auto t : seconds_from(160, 200)) {
        times.push_back(t);
    }
    const std::vector<StateRun> runs{{sealed, at(0), at(199) + ns}};
    const std::vector<Instant> cuts{at(40.5)};
    const auto spells = cut_spells(times, 0, times.size(), runs, Duration::seconds(10), cuts);
    ASSERT_EQ(spells.size(), 3U);
    EXPECT_EQ(spells[0], (Spell{sealed, 0, 41, at(0), at(40.5)}));
    EXPECT_EQ(spells[1], (Spell{sealed, 41, 100, at(40.5), at(99)}));
    EXPECT_EQ(spells[2], (Spell{sealed, 100, 140, at(160), at(199) + ns}));
}

TEST(Spells, the_moment_of_a_log_is_kept_though_no_row_stands_on_it) {
    const auto times = seconds_from(0, 100, 5);
    const std::vector<StateRun> runs{{flush, at(0), at(32.5)}, {sealed, at(32.5), at(95) + ns}};
    const auto spells = cut_spells(times, 0, times.size(), runs, Duration::seconds(25));
    ASSERT_EQ(spells.size(), 2U);
    EXPECT_EQ(spells[0].end_row, 7U);
    EXPECT_EQ(spells[1].from, at(32.5));
    EXPECT_EQ(spells[1].first_row, 7U);
    EXPECT_EQ(spells[1].end_row, 20U);
}

TEST(Spells, every_row_of_known_state_lies_in_exactly_one_spell) {
    const auto times = seconds_from(0, 1000);
    std::vector<ChamberState> column;
    for (int s = 0; s < 1000; ++s) {
        column.push_back(s % 97 < 30 ? flush : sealed);
    }
    const auto spells =
        cut_spells(times, 0, times.size(), states_from_column(times, column), Duration::seconds(5));
    std::size_t next = 0;
    for (const auto& spell : spells) {
        EXPECT_EQ(spell.first_row, next);
        for (std::size_t i = spell.first_row; i < spell.end_row; ++i) {
            ASSERT_EQ(column[i], spell.state);
        }
        next = spell.end_row;
    }
    EXPECT_EQ(next, times.size());
}

TEST(Settle, is_short_after_capture_and_long_at_rest) {
    EXPECT_DOUBLE_EQ(settle_time(StayRole::after_capture, 10.0, 8.0).seconds(), 34.0);
    EXPECT_DOUBLE_EQ(settle_time(StayRole::after_chase, 10.0, 8.0).seconds(), 34.0);
    EXPECT_DOUBLE_EQ(settle_time(StayRole::rest, 10.0, 8.0).seconds(), 60.0);
    EXPECT_DOUBLE_EQ(settle_time(StayRole::blank, 20.0, 12.0).seconds(), 80.0);
}

TEST(Roles, words_come_back_as_they_went) {
    for (const auto role :
         {StayRole::after_capture, StayRole::rest, StayRole::after_chase, StayRole::handled_only,
          StayRole::control, StayRole::held, StayRole::blank, StayRole::leak_test}) {
        EXPECT_EQ(role_from(word(role)), role);
    }
    EXPECT_FALSE(role_from("resting").has_value());
}

} // namespace
} // namespace backeddy::uptake
