#pragma once
// What a logger read in one of its sessions: the chambers' physics seen through sensor and clock.

#include <cstdint>
#include <vector>

#include "base/error.hpp"
#include "simulate/season.hpp"

namespace backeddy::simulate {

/// One chamber's columns. A missing reading is NaN.
struct ChamberReadings {
    std::vector<double> oxygen_mg_per_l; ///< as the sensor believes, before the logger's unit
    std::vector<double> temperature_c;
    std::vector<std::uint8_t> flush; ///< as commanded: 1 flush, 0 sealed
};

struct Readings {
    std::vector<double> true_s;            ///< since Season::zero
    std::vector<std::int64_t> shown_ns;    ///< UTC nanoseconds by the logger's clock, slips included
    std::vector<ChamberReadings> chambers; ///< as TracePlan::chambers
};

/// The same seed gives the same bits, whatever else is read. Fails where the water runs out of oxygen.
[[nodiscard]] Expected<Readings> read_session(const SimulationPlan& plan, const Season& season,
                                              std::size_t trace, std::size_t session, std::uint64_t seed);

/// Index of a chamber by name; plan is checked, so it exists.
[[nodiscard]] std::size_t chamber_named(const SimulationPlan& plan, const std::string& name);
[[nodiscard]] std::size_t clock_named(const Season& season, const std::string& name);

/// What the controller commanded at that moment.
[[nodiscard]] bool flush_commanded(const SimulatedChamber& room, double t_s);

} // namespace backeddy::simulate
