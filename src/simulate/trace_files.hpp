#pragma once
// Readings as a logger's files, in the dialect that the plan gives it.

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "simulate/readings.hpp"

namespace backeddy::simulate {

/// What one trace left in the study folder, for the brief.
struct WrittenTrace {
    std::vector<std::filesystem::path> files;     ///< below the study folder
    std::vector<std::filesystem::path> pump_logs; ///< when it keeps a separate log
    std::uintmax_t bytes = 0;
};

/// Runs the physics of one trace's sessions and writes its files below `folder`/raw.
[[nodiscard]] Expected<WrittenTrace> write_trace(const SimulationPlan& plan, const Season& season,
                                                 std::size_t trace, std::uint64_t seed,
                                                 const std::filesystem::path& folder);

/// The headers of a chamber's columns in this trace ("O2_tube_A"); in a long file they are the same for all.
[[nodiscard]] std::string oxygen_header(const TracePlan& trace, const std::string& chamber);
[[nodiscard]] std::string temperature_header(const TracePlan& trace, const std::string& chamber);
[[nodiscard]] std::string pump_header(const TracePlan& trace, const std::string& chamber);

/// The text in the trace's encoding, byte-order mark included.
[[nodiscard]] std::string encoded(const std::string& utf8, Encoding encoding);

} // namespace backeddy::simulate
