#pragma once
// Start here: the nouns of a study as plain values, one struct for each row of each table of the study folder
// (docs/study-folder.md), and `Tables` that holds them all. relations.hpp checks them against each other.
//
//   Tables tables = ...;                      // intake/tables.hpp reads them
//   for (const Stay& stay : tables.stays) ... // rows of one stay id are one Stay with role intervals
//
// An absent value is an empty optional or an empty text: not known. Every row knows its place, so that a
// complaint can name file and line. Columns that the table does not have are kept as free columns
// (treatments and covariates).

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "quantity/quantity.hpp"
#include "series/instant.hpp"
#include "study/condition_rows.hpp"
#include "study/free_cell.hpp"
#include "study/id.hpp"
#include "uptake/role.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::study {

// ---- fish.csv

struct Fish {
    FishId id;
    std::string species;
    std::optional<Mass> mass; ///< empty until weighed: uptake is then given in mg/h only
    std::optional<Mass> mass_uncertainty;
    std::string mass_source; ///< "weighed", "length", "live" ... in the study's own words
    std::optional<double> fork_length_mm;
    std::optional<Density> density;
    std::string tag;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- encounters.csv

/// One capture or collection, by any means; without a fish when it was lost before it had a name.
struct Encounter {
    EncounterId id;
    FishId fish;
    std::optional<Instant> at;
    std::optional<Duration> at_uncertainty;
    std::string method;
    std::string who;
    std::string where;
    std::string rig;
    std::string unhooking;
    std::string landing;
    std::string hook_location;
    std::optional<Temperature> water_temperature;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- stays.csv

enum class StayEnding : std::uint8_t { done, died, escaped, welfare_stop, equipment, opened };

/// One row: a role that holds from `from` up to, not including, `to`.
struct StayPart {
    uptake::StayRole role = uptake::StayRole::rest;
    Instant from;
    Instant to;
    Place place;
};

/// One fish's (or a blank's) time in one assembly; its role may change on the way.
struct Stay {
    StayId id;
    FishId fish; ///< empty: no fish in it (blank, leak test)
    AssemblyId assembly;
    std::vector<StayPart> parts; ///< at least one; as written, which relations.hpp checks to be ascending
    std::optional<StayEnding> ended;
    std::optional<Instant> last_good; ///< readings after it are not to be used
    std::string note;
    std::vector<FreeCell> free; ///< of its first row
    Place place;                ///< of its first row

    [[nodiscard]] Instant from() const { return parts.front().from; }
    [[nodiscard]] Instant to() const { return parts.back().to; }
    [[nodiscard]] bool has_fish() const { return !fish.is_empty(); }
    /// The role at a moment; nothing before, after, or between two parts.
    [[nodiscard]] std::optional<uptake::StayRole> role_at(Instant moment) const;
    /// The parts as uptake takes them.
    [[nodiscard]] std::vector<uptake::RoleInterval> roles() const;
    /// The end of what may be used: last_good where it is known, else to().
    [[nodiscard]] Instant usable_to() const { return last_good && *last_good < to() ? *last_good : to(); }
};

// ---- events.csv

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
    tagged,
    weighed,
    disturbance,
    cleaning,
    opened,
    righting_lost,
    released,
    died,
    role_note,
    sensor_swap,
    lights_on,
    lights_off,
    note
};

struct Event {
    Instant at;
    std::optional<Duration> at_uncertainty;
    EventKind kind = EventKind::note;
    FishId fish;
    StayId stay;
    AssemblyId assembly;
    std::optional<double> value;
    std::string unit;
    std::string who;
    std::string rod;
    std::string rig;
    std::string photo; ///< SHA-256 of files in photos/, separated by blanks
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- assemblies.csv

/// A channel of a trace: "boat:O2_1" is the channel O2_1 of the brief's [[trace]] named boat.
struct Channel {
    std::string trace;
    std::string channel;

    [[nodiscard]] bool is_empty() const { return trace.empty() && channel.empty(); }
    [[nodiscard]] std::string text() const { return is_empty() ? std::string() : trace + ":" + channel; }
    friend bool operator==(const Channel&, const Channel&) = default;
};

/// "name:channel" at the first colon; nothing when a side is empty or there is no colon.
[[nodiscard]] std::optional<Channel> channel_from(std::string_view text);

/// Chamber + loop + pump + sensor channels over one interval; a swapped sensor is a new row of the same name.
struct Assembly {
    AssemblyId id;
    std::optional<Instant> from;                 ///< empty: as long as anybody can remember
    std::optional<Instant> to;                   ///< empty: until further notice
    Volume chamber_volume = Volume::litres(0.0); ///< by filled weight, without the fish
    std::optional<Volume> chamber_volume_uncertainty;
    Volume loop_volume = Volume::litres(0.0);
    std::optional<Volume> loop_volume_uncertainty;
    std::optional<Flow> flow;
    std::optional<Flow> flow_uncertainty;
    SensorId sensor;
    Channel oxygen;
    Channel temperature;
    Channel pump;
    std::optional<double> sensor_lag_s; ///< time constant, to 63.2 % of a step
    std::optional<double> mixing_s;
    std::string note;
    std::vector<FreeCell> free;
    Place place;

    [[nodiscard]] bool holds_at(Instant moment) const {
        return (!from || *from <= moment) && (!to || moment < *to);
    }
    [[nodiscard]] Volume chamber_and_loop() const { return chamber_volume + loop_volume; }
};

// ---- calibrations.csv

enum class CalibrationPoint : std::uint8_t { zero, air };

struct Calibration {
    SensorId sensor;
    Instant at;
    CalibrationPoint point = CalibrationPoint::air;
    double reading = 0.0; ///< in `unit`
    std::string unit;     ///< empty: the unit of the sensor's own channel
    std::optional<Temperature> temperature;
    std::optional<Pressure> pressure; ///< absolute, at the station
    std::optional<Salinity> salinity;
    std::optional<double> uncertainty; ///< standard, of the reading, in `unit`
    std::string who;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- clock_checks.csv

/// What a logger's clock showed at a moment known better. With a `reference` the second time is what that
/// other clock showed when the same physical event passed: the two clocks are tied, not set right.
struct ClockCheck {
    ClockId clock;
    Instant shown; ///< as the logger's clock gave it, in its own zone
    Instant true_time;
    std::optional<Duration> uncertainty;
    ClockId reference; ///< empty: the true time
    std::string how;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- decisions.csv

/// Whether whoever decided could see the fish's treatment.
enum class TreatmentSight : std::uint8_t { not_said, hidden, seen };

enum class DecisionAct : std::uint8_t { exclude, include, mark, move_start, move_end, note };

/// A human act. It names a moment inside the sealed spell it means, so that re-found states do not move it;
/// without a moment it means the whole stay.
struct Decision {
    StayId stay;
    std::optional<Instant> moment;
    DecisionAct act = DecisionAct::note;
    std::string value;                ///< as written
    std::optional<Instant> moved_to;  ///< of move_start, move_end
    std::optional<uptake::Mark> mark; ///< of mark
    std::string reason;
    std::string author;
    std::optional<Instant> at; ///< when it was decided
    TreatmentSight treatment = TreatmentSight::not_said;
    std::vector<FreeCell> free;
    Place place;
};

// ---- declarations.csv

/// One question as it was declared; declaration.hpp says what follows from it.
struct Declaration {
    std::string question;
    std::string form_sha256;     ///< of Question::declared_form()
    std::string settings_sha256; ///< of analysis_form(); empty: not recorded
    Instant declared_at;
    std::string author;
    std::size_t fish_met = 0; ///< rows of fish.csv then
    bool results_seen = false;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

/// All tables of a study, rows in the order of their files.
struct Tables {
    std::vector<Fish> fish;
    std::vector<Encounter> encounters;
    std::vector<Stay> stays;
    std::vector<Event> events;
    std::vector<Assembly> assemblies;
    std::vector<Calibration> calibrations;
    std::vector<ClockCheck> clock_checks;
    std::vector<Decision> decisions;
    std::vector<Declaration> declarations;
    ConditionSheets sheets; ///< as read; what counts of them: condition_sheets.hpp
    /// Columns of the study's own by file ("fish.csv"), as headers have them: also of a table without rows.
    std::map<std::string, std::vector<std::string>> own_columns;

    /// The first of that name; nullptr when there is none. Valid until the table changes.
    [[nodiscard]] const Fish* find(const FishId& id) const;
    [[nodiscard]] const Stay* find(const StayId& id) const;
    /// The assembly's row that holds at a moment.
    [[nodiscard]] const Assembly* find(const AssemblyId& id, Instant moment) const;
    [[nodiscard]] bool has(const AssemblyId& id) const;
};

} // namespace backeddy::study
