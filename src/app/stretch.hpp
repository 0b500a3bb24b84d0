#pragma once
// A stretch of one stay, as drawings want it.

#include <cstddef>
#include <functional>
#include <optional>

#include "app/stay_answers.hpp"
#include "report/outline.hpp"
#include "report/results.hpp"

namespace backeddy::app {

/// The pyramid of a trace, where somebody has made one.
using PyramidOf = std::function<const report::TracePyramid&(const uptake::ChamberTrace& trace)>;

/// Readings of a stay from `from` to `to` (both included; without one, the stay's own bound), thinned to
/// about `points` without hiding an extreme, slice by slice, and the runs of the chamber's states that
/// overlap. Times count from `from`, or from the stay's beginning. Empty where no reading lies between.
[[nodiscard]] report::DrawnTrace drawn_stretch(const StayAnswer& stay, std::optional<Instant> from,
                                               std::optional<Instant> to, std::size_t points,
                                               const PyramidOf& pyramid_of = {});

} // namespace backeddy::app
