#pragma once
// What leads to flush at once, whatever cycle and hands want.

#include <optional>

#include "watch/output.hpp"
#include "watch/plausibility.hpp"
#include "watch/stay.hpp"

namespace backeddy::watch {

struct InterlockFacts {
    double now_s = 0.0;
    bool is_unsure = false; ///< the watch was away, was started, or its clock ran backward
    bool is_unkept = false; ///< samples cannot be written
    bool is_sealed = false;
    bool has_fish = false;
    const SensorTrack* oxygen = nullptr;
    std::optional<double> celsius; ///< nothing when not known
    double floor_mg_per_l = 0.0;
    double expected_fall_mg_per_l_s = 0.0; ///< of this fish, 0 or more
};

/// Oxygen that the fish may have by the time a flush begins to bite, mg/L: the running level drawn on over
/// the reading's age, the sensor's lag, mixing and the pump's reaction. While readings are late, or stand
/// still for longer than their display step explains, it falls as fast as the fish was last known to take.
/// Nothing before the first believed reading.
[[nodiscard]] std::optional<double> foreseen_level(const InterlockFacts& facts, const ChamberPlan& chamber,
                                                   const InterlockSettings& settings);

/// The first that stands, or nothing: unsure; not kept; sensor (not believed for a while, frozen);
/// temperature (with a fish); floor (sealed, with a fish).
[[nodiscard]] std::optional<Why> interlock(const InterlockFacts& facts, const ChamberPlan& chamber,
                                           const Settings& settings);

} // namespace backeddy::watch
