// What must hold for any sequence of hands, readings and clock, however odd.

#include <algorithm>
#include <array>
#include <limits>
#include <vector>

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "watch/handover.hpp"
#include "watch/kept.hpp"
#include "watch/watch.hpp"

namespace backeddy::watch {
namespace {

Plan small_plan() {
    Plan plan;
    plan.salinity = 30.0;
    plan.chambers = {
        {.name = "one", .water_l = 12.0, .flow_l_per_min = 15.0, .sensor_lag_s = 4.0, .mixing_s = 3.0},
        {.name = "two", .water_l = 40.0, .flow_l_per_min = 20.0}};
    return plan;
}

constexpr std::array roles{StayRole::after_capture, StayRole::rest, StayRole::after_chase, StayRole::blank,
                           StayRole::held};

Act any_act() {
    const auto cause = static_cast<Cause>(*rc::gen::inRange<int>(0, static_cast<int>(causes)));
    const double minutes = *rc::gen::inRange(-5, 300);
    switch (*rc::gen::inRange(0, 14)) {
    case 0:
    case 1:
        return hand::PutIn{.role = roles[*rc::gen::inRange<std::size_t>(0, roles.size())],
                           .mass_kg = *rc::gen::inRange(-1, 30) / 10.0};
    case 2:
        return hand::TakenOut{};
    case 3:
        return hand::Disturbed{};
    case 4:
        return hand::Clean{.minutes = minutes};
    case 5:
    case 6:
        return hand::Hold{.minutes = minutes};
    case 7:
        return hand::Flush{.minutes = minutes};
    case 8:
        return hand::Resume{};
    case 9:
        return hand::Acknowledge{.cause = cause};
    case 10:
        return hand::Quiet{.cause = cause};
    case 11:
        return hand::Shelve{.cause = cause, .minutes = minutes, .reason = "it is known"};
    case 12:
        return hand::Unshelve{.cause = cause};
    default:
        return hand::Expect{.what = Due::blood, .at = Instant::unix_seconds(1.8e9)};
    }
}

/// A world of its own: oxygen wanders, sensors fail, people press.
struct Story {
    Now now{.wall = Instant::unix_seconds(1.8e9), .steady_s = 100.0, .boot = "a"};
    double oxygen = 7.9;
    double celsius = 12.0;
    double fall = 0.0;

    Input next() {
        const bool is_odd = *rc::gen::inRange(0, 100) < 2;
        const double dt = is_odd ? *rc::gen::elementOf(std::vector<double>{0.0, 6.0, 70.0, -3.0}) : 1.0;
        now.steady_s += dt;
        now.wall = now.wall + Duration::seconds(dt);
        if (*rc::gen::inRange(0, 1000) == 0) {
            now.boot += "b";
        }
        if (*rc::gen::inRange(0, 40) == 0) {
            fall = *rc::gen::inRange(-60, 60) * 1e-3;
        }
        oxygen = std::clamp(oxygen - fall, 0.0, 9.0);
        Input input{.now = now};
        for (const std::size_t chamber : {0U, 1U}) {
            input.readings.push_back({.kind = ChannelKind::temperature,
                                      .chamber = chamber,
                                      .steady_s = now.steady_s,
                                      .value = celsius + (*rc::gen::inRange(0, 300) == 0 ? 15.0 : 0.0)});
            input.readings.push_back({.kind = ChannelKind::oxygen,
                                      .chamber = chamber,
                                      .steady_s = now.steady_s,
                                      .value = reading()});
        }
        if (*rc::gen::inRange(0, 6) == 0) {
            input.hands.push_back(
                {.chamber = *rc::gen::inRange<std::size_t>(0, 3), .by = "crew", .act = any_act()});
        }
        return input;
    }

    std::optional<double> reading() {
        switch (*rc::gen::inRange(0, 60)) {
        case 0:
            return std::nullopt;
        case 1:
            return std::numeric_limits<double>::quiet_NaN();
        case 2:
            return 1e300;
        case 3:
            return -5.0;
        default:
            return oxygen + (*rc::gen::inRange(-10, 11) * 1e-3);
        }
    }
};

constexpr int steps = 400;

double longest_sealed_s(const Watch& watch, std::size_t chamber) {
    return watch.plan().settings.cycle(watch.state().chambers[chamber].stay.role).longest_sealed_s;
}

RC_GTEST_PROP(WatchProperty, no_chamber_is_ever_sealed_beyond_its_limits, ()) {
    Watch watch(small_plan());
    Story story;
    std::array<double, 2> sealed_since{-1.0, -1.0};
    int sealed_steps = 0;
    for (int i = 0; i < steps; ++i) {
        const auto input = story.next();
        const auto out = watch.step(input);
        for (const auto& command : out.commands) {
            const auto& chamber = watch.state().chambers[command.chamber];
            double& since = sealed_since[command.chamber];
            if (command.pump == Phase::flush) {
                since = -1.0;
                continue;
            }
            since = since < 0.0 ? input.now.steady_s : since;
            ++sealed_steps;
            RC_ASSERT(chamber.stay.is_used());
            RC_ASSERT(input.now.steady_s - since < longest_sealed_s(watch, command.chamber));
            RC_ASSERT(input.now.steady_s - *chamber.oxygen.believed_s <=
                      watch.plan().settings.interlock.unsure_after_s);
            if (chamber.stay.has_fish()) {
                const double full = full_mg_per_l(watch.plan(), story.celsius);
                RC_ASSERT(*chamber.oxygen.line.at(input.now.steady_s) > 0.78 * full);
            }
        }
    }
    RC_CLASSIFY(sealed_steps > 0, "a chamber was sealed");
}

RC_GTEST_PROP(WatchProperty, an_interlock_leads_to_flush_in_the_same_step, ()) {
    Watch watch(small_plan());
    Story story;
    Now last = story.now;
    for (int i = 0; i < steps; ++i) {
        auto input = story.next();
        const bool is_first = i == 0;
        const bool was_away = input.now.steady_s - last.steady_s > 5.0 ||
                              input.now.steady_s < last.steady_s || input.now.boot != last.boot;
        last = input.now;
        const auto out = watch.step(input);
        for (const auto& command : out.commands) {
            if (is_first || was_away) {
                RC_ASSERT(command.pump == Phase::flush);
            }
            const auto& chamber = watch.state().chambers[command.chamber];
            const double celsius = *chamber.temperature.line.at(chamber.temperature.line.at_s());
            if (chamber.stay.has_fish() && (celsius > 20.0 || celsius < 1.0)) {
                RC_ASSERT(command.pump == Phase::flush);
            }
        }
    }
}

RC_GTEST_PROP(WatchProperty, the_same_step_told_again_changes_nothing, ()) {
    Watch watch(small_plan());
    Story story;
    for (int i = 0; i < steps / 4; ++i) {
        const auto input = story.next();
        const auto out = watch.step(input);
        if (input.now.steady_s < 100.0) {
            continue;
        }
        const auto kept = keep(watch.state(), watch.plan());
        const auto again = watch.step({.now = input.now});
        RC_ASSERT(again.commands == out.commands);
        RC_ASSERT(keep(watch.state(), watch.plan()) == kept);
    }
}

RC_GTEST_PROP(WatchProperty, a_fish_at_risk_is_never_hidden_whatever_hands_do, ()) {
    Watch watch(small_plan());
    Story story;
    for (int i = 0; i < steps; ++i) {
        const auto input = story.next();
        (void)watch.step(input);
        for (const auto& chamber : watch.state().chambers) {
            for (const auto& row : all_causes()) {
                const auto& alarm = chamber.alarms[static_cast<std::size_t>(row.cause)];
                if (row.priority == Priority::fish_at_risk && alarm.active) {
                    RC_ASSERT(is_listed(alarm));
                }
            }
        }
    }
}

RC_GTEST_PROP(WatchProperty, what_is_kept_is_read_back_exactly_and_control_resumes_in_flush, ()) {
    Watch watch(small_plan());
    Story story;
    const int length = *rc::gen::inRange(1, steps);
    for (int i = 0; i < length; ++i) {
        (void)watch.step(story.next());
    }
    const auto kept = keep(watch.state(), watch.plan());
    const auto text = to_text(kept);
    const auto read = kept_from(text);
    RC_ASSERT(read.has_value());
    RC_ASSERT(*read == kept);
    // Cut short anywhere it is refused, never half believed.
    const auto cut = *rc::gen::inRange<std::size_t>(0, text.size() - 1);
    RC_ASSERT(!kept_from(std::string_view(text).substr(0, cut)).has_value());
    Watch resumed(small_plan(), resume(*read, small_plan(), story.now));
    for (const auto& command : resumed.step({.now = story.now}).commands) {
        RC_ASSERT(command.pump == Phase::flush);
        RC_ASSERT(resumed.state().chambers[command.chamber].stay.use ==
                  watch.state().chambers[command.chamber].stay.use);
    }
    RC_ASSERT(!to_text(handover(watch)).empty());
}

} // namespace
} // namespace backeddy::watch
