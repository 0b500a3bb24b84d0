#pragma once
// Start here for uptake as a curve in time, MO2(t) with its band, by a state-space smoother of the chamber's
// own balance with the sensor's lag inside; through flushes only where the inflow's oxygen is known.

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/rate.hpp"

namespace backeddy::uptake {

struct ContinuousSettings {
    double level = 0.95;
    double step_s = 10.0; ///< spacing of the curve; readings are thinned to their means over it
    double sensor_lag_s = 0.0;
};

/// Equal lengths. Gaps (a flush of unknown inflow, a hole in the trace) are absent rows, and `piece` tells
/// unbroken runs apart, so that nothing is drawn across them.
struct ContinuousUptake {
    std::vector<Instant> at;
    std::vector<double> mg_per_h;     ///< whole animal: less background where one is given
    std::vector<double> low_mg_per_h; ///< pointwise band of the smoother alone (noise and changing uptake)
    std::vector<double> high_mg_per_h;
    std::vector<int> piece;
    /// Relative standard uncertainty of what scales the whole curve (volume, calibration): it moves all of it
    /// together and is not in the band.
    double scale_uncertainty = 0.0;
    std::string how; ///< "sealed spells only" or "sealed spells and flushes with known inflow"
};

} // namespace backeddy::uptake
