#include "watch/alarm_list.hpp"

#include <algorithm>

namespace backeddy::watch {

AlarmRule rule_of(Cause cause) {
    const auto& row = info(cause);
    return {.priority = row.priority, .on_delay_s = row.on_delay_s, .off_delay_s = row.off_delay_s};
}

namespace {

bool another_is_active(const Alarms& group, const Alarm& alarm) {
    return std::ranges::any_of(group, [&](const Alarm& other) { return &other != &alarm && other.active; });
}

bool is_announced(const State& state, const Alarm& alarm, Priority priority) {
    if (priority == Priority::fish_at_risk || !state.flood.is_on) {
        return true;
    }
    return priority == Priority::high && alarm.first_out;
}

} // namespace

void tell(const Alarm& alarm, const AlarmId& id, AlarmState from, const Now& now, const std::string& by,
          std::vector<Event>& out) {
    out.push_back({.at = now.wall,
                   .chamber = id.chamber,
                   .what = AlarmChanged{.alarm = id,
                                        .from = from,
                                        .to = alarm.state,
                                        .announce = false,
                                        .first_out = alarm.first_out,
                                        .words = alarm.words,
                                        .by = by}});
}

void attend(State& state, Alarms& group, const AlarmId& id, const Found& found, bool off_by_design,
            const Settings& settings, const Now& now, std::vector<Event>& out) {
    auto& alarm = group[static_cast<std::size_t>(id.cause)];
    const auto rule = rule_of(id.cause);
    const auto before = alarm.state;
    if (found.sign == Sign::there) {
        alarm.words = found.words;
    }
    suppress(alarm, rule, off_by_design, now.steady_s);
    observe(alarm, rule, found.sign, now.steady_s);
    if (alarm.state == before) {
        return;
    }
    const bool is_new = alarm.state == AlarmState::unacknowledged;
    if (is_new) {
        alarm.first_out = !another_is_active(group, alarm);
        state.flood.raised_s.push_back(now.steady_s);
        ++state.raised[static_cast<std::size_t>(id.cause)];
        attend_flood(state, settings, now, out);
    }
    tell(alarm, id, before, now, {}, out);
    std::get<AlarmChanged>(out.back().what).announce = is_new && is_announced(state, alarm, rule.priority);
    if (alarm.state == AlarmState::normal) {
        alarm.first_out = false;
    }
}

void attend_flood(State& state, const Settings& settings, const Now& now, std::vector<Event>& out) {
    auto& flood = state.flood;
    while (!flood.raised_s.empty() && now.steady_s - flood.raised_s.front() > settings.alarm.flood_window_s) {
        flood.raised_s.pop_front();
    }
    const auto count = static_cast<int>(flood.raised_s.size());
    const bool is_on =
        flood.is_on ? count >= settings.alarm.flood_ends : count >= settings.alarm.flood_begins;
    if (is_on != flood.is_on) {
        flood.is_on = is_on;
        out.push_back({.at = now.wall, .chamber = std::nullopt, .what = Flood{.began = is_on}});
    }
}

} // namespace backeddy::watch
