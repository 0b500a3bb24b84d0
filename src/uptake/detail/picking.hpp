#pragma once
// What picking the steepest of many windows adds. Not for use outside this folder.

#include <cstdint>
#include <span>
#include <vector>

#include "fit/noise.hpp"

namespace backeddy::uptake::detail {

/// One unbroken run of readings that was searched.
struct SearchedRun {
    std::vector<double> seconds; ///< ascending
    std::vector<double> oxygen;
    fit::NoiseModel noise;
};

/// Oxygen as a second-degree curve through the run, its bend drawn towards 0 by its own error (times 1 -
/// (error/bend)^2, at least 0), so that noise does not pass for a falling uptake.
[[nodiscard]] std::vector<double> smooth_course(const SearchedRun& run);

struct Picking {
    double bias = 0.0;       ///< of the steepest slope's size, per second; what the search adds to the truth
    double bias_error = 0.0; ///< Monte Carlo
    double spread = 0.0;     ///< standard deviation of the steepest slope over the simulations
};

/// Simulates noise on the smooth courses of all runs, searches them as the data were searched, and compares
/// the steepest slope found with the steepest of the courses themselves. Runs without noise add nothing.
[[nodiscard]] Picking picking_bias(std::span<const SearchedRun> runs, double window_s, std::size_t draws,
                                   std::uint64_t seed);

} // namespace backeddy::uptake::detail
