// One alarm's states against the state-transition diagram of IEC 62682:2022 and ANSI/ISA-18.2-2016, written
// below as a table FROM MEMORY: the standards are not at hand. The diagram's "latched" and "out of service"
// states are left out: ours are the six of AlarmState.

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "watch/alarm.hpp"

namespace backeddy::watch {
namespace {

constexpr AlarmRule medium{.priority = Priority::medium};
constexpr AlarmRule at_risk{.priority = Priority::fish_at_risk};
constexpr double quiet_s = 120.0;

enum class Happens : std::uint8_t { comes, goes, ack, shelve, unshelve, time_over, suppress, design_over };

constexpr std::array all_states{AlarmState::normal,   AlarmState::unacknowledged, AlarmState::acknowledged,
                                AlarmState::returned, AlarmState::shelved,        AlarmState::suppressed};

/// An alarm in that state, the sign there or not.
Alarm alarm_in(AlarmState state, bool active) {
    Alarm alarm;
    alarm.state = state;
    alarm.active = alarm.raw = active;
    if (state == AlarmState::shelved) {
        alarm.shelved_until_s = 1000.0;
    }
    alarm.is_suppressed = state == AlarmState::suppressed;
    return alarm;
}

void let(Alarm& alarm, const AlarmRule& rule, Happens what) {
    switch (what) {
    case Happens::comes:
        observe(alarm, rule, Sign::there, 10.0);
        break;
    case Happens::goes:
        observe(alarm, rule, Sign::gone, 10.0);
        break;
    case Happens::ack:
        acknowledge(alarm, rule, 10.0, quiet_s, "crew");
        break;
    case Happens::shelve:
        shelve(alarm, rule, 10.0, 600.0, "crew");
        break;
    case Happens::unshelve:
        unshelve(alarm, 10.0);
        break;
    case Happens::time_over:
        observe(alarm, rule, Sign::as_before, 2000.0);
        break;
    case Happens::suppress:
        suppress(alarm, rule, true, 10.0);
        break;
    case Happens::design_over:
        suppress(alarm, rule, false, 10.0);
        break;
    }
}

struct Transition {
    AlarmState from;
    bool active; ///< the sign stands before it happens
    Happens what;
    AlarmState to;
};

// Where a pair of state and happening is not in the table the state stays.
using S = AlarmState;
using H = Happens;
const std::vector<Transition> diagram{
    {S::normal, false, H::comes, S::unacknowledged},
    {S::normal, false, H::shelve, S::shelved},
    {S::normal, false, H::suppress, S::suppressed},
    {S::unacknowledged, true, H::ack, S::acknowledged},
    {S::unacknowledged, true, H::goes, S::returned},
    {S::unacknowledged, true, H::shelve, S::shelved},
    {S::unacknowledged, true, H::suppress, S::suppressed},
    {S::acknowledged, true, H::goes, S::normal},
    {S::acknowledged, true, H::shelve, S::shelved},
    {S::acknowledged, true, H::suppress, S::suppressed},
    {S::returned, false, H::ack, S::normal},
    {S::returned, false, H::comes, S::unacknowledged},
    {S::returned, false, H::shelve, S::shelved},
    {S::returned, false, H::suppress, S::suppressed},
    {S::shelved, true, H::unshelve, S::unacknowledged},
    {S::shelved, true, H::time_over, S::unacknowledged},
    {S::shelved, true, H::suppress, S::suppressed},
    {S::shelved, false, H::unshelve, S::normal},
    {S::shelved, false, H::time_over, S::normal},
    {S::shelved, false, H::suppress, S::suppressed},
    {S::suppressed, true, H::design_over, S::unacknowledged},
    {S::suppressed, false, H::design_over, S::normal},
};

bool can_be(AlarmState state, bool active) {
    switch (state) {
    case S::normal:
    case S::returned:
        return !active;
    case S::unacknowledged:
    case S::acknowledged:
        return active;
    case S::shelved:
    case S::suppressed:
        return true;
    }
    return false;
}

AlarmState expected(AlarmState from, bool active, Happens what) {
    for (const auto& row : diagram) {
        if (row.from == from && row.active == active && row.what == what) {
            return row.to;
        }
    }
    return from;
}

TEST(AlarmDiagram, every_state_and_happening_leads_where_the_table_says) {
    int checked = 0;
    for (const auto from : all_states) {
        for (const bool active : {false, true}) {
            for (int w = 0; w <= static_cast<int>(H::design_over) && can_be(from, active); ++w) {
                const auto what = static_cast<Happens>(w);
                auto alarm = alarm_in(from, active);
                let(alarm, medium, what);
                EXPECT_EQ(word(alarm.state), word(expected(from, active, what)))
                    << "from " << word(from) << (active ? " with" : " without") << " its sign, happening "
                    << w;
                ++checked;
            }
        }
    }
    EXPECT_EQ(checked, 8 * 8);
}

TEST(Alarm, delays_hold_a_flicker_back_both_ways) {
    const AlarmRule rule{.priority = Priority::medium, .on_delay_s = 10.0, .off_delay_s = 30.0};
    Alarm alarm;
    for (double t = 0.0; t < 100.0; t += 1.0) { // 5 s on, 5 s off
        observe(alarm, rule, std::fmod(t, 10.0) < 5.0 ? Sign::there : Sign::gone, t);
    }
    EXPECT_EQ(alarm.state, S::normal);
    observe(alarm, rule, Sign::there, 100.0);
    observe(alarm, rule, Sign::there, 110.0);
    EXPECT_EQ(alarm.state, S::unacknowledged);
    observe(alarm, rule, Sign::gone, 111.0);
    observe(alarm, rule, Sign::gone, 140.0);
    EXPECT_EQ(alarm.state, S::unacknowledged);
    observe(alarm, rule, Sign::gone, 141.0);
    EXPECT_EQ(alarm.state, S::returned);
}

TEST(Alarm, between_the_limit_and_its_deadband_nothing_changes) {
    EXPECT_EQ(sign_above(5.1, 5.0, 1.0), Sign::there);
    EXPECT_EQ(sign_above(4.5, 5.0, 1.0), Sign::as_before);
    EXPECT_EQ(sign_above(3.9, 5.0, 1.0), Sign::gone);
    EXPECT_EQ(sign_below(4.9, 5.0, 1.0), Sign::there);
    EXPECT_EQ(sign_below(5.5, 5.0, 1.0), Sign::as_before);
    EXPECT_EQ(sign_below(6.1, 5.0, 1.0), Sign::gone);
}

TEST(Alarm, of_a_fish_at_risk_sounds_again_two_minutes_after_it_was_acknowledged) {
    auto alarm = alarm_in(S::unacknowledged, true);
    EXPECT_TRUE(sounds(alarm, at_risk, 10.0));
    acknowledge(alarm, at_risk, 10.0, quiet_s, "crew");
    EXPECT_FALSE(sounds(alarm, at_risk, 129.0));
    EXPECT_TRUE(sounds(alarm, at_risk, 130.0));
}

TEST(Alarm, that_was_shelved_under_a_suppression_is_shelved_when_that_ends) {
    auto alarm = alarm_in(S::suppressed, true);
    shelve(alarm, medium, 10.0, 600.0, "crew");
    EXPECT_EQ(alarm.state, S::suppressed);
    suppress(alarm, medium, false, 20.0);
    EXPECT_EQ(alarm.state, S::shelved);
    observe(alarm, medium, Sign::there, 611.0);
    EXPECT_EQ(alarm.state, S::unacknowledged);
}

/// A random history: what happens, and how long after the one before.
struct Turn {
    int what; ///< 0 to 7 as Happens, 8 quiet
    double after_s;
};

std::vector<Turn> any_history() {
    const auto turns = *rc::gen::container<std::vector<std::pair<int, int>>>(
        rc::gen::pair(rc::gen::inRange(0, 9), rc::gen::inRange(0, 300)));
    std::vector<Turn> out;
    for (const auto& [what, after] : turns) {
        out.push_back({what, static_cast<double>(after)});
    }
    return out;
}

void take(Alarm& alarm, const AlarmRule& rule, const Turn& turn, double now_s) {
    switch (turn.what) {
    case 0:
        observe(alarm, rule, Sign::there, now_s);
        break;
    case 1:
        observe(alarm, rule, Sign::gone, now_s);
        break;
    case 2:
        acknowledge(alarm, rule, now_s, quiet_s, "crew");
        break;
    case 3:
        shelve(alarm, rule, now_s, 600.0, "crew");
        break;
    case 4:
        unshelve(alarm, now_s);
        break;
    case 5:
        observe(alarm, rule, Sign::as_before, now_s);
        break;
    case 6:
        suppress(alarm, rule, true, now_s);
        break;
    case 7:
        suppress(alarm, rule, false, now_s);
        break;
    default:
        quiet(alarm, now_s, quiet_s);
    }
}

RC_GTEST_PROP(AlarmProperty, a_fish_at_risk_is_never_hidden_and_never_quiet_for_over_two_minutes, ()) {
    Alarm alarm;
    double now_s = 0.0;
    for (const auto& turn : any_history()) {
        now_s += turn.after_s;
        take(alarm, at_risk, turn, now_s);
        RC_ASSERT(alarm.state != S::shelved && alarm.state != S::suppressed);
        if (alarm.active) {
            RC_ASSERT(is_listed(alarm));
            RC_ASSERT(sounds(alarm, at_risk, now_s + quiet_s));
        }
    }
}

RC_GTEST_PROP(AlarmProperty, every_step_of_any_history_is_in_the_table, ()) {
    Alarm alarm;
    double now_s = 0.0;
    for (const auto& turn : any_history()) {
        now_s += turn.after_s;
        const auto before = alarm.state;
        take(alarm, medium, turn, now_s);
        if (alarm.state == before) {
            continue;
        }
        // A shelf's end and a new sign may fall into one step: what counts is that the way is one of the
        // table's.
        const bool is_known = std::ranges::any_of(
            diagram, [&](const Transition& row) { return row.from == before && row.to == alarm.state; });
        const bool back_to_shelf = before == S::suppressed && alarm.state == S::shelved;
        RC_ASSERT(is_known || back_to_shelf);
        RC_ASSERT(can_be(alarm.state, alarm.active));
    }
}

} // namespace
} // namespace backeddy::watch
