#include "watch/alarm.hpp"

#include <array>

namespace backeddy::watch {

namespace {

constexpr std::array<std::string_view, 6> state_words{"normal",   "unacknowledged", "acknowledged",
                                                      "returned", "shelved",        "suppressed"};

bool go(Alarm& alarm, AlarmState to, double now_s) {
    if (alarm.state == to) {
        return false;
    }
    alarm.state = to;
    alarm.since_s = now_s;
    return true;
}

/// Out of a shelf or a suppression: as a new alarm, if the sign still stands.
bool come_back(Alarm& alarm, double now_s) {
    return go(alarm, alarm.active ? AlarmState::unacknowledged : AlarmState::normal, now_s);
}

bool is_hidden(AlarmState state) {
    return state == AlarmState::shelved || state == AlarmState::suppressed;
}

/// The sign held against its delays.
void weigh(Alarm& alarm, const AlarmRule& rule, Sign sign, double now_s) {
    if (sign != Sign::as_before && alarm.raw != (sign == Sign::there)) {
        alarm.raw = sign == Sign::there;
        alarm.raw_since_s = now_s;
    }
    const double delay = alarm.raw ? rule.on_delay_s : rule.off_delay_s;
    if (alarm.active != alarm.raw && now_s - alarm.raw_since_s >= delay) {
        alarm.active = alarm.raw;
    }
}

} // namespace

std::string_view word(AlarmState state) {
    return state_words[static_cast<std::size_t>(state)];
}

std::optional<AlarmState> alarm_state_from(std::string_view text) {
    for (std::size_t i = 0; i < state_words.size(); ++i) {
        if (state_words[i] == text) {
            return static_cast<AlarmState>(i);
        }
    }
    return std::nullopt;
}

Sign sign_above(double value, double limit, double deadband) {
    if (value > limit) {
        return Sign::there;
    }
    return value < limit - deadband ? Sign::gone : Sign::as_before;
}

Sign sign_below(double value, double limit, double deadband) {
    return sign_above(-value, -limit, deadband);
}

bool observe(Alarm& alarm, const AlarmRule& rule, Sign sign, double now_s) {
    weigh(alarm, rule, sign, now_s);
    switch (alarm.state) {
    case AlarmState::normal:
    case AlarmState::returned:
        return alarm.active && go(alarm, AlarmState::unacknowledged, now_s);
    case AlarmState::unacknowledged:
        return !alarm.active && go(alarm, AlarmState::returned, now_s);
    case AlarmState::acknowledged:
        return !alarm.active && go(alarm, AlarmState::normal, now_s);
    case AlarmState::shelved:
        return alarm.shelved_until_s && now_s >= *alarm.shelved_until_s && unshelve(alarm, now_s);
    case AlarmState::suppressed:
        return false;
    }
    return false;
}

bool acknowledge(Alarm& alarm, const AlarmRule& rule, double now_s, double quiet_s, const std::string& by) {
    if (alarm.state == AlarmState::returned) {
        alarm.by = by;
        return go(alarm, AlarmState::normal, now_s);
    }
    if (alarm.state != AlarmState::unacknowledged) {
        return false;
    }
    alarm.by = by;
    if (rule.priority == Priority::fish_at_risk) {
        quiet(alarm, now_s, quiet_s);
    }
    return go(alarm, AlarmState::acknowledged, now_s);
}

void quiet(Alarm& alarm, double now_s, double quiet_s) {
    alarm.quiet_until_s = now_s + quiet_s;
}

bool shelve(Alarm& alarm, const AlarmRule& rule, double now_s, double length_s, const std::string& by) {
    if (rule.priority == Priority::fish_at_risk || !(length_s > 0.0)) {
        return false;
    }
    alarm.shelved_until_s = now_s + length_s;
    alarm.by = by;
    if (!alarm.is_suppressed) {
        go(alarm, AlarmState::shelved, now_s);
    }
    return true;
}

bool unshelve(Alarm& alarm, double now_s) {
    alarm.shelved_until_s.reset();
    return alarm.state == AlarmState::shelved && come_back(alarm, now_s);
}

bool suppress(Alarm& alarm, const AlarmRule& rule, bool suppressed, double now_s) {
    if (rule.priority == Priority::fish_at_risk || alarm.is_suppressed == suppressed) {
        return false;
    }
    alarm.is_suppressed = suppressed;
    if (suppressed) {
        return go(alarm, AlarmState::suppressed, now_s);
    }
    if (alarm.shelved_until_s && now_s < *alarm.shelved_until_s) {
        return go(alarm, AlarmState::shelved, now_s);
    }
    alarm.shelved_until_s.reset();
    return come_back(alarm, now_s);
}

bool is_listed(const Alarm& alarm) {
    return alarm.state != AlarmState::normal && !is_hidden(alarm.state);
}

bool sounds(const Alarm& alarm, const AlarmRule& rule, double now_s) {
    if (now_s < alarm.quiet_until_s || is_hidden(alarm.state)) {
        return false;
    }
    if (rule.priority == Priority::fish_at_risk) {
        return alarm.active;
    }
    return alarm.state == AlarmState::unacknowledged;
}

} // namespace backeddy::watch
