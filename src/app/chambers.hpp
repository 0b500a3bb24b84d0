#pragma once
// Raw channels -> one ChamberTrace for each row of the assemblies' table: oxygen in mg/L and per cent of air
// saturation, temperature, pump state, on the oxygen sensor's own times.

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "app/raw_traces.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/convert.hpp"
#include "uptake/states.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::app {

/// A run of a chamber trace's rows that came from consecutive lines of one raw file: the road back.
struct RowSource {
    std::size_t first_row = 0;
    std::size_t file = 0; ///< index into RawTraces::files
    std::uint64_t first_line = 0;
    std::uint32_t line_step = 1;
};

/// What the brief adds to a chamber: standing uncertainties, mixing time, the water's usual values.
struct ChamberSettings {
    uptake::ChamberPhysics physics;
    uptake::OxygenBudget oxygen;
};

/// One row of assemblies.csv with its readings.
struct Chamber {
    const study::Assembly* assembly = nullptr;
    uptake::ChamberTrace trace;
    ChamberSettings usual;
    /// Where a [[season]] begins or ends: as it is for stays from then on. Ascending.
    std::vector<std::pair<Instant, ChamberSettings>> seasons;
    std::optional<uptake::PumpLog> pump_log; ///< where the pump has a logger of its own
    std::vector<RowSource> sources;
    double clock_uncertainty_s = 0.0;
    bool clock_checked = false;
    std::size_t without_conditions = 0; ///< readings that lacked temperature, salinity or pressure
    std::vector<std::string> notes;
    std::vector<study::Complaint> complaints; ///< build_chambers() hands them on

    /// As it is for a stay that begins then.
    [[nodiscard]] const ChamberSettings& at(Instant stay_begins) const;
};

/// Oxygen of the water that flushes bring, from [water] inflow_oxygen_channel. Times ascending, none missing.
struct InflowOxygen {
    std::vector<std::int64_t> times_ns;
    std::vector<double> mg_per_l;
};

struct Chambers {
    std::vector<Chamber>
        list; ///< in the order of the table; rows that could not be built are missing, with a complaint
    std::vector<study::Complaint> complaints;
    double salinity = 0.0; ///< mean used, for the report
    double pressure_kpa = 101.325;
    std::string salinity_from; ///< one sentence
    std::string pressure_from;
    std::vector<std::string> seasons; ///< what else a season's [season.water] says, a sentence each
    std::optional<InflowOxygen> inflow;
    std::string inflow_from; ///< one sentence; empty where none is named
};

/// Frees each raw stream once its last chamber is built, so that a season is not held twice.
[[nodiscard]] Chambers build_chambers(const Study& study, RawTraces& traces, Threads threads);

/// File and line of row `row`.
[[nodiscard]] std::pair<std::size_t, std::uint64_t> line_of(const Chamber& chamber, std::size_t row);

} // namespace backeddy::app
