#pragma once
// Start here for the brief: every setting of study.toml, typed, with its default. Where a computation has its
// own settings struct, the brief holds that very struct, so that a default is said once. settings.hpp lists
// them all with key, unit and reason; intake/brief.hpp reads them.

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "condition/blood.hpp"
#include "condition/fate.hpp"
#include "condition/fins.hpp"
#include "condition/meter.hpp"
#include "condition/plate.hpp"
#include "quantity/quantity.hpp"
#include "series/instant.hpp"
#include "study/nouns.hpp"
#include "study/question.hpp"
#include "uptake/adjust.hpp"
#include "uptake/background.hpp"
#include "uptake/continuous.hpp"
#include "uptake/peak.hpp"
#include "uptake/recovery.hpp"
#include "uptake/resting.hpp"
#include "uptake/sealed.hpp"
#include "uptake/sensor_noise.hpp"
#include "uptake/spell.hpp"
#include "uptake/states.hpp"

namespace backeddy::study {

/// [study]
struct StudySection {
    std::string title = "Untitled study";
    std::string place;
    std::string zone = "UTC"; ///< IANA name: local times of the tables are in it
    std::string permit;
    std::vector<std::string> species;
    std::string simulated; ///< not empty: the study is simulated, and every page says this
};

/// Conductivity as the meter gave it, or already brought to 25 degC.
enum class ConductivityIs : std::uint8_t { raw, at_25c };
/// Barometric pressure as it was at the station, or reduced to sea level as weather services do.
enum class PressureIs : std::uint8_t { station, sea_level };

/// [water]: of each quantity a constant or a channel of a trace; the channel wins. Nothing said: `salinity`
/// and `pressure` stay empty and the check complains (a warning), taking fresh water at 101.325 kPa.
struct Water {
    std::optional<Salinity> salinity;
    Channel salinity_channel;
    std::optional<double> conductivity_ms_per_cm; ///< with its temperature when raw
    std::optional<Temperature> conductivity_temperature;
    Channel conductivity_channel; ///< raw: taken with the chamber's own temperature
    ConductivityIs conductivity_is = ConductivityIs::raw;
    std::optional<Pressure> pressure;
    Channel pressure_channel;
    PressureIs pressure_is = PressureIs::station;
    std::optional<double> altitude_m; ///< brings sea level to the station; alone: a standard atmosphere
    Channel inflow_oxygen_channel;
    Channel inflow_temperature_channel;
    std::optional<Temperature> temperature; ///< of chambers without a temperature channel
    double temperature_uncertainty_c = 0.5; ///< standard, of that constant

    [[nodiscard]] bool says_salinity() const {
        return salinity || conductivity_ms_per_cm || !salinity_channel.is_empty() ||
               !conductivity_channel.is_empty();
    }
    [[nodiscard]] bool says_pressure() const {
        return pressure || altitude_m || !pressure_channel.is_empty();
    }
};

/// [[trace.column]]: what a column is, where the reader should not find out by itself. Field names are those
/// of intake's ColumnSetting; words are kept as written and checked by intake/brief.
struct TraceColumn {
    std::string header;
    std::optional<std::size_t> index; ///< from 1
    std::string use;                  ///< "oxygen", "temperature", "ignore" ...
    std::string unit;
    std::string channel;
    std::optional<Salinity> assumed_salinity; ///< instead of the trace's
    std::optional<Pressure> assumed_pressure;
    Place place;
};

/// [[trace]]: files that one logger wrote, on one clock. Field names are those of intake's ReadSettings; an
/// empty text is left to the reader to find.
struct TraceSource {
    std::string name;
    std::vector<std::string> files; ///< inside the study folder; * and ? stand for any characters
    ClockId clock;                  ///< as in clock_checks.csv; empty: the trace's name
    std::string zone;               ///< IANA name of the logger's zone; empty: the study's
    std::string encoding;
    std::string delimiter;
    std::string decimal;
    std::optional<std::uint64_t> header_line;
    std::optional<std::uint64_t> units_line;
    std::optional<std::uint64_t> first_data_line;
    std::string time_form;
    std::string date_order;
    std::string start;
    std::vector<std::string> missing_words;
    std::vector<std::string> flush_words;
    std::vector<std::string> sealed_words;
    double gap_factor = 3.0;
    std::optional<Salinity> assumed_salinity; ///< what the logger took the water to be (concentrations)
    std::optional<Pressure> assumed_pressure;
    std::vector<TraceColumn> columns;
    Place place;

    [[nodiscard]] ClockId clock_id() const { return clock.is_empty() ? ClockId(name) : clock; }
};

enum class StatesSource : std::uint8_t {
    automatic,
    pump_column,
    pump_log,
    timetable,
    found,
    sealed_throughout
};

/// [[states.timetable]]
struct TimetableEntry {
    AssemblyId assembly; ///< empty: of all without one of their own
    Instant start;       ///< of a flush
    std::optional<Instant> until;
    Duration period;
    Duration flush;
    Place place;
};

/// [states]
struct States {
    StatesSource source = StatesSource::automatic;
    std::vector<TimetableEntry> timetables;
    uptake::FindSettings find;
};

/// [settle]: by rule (mixing time + a multiple of the sensor's lag), or a fixed time for a role.
struct Settle {
    uptake::SettleSettings rule;
    bool model_lag_when_fast = true;
    double mixing_s = 15.0; ///< where the assembly says nothing
    std::map<uptake::StayRole, Duration> fixed;
    double gap_factor = 5.0;
    Duration least_gap = Duration::seconds(10.0);
    Duration found_margin = Duration::seconds(3.0);
};

/// [uncertainty]: standard uncertainties where tables and traces give none.
struct Uncertainty {
    double density_kg_per_l = 1.0;
    double density_uncertainty_kg_per_l = 0.02;
    double mass_percent = 0.5;
    double volume_percent = 0.5;
    double salinity = 0.2;
    double pressure_kpa = 0.3;
    double temperature_c = 0.1;
    double calibration_percent = 1.0;  ///< of an air point without an uncertainty of its own
    double uncalibrated_percent = 2.0; ///< of a sensor that was never calibrated
    double clock_s = 5.0;              ///< of a clock that was never checked
    double event_s = 5.0;              ///< of an event without one of its own
};

/// [readings]: what a reading can be; outside, it goes into no slope and is told. Choices, wide on purpose.
struct ReadingBounds {
    double oxygen_least_percent = -2.0; ///< of air saturation, at the reading's own conditions
    double oxygen_most_percent = 200.0;
    double temperature_least_c = -3.0;
    double temperature_most_c = 45.0;
    double pressure_least_kpa = 50.0;
    double pressure_most_kpa = 110.0;
};

/// [blood]: what the permit allows; there is no default.
struct BloodSettings {
    std::optional<double> ceiling_ml_per_kg;
    std::optional<Duration> ceiling_within; ///< draws older than this no longer count; nothing: all count
};

/// [permit]: what it allows besides blood, to be counted against; there is no default.
struct PermitSettings {
    std::optional<std::int64_t> fish;            ///< most that may be met
    std::optional<std::int64_t> chases_per_fish; ///< most
    std::optional<Duration> air;                 ///< longest single air exposure
    std::string at_death;                        ///< what it says is to be done then
    std::string watched_by;                      ///< whom to ask
};

/// [deck]: what the boat's log offers to tap; whatever else is there can still be typed.
struct DeckSettings {
    std::vector<std::string> rods;
    std::vector<std::string> rigs;
    std::vector<std::string> unhooking;
    std::vector<std::string> landing;
    std::vector<std::string> lost_reasons{"hook pulled out", "line broke", "lost at the boat", "let go"};
    std::vector<std::string> handling;
    std::vector<std::string> species; ///< besides the study's
    std::vector<std::string> anaesthetics;
    std::optional<Duration> blood_due;   ///< after the fish was landed
    std::optional<Duration> seal_within; ///< of the fish being back in water
};

/// [fins], [body], [reflexes]. Levels run from unhurt to worst; the words are ours.
struct FinSettings {
    condition::OrdinalScale scale{{"whole", "slight", "moderate", "severe"}};
    condition::FinOptions options;
};
struct BodySettings {
    condition::OrdinalScale scale{{"none", "slight", "moderate", "heavy"}};
    std::vector<condition::BodyArea> areas{condition::BodyArea::head,       condition::BodyArea::back,
                                           condition::BodyArea::left_flank, condition::BodyArea::right_flank,
                                           condition::BodyArea::belly,      condition::BodyArea::tail};
    std::size_t least = 4; ///< scored areas that a mean wants (our choice)
};
struct ReflexSettings {
    /// The usual five of salmon (Raby and others 2012, J Appl Ecol 49:90; from memory), in plain words: the
    /// gills' beat is their head complex, the eyes that stay level when the fish is rolled their
    /// vestibular-ocular response.
    std::vector<std::string> tests{"righting", "tail grab", "body flex", "gill beat", "eye roll"};
};

/// [[meter]]: a handheld meter, set right by samples that a reference method measured too.
struct Meter {
    std::string device; ///< as blood.csv names it
    condition::Analyte analyte = condition::Analyte::lactate;
    std::string unit; ///< of the pairs; empty: the analyte's usual one
    std::vector<condition::MeterPair> pairs;
    condition::MeterOptions options;
    Place place;
};

/// [fates] beside condition::FateOptions: of which shares of dead fish are given.
struct MortalitySettings {
    std::vector<double> horizons_h{24.0, 72.0}; ///< after release and the start of holding
    std::string control;                        ///< group of the control fish; empty: there is none
};

/// [report]
struct ReportSettings {
    std::string group_by; ///< free or table column that makes the groups; empty: rig and unhooking
    /// Of a stay's trace: about two a pixel column of a wide figure.
    std::size_t drawn_points = 1600;
    std::map<std::string, std::string> answers; ///< [report.answers]
};

/// What a setting can hold; the first: not set.
using SettingValue = std::variant<std::monostate, bool, std::int64_t, double, std::string,
                                  std::vector<double>, std::vector<std::string>>;

/// One line of a [[season]] section.
struct SettingOverride {
    std::string section;
    std::string key;
    SettingValue value;
    Place place;
};

/// [[season]]: settings that hold instead from `from` up to, not including, `to`.
struct Season {
    std::string name;
    Instant from;
    Instant to;
    std::vector<SettingOverride> overrides;
    Place place;

    /// Its name, or the moment it begins when it has none.
    [[nodiscard]] std::string label() const { return name.empty() ? iso_text(from) : name; }
    [[nodiscard]] bool holds_at(Instant moment) const { return from <= moment && moment < to; }
    [[nodiscard]] bool overrides_section(const std::string& section) const;
};

/// study.toml.
struct Brief {
    StudySection study;
    Water water;
    std::vector<TraceSource> traces;
    States states;
    Settle settle;
    uptake::BackgroundSettings background;
    Duration blank_part = Duration::hours(3.0); ///< a long blank is cut into points of this length
    uptake::PeakSettings peak;
    uptake::RestingSettings resting;
    uptake::RecoverySettings recovery;
    uptake::ContinuousSettings continuous;
    /// air_end: the end of chase and air, whichever came last.
    uptake::TimeZero time_zero_after_chase = uptake::TimeZero::air_end;
    uptake::MarkLimits marks;
    uptake::NoiseSettings noise;
    uptake::AdjustSettings adjust;
    uptake::PlausibleBounds plausible;
    ReadingBounds readings;
    Uncertainty uncertainty;
    BloodSettings blood;
    PermitSettings permit;
    DeckSettings deck;
    FinSettings fins;
    BodySettings body;
    ReflexSettings reflexes;
    condition::FateOptions fates;
    MortalitySettings mortality;
    condition::PlateSettings plates; ///< [plates]; rows and columns are each plate's own (plates.csv)
    std::vector<Meter> meters;
    ReportSettings report;
    std::map<std::string, std::string> column_stages; ///< [columns]: assigned, before, during, after
    std::map<std::string, Place> column_places;       ///< where [columns] says it
    std::vector<Question> questions;                  ///< in the order of the file
    std::vector<Season> seasons;
    std::string file = "study.toml";
    /// "water.salinity": settings that stand in the file and were refused, with a complaint of their own.
    std::vector<std::string> refused;

    [[nodiscard]] const TraceSource* trace(const std::string& name) const;
    /// The settings as they hold at a moment: the season's overrides over the rest. A season's own salinity
    /// or pressure, be it a constant or a channel, stands in for whatever the study has of it.
    [[nodiscard]] Brief at(Instant moment) const;
    /// The [uncertainty] of at(moment).
    [[nodiscard]] Uncertainty uncertainty_at(Instant moment) const;
    /// Settle time in a role: the fixed one, else nothing (the rule is uptake::settle_time).
    [[nodiscard]] std::optional<Duration> fixed_settle(uptake::StayRole role) const;
    /// The zone in which a clock shows its time: that of the trace that uses it, else the study's.
    [[nodiscard]] std::string zone_of(const ClockId& clock) const;
};

} // namespace backeddy::study
