#pragma once
// What one step is told: the time, the readings since the last step, what hands did, how the machine is.
// Plain values; a shell with clocks, ports and sockets makes them.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "series/instant.hpp"
#include "uptake/role.hpp"
#include "watch/cause.hpp"

namespace backeddy::watch {

using uptake::StayRole;

/// The time of a step. Lengths are measured with the steady clock; the wall's is for people and for what has
/// to survive a restart.
struct Now {
    Instant wall;
    double steady_s = 0.0; ///< since the machine started, never set; sleep counts
    std::string boot;      ///< steady times of two boots do not compare
};

enum class ChannelKind : std::uint8_t { oxygen, temperature };

/// One reading, or the knowledge that the instrument answered without a value.
struct Reading {
    ChannelKind kind = ChannelKind::oxygen;
    std::optional<std::size_t> chamber; ///< none: the inflow that all share
    double steady_s = 0.0;              ///< when it came in; not after the step's own
    std::optional<double> value; ///< mg/L or degC; may be any double, what is no number is not believed
};

/// What is put right or due in a stay.
enum class Due : std::uint8_t { seal, blood, other };

/// What people do. Each carries who did it (Hand::by).
namespace hand {
/// A fish, or with `blank` and `leak_test` water alone, is in the chamber; earlier spells are forgotten.
struct PutIn {
    StayRole role = StayRole::rest;
    std::optional<double> mass_kg; ///< above 0; none until it is weighed
};
struct TakenOut {};
/// The fish was handled in the chamber: its first hours begin anew.
struct Disturbed {};
struct Weighed {
    double mass_kg = 0.0; ///< above 0
};
/// Refused while a fish is in the chamber. Ends by itself.
struct Clean {
    double minutes = 0.0;
};
/// Stay sealed, or be sealed if nothing speaks against it; never beyond the longest spell or an interlock.
struct Hold {
    double minutes = 0.0;
};
struct Flush {
    double minutes = 0.0;
};
/// End a hold or flush by hand.
struct Resume {};
struct Expect {
    Due what = Due::blood;
    Instant at;
};
struct Done {
    Due what = Due::blood;
};
struct Acknowledge {
    Cause cause = Cause::oxygen_low;
};
/// Silence for two minutes, of fish-at-risk alarms too.
struct Quiet {
    Cause cause = Cause::oxygen_low;
};
/// Refused for fish-at-risk alarms; ends by itself.
struct Shelve {
    Cause cause = Cause::restless;
    double minutes = 0.0;
    std::string reason;
};
struct Unshelve {
    Cause cause = Cause::restless;
};
} // namespace hand

using Act = std::variant<hand::PutIn, hand::TakenOut, hand::Disturbed, hand::Weighed, hand::Clean, hand::Hold,
                         hand::Flush, hand::Resume, hand::Expect, hand::Done, hand::Acknowledge, hand::Quiet,
                         hand::Shelve, hand::Unshelve>;

struct Hand {
    std::optional<std::size_t> chamber; ///< none: the station (alarms of the machine)
    std::string by;
    Act act;
};

/// How the machine is; nothing where it does not say.
struct Machine {
    std::optional<double> disk_free_mb;
    std::optional<bool> on_mains;
    std::optional<double> battery_percent;
    bool readings_are_kept = true; ///< false: the last write of samples failed or waits for a lock
};

struct Input {
    Now now;
    std::vector<Reading> readings;  ///< in order of their steady time
    std::vector<Hand> hands;        ///< in order
    std::optional<Machine> machine; ///< none: as it was
};

} // namespace backeddy::watch
