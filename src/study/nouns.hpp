#pragma once
// Start here: the nouns of a study, as its tables hold them. One struct a table row; intake/tables.hpp reads
// them, relations.hpp says where they contradict each other, brief.hpp has the settings, study.hpp holds all
// together.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "uptake/role.hpp"

namespace backeddy::study {

/// A cell of a column that the program does not know: a treatment, a covariate, a remark of the study's own.
struct FreeCell {
    std::string column;
    std::string text;

    friend bool operator==(const FreeCell&, const FreeCell&) = default;
};

/// A moment as written down, with its standard uncertainty.
struct Moment {
    Instant at;
    double uncertainty_s = 0.0; ///< 0: not stated
};

/// fish.csv. A fish may have no mass yet: its uptake is then in mg/h and says so.
struct Fish {
    std::string id;
    std::string species;
    std::optional<double> mass_g;
    std::optional<double> mass_uncertainty_g;
    std::string mass_source; ///< "weighed", "from length", "estimated by eye" ...
    std::optional<double> fork_length_mm;
    std::optional<double> density_kg_per_l;
    std::string tag;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

/// encounters.csv: one capture or collection of one fish, by any means.
struct Encounter {
    std::string id;
    std::string fish;
    std::optional<Moment> at;
    std::string method;
    std::string who;
    std::string where;
    std::string rig;
    std::string unhooking;
    std::string landing;
    std::string hook_location;
    std::optional<double> water_temperature_c;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

enum class Ended : std::uint8_t { not_said, done, died, escaped, welfare_stop, equipment, opened };
[[nodiscard]] std::string_view word(Ended ended);
[[nodiscard]] std::optional<Ended> ended_from(std::string_view word);

/// stays.csv: one fish's, or a blank's, time in one assembly. Consecutive rows with the same id are one stay
/// whose role changes; they are joined here.
struct Stay {
    std::string id;
    std::string fish; ///< empty: no fish in it
    std::string assembly;
    Instant from;
    Instant to;
    std::vector<uptake::RoleInterval> roles; ///< ascending, at least one
    Ended ended = Ended::not_said;
    std::optional<Instant> last_good;
    std::string note;
    std::vector<FreeCell> free;
    std::vector<Place> places; ///< one a row

    [[nodiscard]] bool has_role(uptake::StayRole role) const;
};

enum class EventKind : std::uint8_t {
    lines_in,
    lines_out,
    bite,
    hook_up,
    lost,
    landed,
    back_in_water,
    sealed,
    chase_start,
    chase_end,
    air_start,
    air_end,
    transfer,
    blood,
    anaesthetic,
    disturbance,
    cleaning,
    opened,
    sensor_swap,
    tagged,
    released,
    recaptured,
    found_dead,
    last_seen_alive,
    died,
    note,
};
[[nodiscard]] std::string_view word(EventKind kind);
[[nodiscard]] std::optional<EventKind> event_from(std::string_view word);
[[nodiscard]] std::vector<std::string> event_words();

/// events.csv.
struct Event {
    Moment at;
    EventKind kind = EventKind::note;
    std::string fish;
    std::string stay;
    std::string assembly;
    std::optional<double> value;
    std::string unit;
    std::string text; ///< `value` when it is no number: a reason, an end-point
    std::string who;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

/// "boat:O2_1": a channel of one of the brief's traces; channel empty when the trace has one of the kind.
struct ChannelName {
    std::string trace;
    std::string channel;

    [[nodiscard]] bool is_given() const { return !trace.empty(); }
    [[nodiscard]] std::string text() const { return channel.empty() ? trace : trace + ":" + channel; }
    friend bool operator==(const ChannelName&, const ChannelName&) = default;
};

/// assemblies.csv: chamber + loop + pump + sensor channels, valid from-to.
struct Assembly {
    std::string name;
    std::optional<Instant> from; ///< nothing: since ever
    std::optional<Instant> to;   ///< nothing: for ever
    double chamber_volume_l = 0.0;
    double chamber_volume_uncertainty_l = 0.0;
    double loop_volume_l = 0.0;
    double loop_volume_uncertainty_l = 0.0;
    std::optional<double> flow_l_per_min;
    std::optional<double> flow_uncertainty_l_per_min;
    std::string sensor;
    ChannelName oxygen;
    ChannelName temperature;
    ChannelName pump; ///< not given: the states come from elsewhere
    double sensor_lag_s = 0.0;
    double mixing_s = 0.0;
    std::string note;
    std::vector<FreeCell> free;
    Place place;

    [[nodiscard]] bool holds(Instant at) const { return (!from || *from <= at) && (!to || at < *to); }
};

enum class CalibrationPointKind : std::uint8_t { zero, air };

/// calibrations.csv.
struct Calibration {
    std::string sensor;
    Instant at;
    CalibrationPointKind point = CalibrationPointKind::air;
    double reading = 0.0;
    std::string unit; ///< as written; empty: the unit of the sensor's trace
    std::optional<double> temperature_c;
    std::optional<double> pressure_kpa;
    std::optional<double> salinity;
    double uncertainty = 0.0; ///< in the reading's unit
    std::string who;
    std::string note;
    Place place;
};

enum class ClockCheckHow : std::uint8_t { time_pair, same_event, reset };

/// clock_checks.csv: what a clock showed when the true time was another. `reset`: the clock was set at
/// `shown`.
struct ClockCheck {
    std::string clock;
    Instant shown;
    Instant actual;
    double uncertainty_s = 1.0;
    ClockCheckHow how = ClockCheckHow::time_pair;
    std::string note;
    Place place;
};

enum class Act : std::uint8_t { exclude, include, mark, move_start, move_end, note };
[[nodiscard]] std::string_view word(Act act);

/// decisions.csv: a human act on the sealed spell of `stay` that holds `moment`.
struct Decision {
    std::string stay;
    Instant moment;
    Act act = Act::note;
    std::string value; ///< a mark's word, or the moved-to time
    std::optional<Instant> moved_to;
    std::string reason;
    std::string author;
    std::optional<Instant> at;
    Place place;
};

} // namespace backeddy::study
