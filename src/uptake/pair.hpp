#pragma once
// The same fish after capture and after chase, side by side, with what else differed between the two.

#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "uptake/adjust.hpp"
#include "uptake/peak.hpp"
#include "uptake/rate.hpp"

namespace backeddy::uptake {

/// What was around one peak besides the handling itself.
struct PeakSurroundings {
    std::string assembly;
    std::string sensor;
    bool bled_before = false; ///< since capture and before this event
    std::optional<Duration> air;
};

struct PeakPair {
    UptakeRate after_capture; ///< corrected values
    UptakeRate after_chase;
    UptakeRate difference; ///< capture less chase; shared sources cancel
    Measured ratio;        ///< capture over chase
    Interval difference_interval_mg_per_h;
    Interval ratio_interval; ///< on the log scale
    double hours_between = 0.0;
    double temperature_difference_c = 0.0; ///< capture less chase
    /// Chase brought to the temperature at capture, when they differ by more than the settings' 1 K.
    std::optional<UptakeRate> chase_adjusted;
    std::optional<Measured> ratio_adjusted;
    std::vector<std::string> differences; ///< in words: temperature, tube, sensor, bleed, air, hours between
    std::vector<Reason> reasons;
};

/// Error when a value is not finite or the chase peak is not above 0.
[[nodiscard]] Expected<PeakPair> peak_pair(const PeakUptake& after_capture,
                                           const PeakSurroundings& around_capture,
                                           const PeakUptake& after_chase,
                                           const PeakSurroundings& around_chase,
                                           const AdjustSettings& settings = {});

} // namespace backeddy::uptake
