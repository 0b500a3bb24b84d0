#pragma once
// Start here: what one assembly's instruments wrote over one stretch of time, brought to common rows: the
// input of everything in this folder.

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "series/instant.hpp"

namespace backeddy::uptake {

/// The chamber's three states and the absence of knowledge. `settle` is the start of a sealed spell that is
/// set aside while water mixes and the sensor catches up.
enum class ChamberState : std::uint8_t { unknown, flush, settle, sealed };

/// Columns of equal length, ascending in corrected UTC. Oxygen is mg/L already (convert.hpp makes it so); a
/// missing value is NaN. `state` is what a pump column or log says of the moment, `unknown` where nothing
/// says.
struct ChamberTrace {
    std::string assembly;
    std::string sensor; ///< the oxygen sensor; a swap starts another trace
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen_mg_per_l;
    std::vector<double>
        saturation_percent; ///< oxygen as per cent of air saturation at the sample's conditions
    std::vector<double> temperature_celsius;
    std::vector<ChamberState> state;
    /// 1 where the sensor's own reading, as it was logged, is that of the row before: a calibration that
    /// drifts or water that warms moves the converted value of a sensor that stands still. Empty: not known.
    std::vector<std::uint8_t> repeats;

    [[nodiscard]] std::size_t rows() const { return times_ns.size(); }
};

/// One unbroken run of a state: rows [first_row, end_row) of its trace.
struct Spell {
    ChamberState state = ChamberState::unknown;
    std::size_t first_row = 0;
    std::size_t end_row = 0;
    Instant from;
    Instant to;

    friend bool operator==(const Spell&, const Spell&) = default;
};

} // namespace backeddy::uptake
