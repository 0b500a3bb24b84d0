#pragma once
// A stretch of one stay, as drawings want it.

#include <cstddef>
#include <optional>

#include "app/stay_answers.hpp"
#include "report/results.hpp"

namespace backeddy::app {

/// Readings of a stay from `from` to `to` (both included; without one, the stay's own bound), thinned to
/// about `points` without hiding an extreme, slice by slice, and the runs of the chamber's states that
/// overlap. Times count from `from`, or from the stay's beginning. Empty where no reading lies between.
[[nodiscard]] report::DrawnTrace drawn_stretch(const StayAnswer& stay, std::optional<Instant> from,
                                               std::optional<Instant> to, std::size_t points);

} // namespace backeddy::app
