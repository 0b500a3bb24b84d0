#pragma once
// A season laid out: which fish was where and when, what it breathed, what the pumps did, what went wrong.
// This is the truth of a simulated study; the files are made from it.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "chamber/respiration.hpp"
#include "chamber/sensor.hpp"
#include "chamber/swing.hpp"
#include "series/instant.hpp"
#include "simulate/civil.hpp"
#include "simulate/plan.hpp"

namespace backeddy::simulate {

/// All times are true seconds since Season::zero.
struct Span {
    double from_s = 0.0;
    double to_s = 0.0;

    [[nodiscard]] bool holds(double t_s) const { return from_s <= t_s && t_s < to_s; }
};

struct Stay {
    std::string id;
    std::optional<std::size_t> fish; ///< nothing for a blank
    std::size_t chamber = 0;
    std::string role;
    Span span;
    std::string ended = "done";
    std::optional<double> last_good_s;
    std::string note;
    CyclePlan cycle;
    std::vector<Span> sealed; ///< its sealed spells, settle included
};

struct SimulatedFish {
    std::string id;
    std::size_t rig = 0;
    std::size_t unhooking = 0;
    double weighed_g = 0.0; ///< what the table says; the truth is in respiration.fish()
    double length_mm = 0.0;
    double hook_up_s = 0.0;
    double landed_s = 0.0;
    double back_in_water_s = 0.0;
    double air_s = 0.0;            ///< in air, from landed on
    double mistyped_fight_s = 0.0; ///< by how much encounters.csv has its fight too long
    double chase_start_s = 0.0;    ///< 0 when it was not chased
    double chase_end_s = 0.0;
    std::optional<double> found_dead_s;
    std::size_t tube_stay = 0; ///< indices into Season::stays
    std::size_t night_stay = 0;
    std::optional<std::size_t> chase_stay;
    chamber::Respiration respiration{chamber::Fish{}, chamber::Swing{}};
};

/// A row of events.csv.
struct Event {
    double at_s = 0.0;
    double uncertainty_s = 0.0;
    std::string word;
    std::string fish;
    std::string stay;
    std::string assembly;
    std::string value;
    std::string unit;
    std::string who;
    std::string rod;
    std::string rig;
    std::string note;
};

/// One sensor in one chamber for a while.
struct SensorSpan {
    std::string name;
    double from_s = 0.0;
    double to_s = 0.0;
    double gain = 1.0;
    double offset_percent = 0.0; ///< per cent of air saturation
    double gain_drift_per_day = 0.0;
};

struct FlushChange {
    double at_s = 0.0;
    bool flush = true; ///< what the controller commands and records
};

/// What is wrong with a chamber for a while.
struct ChamberFault {
    FaultKind kind = FaultKind::leak;
    Span span;
    double amount = 0.0;
};

struct SimulatedChamber {
    double volume_l = 0.0; ///< true
    double loop_l = 0.0;
    std::vector<SensorSpan> sensors;
    std::vector<std::size_t> stays;    ///< in order of time
    std::vector<FlushChange> commands; ///< in order of time; flush before the first
    std::vector<ChamberFault> faults;
    std::vector<std::pair<double, chamber::Microbes>> microbes; ///< each valid from its moment on
};

/// A logger's clock: shown = true + offset + drift + slips so far.
struct SimulatedClock {
    std::string name;
    double offset_s = 0.0;
    double drift_s_per_day = 0.0;
    std::vector<std::pair<double, double>> slips; ///< moment, seconds

    [[nodiscard]] double slipped_s(double t_s) const;
    [[nodiscard]] double error_s(double t_s) const;
};

/// A logger's run without a stop.
struct Session {
    Span span;
    bool torn = false;      ///< the file's last line is cut
    std::vector<Span> gaps; ///< nothing was written
};

struct PlantedFault {
    std::string kind;
    std::string where;
    std::string stay;
    double from_s = 0.0;
    double to_s = 0.0;
    std::string amount;
};

struct Season {
    Zone zone;
    Instant zero;
    double end_s = 0.0;
    chamber::Swing temperature; ///< degC
    chamber::Swing inflow;      ///< mg/L
    std::vector<SimulatedFish> fish;
    std::vector<Stay> stays; ///< in order of beginning
    std::vector<Event> events;
    std::vector<SimulatedChamber> chambers;     ///< as plan.chambers
    std::vector<SimulatedClock> clocks;         ///< as plan.clocks
    std::vector<std::vector<Session>> sessions; ///< per plan.traces
    std::vector<PlantedFault> planted;

    [[nodiscard]] Instant instant(double t_s) const { return zero + Duration::seconds(t_s); }
};

/// Which of the independent streams of random numbers serves what; a new fish or chamber never shifts
/// another's.
enum class StreamOf : std::uint64_t {
    season = 1,
    fish = 2,
    chamber = 3,
    noise = 4,
    table = 5,
    sensor = 6,
    blood = 7,
    meter = 8,
    plate = 9,
    score = 10,
    reflex = 11,
    fate = 12,
};
[[nodiscard]] Random stream(std::uint64_t seed, StreamOf what, std::uint64_t number = 0);

/// Lays the season out. Fails with bad_setting when the plan cannot be: no chamber free or none that fits a
/// fish.
[[nodiscard]] Expected<Season> lay_out(const SimulationPlan& plan, std::uint64_t seed);

/// The water's true oxygen at saturation at that moment, mg/L.
[[nodiscard]] double saturation_at(const SimulationPlan& plan, const Season& season, double t_s);

} // namespace backeddy::simulate
