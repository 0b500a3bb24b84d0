#pragma once
// Traces thinned for drawing, without hiding an extreme.

#include <cstddef>
#include <span>

#include "report/outline.hpp"
#include "report/results.hpp"

namespace backeddy::report {

struct ThinLimits {
    std::size_t slices = 1200; ///< slices of time over the whole stretch; up to two points are kept in each
    double gap_factor = 10.0;  ///< a step longer than so many median steps is drawn as a gap
};

/// Readings of [from, to] (columns as in ChamberTrace, ascending) thinned to the lowest and highest oxygen
/// reading of each slice, in their own order and at their own times, with saturation and temperature of the
/// same rows. Missing readings are passed over; a gap becomes one point whose oxygen is NaN. Fewer readings
/// than two per slice are kept as they are. `states` gives the runs of the same stretch.
[[nodiscard]] DrawnTrace thinned(const uptake::ChamberTrace& trace, Instant from, Instant to,
                                 const ThinLimits& limits = {});

/// The same of a trace whose pyramid is there, in time that hardly grows with its readings. Without `states`;
/// a gap is told by the usual step of the whole trace.
[[nodiscard]] DrawnTrace thinned(const uptake::ChamberTrace& trace, const TracePyramid& pyramid, Instant from,
                                 Instant to, const ThinLimits& limits = {});

/// Points of a curve, x ascending, thinned to the lowest and the highest y of each of `slices` slices of x,
/// with the band of the same points. `piece` (one per point) tells unbroken runs apart: between two of them
/// stands one point of NaN, so that no line crosses; where there are more than `slices` / 2 pieces only where
/// x jumps by more than a slice. Fewer points than two per slice are kept as they are.
[[nodiscard]] Curve thinned(const Curve& curve, std::span<const int> piece, std::size_t slices);

/// Runs of equal state over [from, to].
[[nodiscard]] std::vector<StateRun> state_runs(const uptake::ChamberTrace& trace, Instant from, Instant to);

} // namespace backeddy::report
