#pragma once
// Start here: a whole study folder out of the chamber's physics, with the truth beside it.
//
//   auto plan = read_plan("demo/demo.toml");                    // plan.hpp: what can be asked for
//   auto made = simulate_study(*plan, 7, "my-study");            // tables, brief, raw/, truth/
//
// plan.hpp reads the brief; season.hpp lays out who was where when; readings.hpp runs the physics (chamber/)
// through sensor and clock; trace_files.hpp and tables.hpp write what loggers and people would have;
// truth.hpp writes what is known besides.

#include <cstdint>
#include <filesystem>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "simulate/plan.hpp"

namespace backeddy::simulate {

/// What was made, for a line on the terminal.
struct SimulatedStudy {
    std::size_t fish = 0;
    std::size_t stays = 0;
    std::size_t raw_files = 0;
    std::uintmax_t raw_bytes = 0;
};

/// Writes the study into `out_dir`, which must not exist or be empty. The same plan and seed give the same
/// bytes, whatever the number of threads. Fails with cannot_write, or bad_setting where the plan has no room
/// for its fish.
[[nodiscard]] Expected<SimulatedStudy> simulate_study(const SimulationPlan& plan, std::uint64_t seed,
                                                      const std::filesystem::path& out_dir,
                                                      Threads threads = {});

} // namespace backeddy::simulate
