#pragma once
// What a simulation brief (TOML) asks for: the water, the fish, the protocol, the chambers, the loggers and
// what goes wrong. Every setting has a default; an unknown key is an error that offers the nearest name.
// demo/demo.toml is a full example.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "simulate/condition_plan.hpp"

namespace backeddy::simulate {

struct Range {
    double from = 0.0;
    double to = 0.0;
};

/// [study]
struct StudyPlan {
    std::string title = "Simulated study";
    std::string place = "an invented place";
    std::string zone = "UTC"; ///< IANA name; the tables' times are local in it
    std::string species = "Salmo trutta";
    std::string permit = "none: simulated";
    int first_year = 2026;
    int first_month = 6;
    int first_day = 8;
    std::vector<int> fish_per_day{2}; ///< one entry per day with captures
};

/// [water]
struct WaterPlan {
    double temperature_c = 13.0; ///< mean on the first day
    double warming_c_per_day = 0.0;
    double tide_c = 0.4; ///< amplitude
    double day_c = 0.3;  ///< amplitude, warmest at 16:00
    double salinity = 31.0;
    double pressure_kpa = 101.3;
    double inflow_percent = 98.0;     ///< of air saturation
    double inflow_tide_percent = 0.5; ///< amplitude
};

/// [fish]; rates are of a fish of 1 kg at reference_c. Bounds of plausibility: MO2 at rest 15-200, peak
/// 150-1000 mg/kg/h for salmonids of 0.1-3 kg at 4-20 degC.
struct FishPlan {
    Range mass_kg{0.5, 2.0};
    double density_kg_per_l = 1.0;
    double density_spread = 0.005; ///< sd of the true density about it
    double resting_mg_per_kg_h = 72.0;
    double reference_c = 13.0;
    double mass_exponent = 0.89;
    double q10 = 2.0;
    double between_fish_share = 0.10; ///< sd of the logarithm of the resting level
    double capture_ratio = 5.2;       ///< peak over rest after capture
    double chase_ratio = 4.8;
    double between_peaks_share = 0.07;
    double rise_s = 45.0;    ///< how slowly the uptake climbs to its peak
    double fast_share = 0.6; ///< of the excess at its start
    double fast_rate_per_h = 3.5;
    double plateau_min = 15.0; ///< the slow part is held so long before it falls
    double slow_rate_per_h = 0.35;
    double handling_ratio = 0.8; ///< excess of blood draw and transfer, in units of rest
    double handling_rate_per_h = 1.5;
    double rhythm_share = 0.06;
    double rhythm_high_h = 11.0; ///< local time of day
    double bouts_per_h = 0.5;
    double bout_ratio = 0.35; ///< mean amplitude in units of rest
    double bout_hold_s = 150.0;
    double mass_error_g = 4.0; ///< sd of the weighing; also the uncertainty stated
};

/// [[rig]] and [[unhooking]]: what a treatment does to the fish.
struct TreatmentPlan {
    std::string name;
    double peak_factor = 1.0;    ///< on the excess after capture
    double slow_factor = 1.0;    ///< on the slow part's rate (below 1: longer recovery)
    double blood_factor = 1.0;   ///< on what blood and reflexes show
    double injury_factor = 1.0;  ///< on fins, body and the hook's wound
    Range fight_s{120.0, 420.0}; ///< [[rig]] only
    Range air_s{0.0, 0.0};       ///< [[unhooking]] only
};

struct CyclePlan {
    double flush_s = 150.0;
    double sealed_s = 150.0;
};

/// [protocol]
struct ProtocolPlan {
    double tube_min = 50.0; ///< in the tube after capture
    double chase_min = 4.0;
    double air_s = 30.0; ///< after the chase
    double after_chase_min = 40.0;
    double transfer_min = 18.0;   ///< from the tube to the chamber ashore
    double fishing_from_h = 11.0; ///< local time of day
    double fishing_to_h = 17.0;
    double chase_from_h = 8.75;
    double tube_blank_min = 36.0;
    double shore_blank_min = 70.0;
    CyclePlan tube{150.0, 150.0};
    CyclePlan tube_blank{180.0, 900.0};
    CyclePlan shore{300.0, 600.0};
    CyclePlan shore_blank{300.0, 1800.0};
};

enum class ChamberKind : std::uint8_t { tube, shore };

/// [[chamber]]
struct ChamberPlan {
    std::string name;
    ChamberKind kind = ChamberKind::tube;
    double volume_l = 14.0; ///< without the fish, as believed (a fish's share is taken off later)
    double loop_l = 0.5;
    double volume_error_share = 0.004; ///< sd of the true volume about it; also the uncertainty stated
    double flow_l_per_min = 15.0;
    double loop_flow_l_per_min = 12.0;
    double plug_cells = 1.0; ///< whole number; 1 mixed, many plug flow
    double leak_l_per_min = 0.0;
    Range mass_kg{0.0, 100.0}; ///< fish that fit
    std::string sensor;
    double sensor_lag_s = 6.0;
    double gain_spread = 0.012; ///< sd of the sensor's gain about 1 before calibration
    double offset_spread_percent = 0.25;
    double drift_percent_per_day = 0.02; ///< sd of the gain's drift
    double white_sd_mg_per_l = 0.006;
    double coloured_sd_mg_per_l = 0.006;
    double coloured_time_s = 10.0;
    double microbes_mg_per_h = 1.0; ///< at the start of each stay's first blank
    double microbes_growth_per_h = 0.06;
};

enum class TimeStyle : std::uint8_t {
    iso_utc,
    iso_local,
    day_first,
    month_first_12h,
    elapsed,
    epoch,
    spreadsheet
};
enum class Encoding : std::uint8_t { utf8, utf8_bom, utf16, latin1 };
enum class Shape : std::uint8_t { wide, long_form };
enum class PumpRecord : std::uint8_t { none, column, log };
enum class FileSplit : std::uint8_t { by_day, by_session };

/// [[trace]]
struct TracePlan {
    std::string name;
    std::vector<std::string> chambers;
    double interval_s = 1.0;
    std::string clock;
    TimeStyle time = TimeStyle::iso_utc;
    Encoding encoding = Encoding::utf8;
    Shape shape = Shape::wide;
    char separator = ',';
    char decimal = '.';
    bool windows_lines = false;
    std::string oxygen_unit = "mg/L";   ///< mg/L umol/L mL/L % kPa hPa mmHg
    std::string temperature_unit = "C"; ///< C or F
    int oxygen_decimals = 3;
    int temperature_decimals = 2;
    std::optional<double> assumed_salinity; ///< set in the logger (concentrations only)
    std::optional<double> assumed_pressure_kpa;
    bool preamble = false;
    PumpRecord pump = PumpRecord::column;
    std::string pump_clock; ///< of the separate log
    FileSplit files = FileSplit::by_day;
};

/// [[clock]]: how a logger's clock stands against the true time.
struct ClockPlan {
    std::string name;
    double offset_s = 0.0; ///< shown less true on the first day
    double drift_s_per_day = 0.0;
};

enum class FaultKind : std::uint8_t {
    dead_pump,     ///< the flush brings nothing though the record says it runs
    bubble,        ///< gas under the lid
    sensor_bubble, ///< gas on the sensor: a step towards saturation and back
    leak,
    gap,       ///< the logger wrote nothing
    torn_file, ///< the file ends in the middle of a line
    clock_slip,
    sensor_swap,
    death,
    mistyped_fight, ///< encounters.csv has another fight time than the events
};

/// [[fault]]. Those of a chamber name a fish and which of its stays, and start so long after its start; those
/// of a trace or clock name it and a day (from 1).
struct FaultPlan {
    FaultKind kind = FaultKind::gap;
    int fish = 0;               ///< from 1
    std::string stay = "night"; ///< tube, night, after_chase
    double after_h = 0.0;
    double hours = 0.0;
    std::string name; ///< of the trace or clock; for a sensor_swap the new sensor
    int day = 1;
    double amount = 0.0; ///< s of slip or fight time; mL of gas; L/min of leak; share of a sensor bubble
};

struct SimulationPlan {
    StudyPlan study;
    WaterPlan water;
    FishPlan fish;
    std::vector<TreatmentPlan> rigs;
    std::vector<TreatmentPlan> unhookings;
    ProtocolPlan protocol;
    std::vector<ChamberPlan> chambers;
    std::vector<TracePlan> traces;
    std::vector<ClockPlan> clocks;
    std::vector<FaultPlan> faults;
    std::optional<BloodPlan> blood; ///< these six: nothing, or none, where the brief does not have them
    std::vector<MeterPlan> meters;
    std::vector<PlatePlan> plates;
    std::optional<FinPlan> fins;
    std::optional<ReflexPlan> reflexes;
    std::optional<FatePlan> fates;
    /// [[question]] sections, each as the study's own brief is to have it: `simulate` asks nothing itself.
    std::vector<std::string> questions;
    std::string deck;              ///< [deck] and [permit], likewise; empty: neither is there
    std::vector<std::string> rods; ///< of [deck], one for each rig; empty: "rod 1", "rod 2" ...
    std::string text;              ///< the brief itself, kept with the truth

    [[nodiscard]] int fish_count() const;
};

/// The plan in `toml`, checked: names that are referred to exist, each chamber belongs to one trace, numbers
/// are what they must be. `file` is for messages.
[[nodiscard]] Expected<SimulationPlan> parse_plan(std::string_view toml, const std::string& file);
[[nodiscard]] Expected<SimulationPlan> read_plan(const std::filesystem::path& path);

/// The words of the choices, as in the brief.
[[nodiscard]] std::string_view word_of(FaultKind kind);
[[nodiscard]] std::string word_of(MeterAnalyte analyte);

} // namespace backeddy::simulate
