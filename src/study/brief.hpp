#pragma once
// The brief: everything a study may set, with the defaults that docs/study-folder.md explains. The settings
// of the computation are the uptake module's own structs, so that no default stands twice.

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "study/nouns.hpp"
#include "uptake/adjust.hpp"
#include "uptake/background.hpp"
#include "uptake/peak.hpp"
#include "uptake/recovery.hpp"
#include "uptake/resting.hpp"
#include "uptake/sealed.hpp"
#include "uptake/sensor_noise.hpp"
#include "uptake/spell.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::study {

/// [study]
struct Header {
    std::string title;
    std::string place;
    std::string permit;
    std::string zone; ///< IANA name, for local times in the tables
    std::vector<std::string> species;
    bool is_simulated = false; ///< set by `simulate`; said on every page
};

/// How conductivity was written: as measured, or already referred to 25 degC by the meter.
enum class ConductivityMeans : std::uint8_t { raw, at_25 };
/// Which pressure was written: the station's own, or reduced to sea level (weather services).
enum class PressureMeans : std::uint8_t { station, sea_level };

/// [water]: salinity and pressure, each a constant or a trace's channel. One of each, or the defaults with a
/// warning.
struct WaterInputs {
    std::optional<double> salinity;
    std::optional<double> conductivity_ms_per_cm;
    ChannelName salinity_trace; ///< of kind salinity or conductivity
    ConductivityMeans conductivity_means = ConductivityMeans::raw;
    double salinity_uncertainty = 0.5; ///< our choice
    std::optional<double> pressure_kpa;
    ChannelName pressure_trace;
    PressureMeans pressure_means = PressureMeans::station;
    std::optional<double> altitude_m;
    double pressure_uncertainty_kpa = 0.3;  ///< our choice; 2.5 is advised where only the altitude is known
    double temperature_uncertainty_c = 0.1; ///< of the thermometers, standing; our choice
};

/// [[trace.column]]
struct TraceColumn {
    std::string header;
    std::optional<std::size_t> index; ///< from 1
    std::string use;                  ///< word of intake's ColumnUse; empty: guessed
    std::string unit;
    std::string channel;
};

/// [[trace]]: raw files of one logger. Dialect words are those of intake/dialect.hpp; absent = found in the
/// file.
struct TraceSource {
    std::string name;
    std::vector<std::string> files; ///< patterns inside the study folder: "raw/boat/*.csv"
    std::string clock;              ///< of clock_checks.csv; empty: the trace's name
    std::string zone;               ///< IANA name; empty: [study] zone
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
    std::optional<double> assumed_salinity; ///< what the logger took the water to be
    std::optional<double> assumed_pressure_kpa;
    std::vector<TraceColumn> columns;
    Place place;
};

/// [states]
struct StateSettings {
    /// "pump_column", "pump_log", "timetable", "found", "sealed_throughout"; empty: the first that is there.
    std::string source;
    std::optional<Instant> timetable_start;
    double timetable_period_s = 0.0;
    double timetable_flush_s = 0.0;
    uptake::FindSettings find;
};

/// [uncertainty]: standing ones for what a table leaves empty.
struct StandingUncertainty {
    double density_kg_per_l = 1.0;
    double density_uncertainty_kg_per_l = 0.02; ///< our choice
    double mass_share = 0.01;                   ///< of the mass, where fish.csv gives none; our choice
    double volume_share = 0.005;     ///< of the volume, where assemblies.csv gives none; our choice
    double unchecked_clock_s = 60.0; ///< of a clock never compared; our choice
    double event_s = 10.0;           ///< of an event whose row gives none; our choice
};

/// [columns]: what the study says of a treatment or covariate column.
struct ColumnStage {
    std::string column;
    std::string stage; ///< "assigned", "before", "during", "after"
};

/// One setting as read, for the report: section, key, value and default as text.
struct SettingValue {
    std::string section;
    std::string key;
    std::string value;
    std::string unit;
    std::string default_value;
    std::string why;
    bool is_default = true;
};

struct Brief {
    Header study;
    WaterInputs water;
    std::vector<TraceSource> traces;
    StateSettings states;
    uptake::StaySettings stay; ///< [settle], [marks], [background]
    uptake::NoiseSettings noise;
    uptake::PeakSettings peak;
    uptake::RestingSettings resting;
    uptake::RecoverySettings recovery;
    uptake::AdjustSettings adjust;
    uptake::PlausibleBounds plausible;
    StandingUncertainty uncertainty;
    std::vector<std::string> treatments; ///< free columns that make the groups of the report, in order
    std::vector<ColumnStage> stages;
    std::map<std::string, std::string> answers; ///< [report.answers]: reporting rows no data can know
    std::vector<SettingValue> settings;         ///< all of them, as used
};

} // namespace backeddy::study
