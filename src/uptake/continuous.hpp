#pragma once
// Start here for uptake as a curve in time, MO2(t) with its band, by a state-space smoother of the chamber's
// own balance with the sensor's lag inside; through flushes only where the inflow's oxygen is known.

//
//   auto curve = continuous_sealed(spells);            // each sealed spell for itself
//   auto through = continuous_through_flushes(input);  // one curve, where flow and inflow are known
//
// The spell-by-spell numbers stay the answers; this is for looking at how uptake changed in between.

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "fit/noise.hpp"
#include "quantity/measured.hpp"
#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/peak.hpp"

namespace backeddy::uptake {

struct ContinuousSettings {
    bool is_wanted = true;
    double level = 0.95;     ///< of the pointwise band
    double step_s = 10.0;    ///< readings are drawn together to means over steps of this length
    double least_steps = 12; ///< a spell of fewer steps gets shorter ones, down to single readings
    /// A stay of more steps than this gets longer ones (spells keep their least number).
    double most_steps = 600;
    /// Spells, evenly spread over the stay, whose roughness is estimated: one says little, all cost much.
    std::size_t roughness_from = 12;
    /// A stay of more sealed spells than this gets no curve: they stand closer than a figure can show, and
    /// the uptake by spell is the curve already.
    std::size_t most_spells = 300;
};

/// Equal lengths. `piece` tells unbroken runs apart, so that nothing is drawn across what lies between them
/// (a flush of unknown inflow, a hole in the trace).
struct ContinuousUptake {
    std::vector<Instant> at;
    std::vector<double> mg_per_h;     ///< whole animal, less background
    std::vector<double> low_mg_per_h; ///< pointwise band of the smoother alone (noise and changing uptake)
    std::vector<double> high_mg_per_h;
    std::vector<int> piece;
    /// Relative standard uncertainty of what scales the whole curve (volume, calibration, flow): it moves all
    /// of it together and is not in the band. The greatest of the pieces'.
    double scale_uncertainty = 0.0;
    std::string how;             ///< "sealed spells, each for itself" or "through flushes, inflow known"
    std::vector<Reason> reasons; ///< spells that gave no curve, and why
};

/// The uptake within each sealed spell: R(t) = -V dC/dt - background, with dC/dt smoothed by
/// fit::smooth_rate. How fast uptake may change is estimated by maximum likelihood spell by spell, on
/// `roughness_from` of them; the median then serves them all, since one spell says little about it. Spells
/// marked unusable are passed over. Fails with too_few when no spell gives a curve, out_of_range with more
/// than `most_spells`.
[[nodiscard]] Expected<ContinuousUptake> continuous_sealed(std::span<const PeakSpell> spells,
                                                           const ContinuousSettings& settings = {});

/// One unbroken trace through sealed spells and flushes. Spans of one length, times ascending.
struct ThroughFlushes {
    std::span<const std::int64_t> times_ns;
    std::span<const double> oxygen_mg_per_l; ///< NaN: missing, bridged
    std::span<const ChamberState> state;     ///< flush where the flush pump runs; all else counts as sealed
    std::span<const double> inflow_mg_per_l; ///< of the water that the flush brings; needed in flushes only
    Measured flow_l_per_min;
    Measured water_volume_l;
    double background_mg_per_h = 0.0;
    fit::NoiseModel noise; ///< mg/L and seconds
    double sensor_lag_s = 0.0;
};

/// R(t) = F (C_in - C) - V dC/dt - background (Steffensen 1989, Fish Physiol Biochem 6:49; from memory,
/// closed form of the mixed chamber's balance). What the flush has brought is taken off the readings, through
/// the sensor's own lag, so that what is smoothed has no jump where a pump switches. Wash-in is taken as
/// fully mixed; where it is not, the first minutes of each flush mislead. Fails with too_few, out_of_range
/// (lengths unequal, a flush without inflow, volume not above 0).
[[nodiscard]] Expected<ContinuousUptake> continuous_through_flushes(const ThroughFlushes& input,
                                                                    const ContinuousSettings& settings = {});

} // namespace backeddy::uptake
