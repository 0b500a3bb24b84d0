#pragma once
// The tables and the brief of a simulated study, as a person would have kept them: weighed masses, filled
// volumes, clock checks, calibrations. Columns are those of docs/study-folder.md.

#include <cstdint>
#include <filesystem>
#include <vector>

#include "base/error.hpp"
#include "simulate/condition.hpp"
#include "simulate/season.hpp"
#include "simulate/trace_files.hpp"

namespace backeddy::simulate {

/// Writes fish.csv, encounters.csv, stays.csv, events.csv, assemblies.csv, calibrations.csv,
/// clock_checks.csv, decisions.csv and study.toml into `folder`.
[[nodiscard]] Expected<void> write_tables(const SimulationPlan& plan, const Season& season,
                                          const Condition& condition, std::uint64_t seed,
                                          const std::vector<WrittenTrace>& traces,
                                          const std::filesystem::path& folder);

/// Seconds from sealing that a mixed reading takes: five time constants of the exchange between chamber and
/// loop.
[[nodiscard]] double mixing_s(const ChamberPlan& plan);

/// As a text of the study's brief (TOML).
[[nodiscard]] std::string quoted(const std::string& text);

/// A CSV row: fields quoted where they must be.
[[nodiscard]] std::string csv_row(const std::vector<std::string>& fields);

} // namespace backeddy::simulate
