#pragma once
// Start here: what a logger wrote, as columns. A file, a segment or the wire gives TraceChunks; a Trace is
// what has been gathered of one stream of them.

#include <cstdint>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "series/instant.hpp"

namespace backeddy {

/// What a column of samples means, and in which unit its doubles are. Intake turns every unit of the same
/// kind into the one named here, but keeps kinds apart: per cent of air saturation becomes mg/L only where
/// temperature, salinity and pressure are known (uptake).
enum class ColumnKind : std::uint8_t {
    oxygen_mg_per_l,    ///< concentration (mg/L, umol/L and mL/L arrive here as mg/L)
    oxygen_percent_air, ///< per cent of air saturation
    oxygen_kpa,         ///< partial pressure, kPa (kPa, hPa, mmHg, torr arrive here)
    temperature_celsius,
    pressure_kpa, ///< barometric, as written (station or sea level is for the brief to say)
    salinity_practical,
    conductivity_ms_per_cm, ///< as written (raw or referred to 25 degC is for the brief to say)
    pump,                   ///< 1 flush, 0 sealed
};

/// The word of a kind in settings and messages: "oxygen_mg_per_l".
[[nodiscard]] std::string_view name_of(ColumnKind kind);

/// A missing reading in a column is a quiet NaN: the only sentinel, and every consumer must test for it.
inline constexpr double missing = std::numeric_limits<double>::quiet_NaN();

/// One column of a stream. `channel` names it within its source: the header of a wide file ("O2_3"), or the
/// header and the chamber's value of a long one ("o2_mgL@3").
struct ColumnHeader {
    std::string channel;
    ColumnKind kind = ColumnKind::oxygen_mg_per_l;

    friend bool operator==(const ColumnHeader&, const ColumnHeader&) = default;
};

/// At most this many rows in one chunk.
inline constexpr std::size_t chunk_rows = 8192;

/// For the road back to a line: rows [first_row, next piece's first_row) came from `source`, starting at line
/// `first_line`, one row per `line_step` lines (the chambers of a long file take turns).
struct Piece {
    std::size_t first_row = 0;
    std::uint32_t source = 0;
    std::uint64_t first_line = 0;
    std::uint32_t line_step = 1;

    friend bool operator==(const Piece&, const Piece&) = default;
};

/// A run of consecutive rows of one stream. Times are UTC nanoseconds as the logger's clock gave them (clock
/// checks are applied later), in the order of the file. columns[i] has times.size() values.
struct TraceChunk {
    std::uint32_t source = 0;     ///< which raw file (index into the study's list of inputs)
    std::uint64_t first_line = 0; ///< line of its first row in that file, from 1
    std::vector<std::int64_t> times_ns;
    std::vector<ColumnHeader> headers;
    std::vector<std::vector<double>> columns;
    std::vector<Piece> pieces; ///< first_row counts within the chunk
};

/// Everything gathered of one stream: times ascending (intake has reported and set aside what ran backward).
struct Trace {
    std::vector<std::int64_t> times_ns;
    std::vector<ColumnHeader> headers;
    std::vector<std::vector<double>> columns;
    using Piece = backeddy::Piece;
    std::vector<Piece> pieces;

    [[nodiscard]] std::size_t rows() const { return times_ns.size(); }
};

/// A stretch of a trace with no reading for longer than it should be.
struct Gap {
    Instant from; ///< last reading before
    Instant to;   ///< first reading after
};

/// The median interval between successive times, seconds; 0 for fewer than two.
[[nodiscard]] double median_interval_s(std::span<const std::int64_t> times_ns);

/// Intervals longer than `factor` (> 1) times the median interval.
[[nodiscard]] std::vector<Gap> gaps(std::span<const std::int64_t> times_ns, double factor);

/// Value of (times, values) at `at` by straight interpolation; missing outside, beside a missing value, or
/// across more than `longest` between the two neighbours. Times ascending.
[[nodiscard]] double interpolated(std::span<const std::int64_t> times_ns, std::span<const double> values,
                                  Instant at, Duration longest);

} // namespace backeddy
