#pragma once
// What an alarm can be about: its name, how bad it is, and what to do in plain words.

#include <array>
#include <compare>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace backeddy::watch {

enum class Cause : std::uint8_t {
    oxygen_low,
    oxygen_falling,
    flush_failing,
    pump_too_small,
    inflow_low,
    no_decline,
    bubble,
    restless,
    still,
    temperature,
    sensor_silent,
    sensor_frozen,
    sensor_implausible,
    temperature_silent,
    seal_overdue,
    blood_due,
    other_due,
    clock_step,
    disk,
    power,
    watch_away,
};
inline constexpr std::size_t causes = 21;

/// Four levels, as few as people can tell apart at night. Fish at risk stands above what the standards call
/// the highest priority: it can be neither shelved nor suppressed.
enum class Priority : std::uint8_t { fish_at_risk, high, medium, low };

/// One row of the list of alarms.
struct CauseInfo {
    Cause cause;
    std::string_view word;  ///< "oxygen_low": in files and on the wire
    std::string_view title; ///< "Oxygen low"
    Priority priority;
    double on_delay_s;      ///< the sign must stand so long
    double off_delay_s;     ///< and be gone so long
    std::string_view to_do; ///< what to do
};

[[nodiscard]] std::span<const CauseInfo, causes> all_causes();
[[nodiscard]] const CauseInfo& info(Cause cause);
[[nodiscard]] std::optional<Cause> cause_from(std::string_view word);
[[nodiscard]] std::string_view word(Priority priority);

/// One alarm: a cause at a chamber, or at the station (no chamber).
struct AlarmId {
    Cause cause = Cause::oxygen_low;
    std::optional<std::size_t> chamber;

    friend auto operator<=>(const AlarmId&, const AlarmId&) = default;
};

} // namespace backeddy::watch
