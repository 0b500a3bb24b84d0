#pragma once
// Precision-led spells beside the fixed timetable, at the same floor, over fish whose uptake is known.

#include <cstdint>
#include <vector>

#include "watch/simulated_room.hpp"

namespace backeddy::watch::test {

/// Of many nights under one way of timing.
struct TimingFound {
    int fish = 0;
    int spells = 0;
    double slope_bias_percent = 0.0;       ///< mean of (measured - true) / true uptake of the spells
    double slope_bias_error_percent = 0.0; ///< its standard error, fish by fish
    double slope_sd_percent = 0.0;         ///< scatter of the spells about their truth
    double smr_bias_percent = 0.0;
    double smr_sd_percent = 0.0;
    double smr_rmse_percent = 0.0; ///< bias included
    double mean_sealed_s = 0.0;
};

/// `noise_factor` times the usual sensor noise; SMR is the 0.2 quantile of the spells from the tenth hour on
/// of a night of 22 h, background taken off as known.
[[nodiscard]] TimingFound compare(Timing timing, double noise_factor, int fish);

} // namespace backeddy::watch::test
