#pragma once
// What one step answers: the state each pump shall be in now, and what happened.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "series/instant.hpp"
#include "watch/alarm.hpp"
#include "watch/cause.hpp"

namespace backeddy::watch {

enum class Phase : std::uint8_t { flush, sealed };

/// Why a phase began.
enum class Why : std::uint8_t {
    started,        ///< the watch has just begun, or begun again
    as_planned,     ///< by timetable, or the planned length is over
    flushed_enough, ///< the water is back
    at_time_limit,  ///< of a flush or a sealed spell
    by_hand,
    hand_ended,  ///< a hold or flush by hand is over
    floor,       ///< oxygen at its floor, or about to be
    sensor,      ///< silent, frozen or not to be believed
    temperature, ///< out of range
    unsure,      ///< the watch was away or its clock is not to be trusted
    not_kept,    ///< samples cannot be written: a spell would be for nothing
    nothing_in,  ///< empty or being cleaned
};
[[nodiscard]] std::string_view word(Why why);
/// For people: "oxygen is at its floor".
[[nodiscard]] std::string_view in_words(Why why);

/// A pump's state from now on. A state, never a change: told again it alters nothing. Hardware that is not
/// told for `good_for_s` shall flush by itself.
struct Command {
    std::size_t chamber = 0;
    Phase pump = Phase::flush;
    double good_for_s = 5.0;

    friend bool operator==(const Command&, const Command&) = default;
};

struct PhaseBegan {
    Phase phase = Phase::flush;
    Why why = Why::started;
    double planned_s = 0.0;         ///< of a flush: at the latest
    bool below_start_floor = false; ///< sealed all the same, and marked

    friend bool operator==(const PhaseBegan&, const PhaseBegan&) = default;
};

/// A sealed spell is over. Numbers are provisional: the study's own come from the samples.
struct SpellEnded {
    double sealed_s = 0.0;
    double planned_s = 0.0;
    Why why = Why::as_planned;
    double slope_mg_per_l_h = 0.0;       ///< after settle; negative where oxygen falls
    double slope_error_mg_per_l_h = 0.0; ///< standard error under the sensor's noise
    double uptake_mg_per_h = 0.0;        ///< background not taken off
    bool usable = false;                 ///< long enough to have a slope

    friend bool operator==(const SpellEnded&, const SpellEnded&) = default;
};

/// An alarm went from one state to another.
struct AlarmChanged {
    AlarmId alarm;
    AlarmState from = AlarmState::normal;
    AlarmState to = AlarmState::normal;
    bool announce = false;  ///< wake somebody: not in a flood, unless a fish is at risk
    bool first_out = false; ///< the first of its chamber: look here for the cause of the others
    std::string words;      ///< what was found
    std::string by;         ///< whose hand; empty: by itself

    friend bool operator==(const AlarmChanged&, const AlarmChanged&) = default;
};

struct Flood {
    bool began = true;
    friend bool operator==(const Flood&, const Flood&) = default;
};

/// A hand's act that was not done, or said something worth keeping.
struct HandAnswered {
    bool done = true;
    std::string by;
    std::string words;
    friend bool operator==(const HandAnswered&, const HandAnswered&) = default;
};

/// No readings of a channel between two moments.
struct Gap {
    bool temperature = false;
    double length_s = 0.0;
    friend bool operator==(const Gap&, const Gap&) = default;
};

struct Event {
    Instant at;
    std::optional<std::size_t> chamber;
    std::variant<PhaseBegan, SpellEnded, AlarmChanged, Flood, HandAnswered, Gap> what;

    friend bool operator==(const Event&, const Event&) = default;
};

struct Output {
    std::vector<Command> commands; ///< one per chamber, each step
    std::vector<Event> events;
};

} // namespace backeddy::watch
