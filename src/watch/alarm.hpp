#pragma once
// One alarm's life after IEC 62682:2022 and ANSI/ISA-18.2-2016 (states and transitions from memory): a plain
// state machine that knows nothing of oxygen.
//
//   normal --sign--> unacknowledged --ack--> acknowledged --gone--> normal
//                    unacknowledged --gone--> returned --ack--> normal;  returned --sign--> unacknowledged
//   any --shelve--> shelved --time, hand--> normal or unacknowledged, as the sign is then
//   any --suppress--> suppressed --no longer--> likewise
//
// Ours: a fish-at-risk alarm is never shelved or suppressed, and its quiet ends after two minutes whatever
// its state, for as long as the sign stands.

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>

#include "watch/cause.hpp"

namespace backeddy::watch {

enum class AlarmState : std::uint8_t {
    normal,
    unacknowledged,
    acknowledged,
    returned, ///< to normal, unacknowledged
    shelved,
    suppressed,
};
[[nodiscard]] std::string_view word(AlarmState state);
[[nodiscard]] std::optional<AlarmState> alarm_state_from(std::string_view word);

/// What a cause's look at the readings says. Between the limit and the limit less its deadband nothing
/// changes: `as_before`.
enum class Sign : std::uint8_t { gone, as_before, there };

/// Which sign a value gives: `there` beyond the limit, `gone` once it is back by the deadband (>= 0).
[[nodiscard]] Sign sign_above(double value, double limit, double deadband);
[[nodiscard]] Sign sign_below(double value, double limit, double deadband);

/// How an alarm behaves.
struct AlarmRule {
    Priority priority = Priority::medium;
    double on_delay_s = 0.0;
    double off_delay_s = 0.0;
};

/// One alarm at one moment. Times are steady seconds.
struct Alarm {
    AlarmState state = AlarmState::normal;
    bool active = false; ///< the sign, delays passed
    bool raw = false;    ///< the sign itself, deadband passed
    double raw_since_s = 0.0;
    std::optional<double> shelved_until_s;
    bool is_suppressed = false; ///< by design, while it lasts; outlives a shelf
    double quiet_until_s = -std::numeric_limits<double>::infinity();
    bool first_out = false;
    double since_s = 0.0; ///< of the state
    std::string words;    ///< what was found
    std::string by;       ///< who acknowledged or shelved it

    friend bool operator==(const Alarm&, const Alarm&) = default;
};

/// The sign of this moment, the delays, the end of a shelf. True when the state changed.
bool observe(Alarm& alarm, const AlarmRule& rule, Sign sign, double now_s);
/// True when the state changed. An alarm that is acknowledged is quiet for `quiet_s` if a fish is at risk,
/// for good otherwise.
bool acknowledge(Alarm& alarm, const AlarmRule& rule, double now_s, double quiet_s, const std::string& by);
/// Silence; the state stays.
void quiet(Alarm& alarm, double now_s, double quiet_s);
/// False, and nothing done, for a fish-at-risk alarm or no length.
bool shelve(Alarm& alarm, const AlarmRule& rule, double now_s, double length_s, const std::string& by);
bool unshelve(Alarm& alarm, double now_s);
/// By design: because of what the chamber is used for. Never of a fish-at-risk alarm. True when the state
/// changed.
bool suppress(Alarm& alarm, const AlarmRule& rule, bool suppressed, double now_s);

/// Shown in the list: active or waiting for a hand. Of a fish at risk that is whenever the sign stands.
[[nodiscard]] bool is_listed(const Alarm& alarm);
/// To be heard now.
[[nodiscard]] bool sounds(const Alarm& alarm, const AlarmRule& rule, double now_s);

} // namespace backeddy::watch
