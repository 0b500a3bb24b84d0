#pragma once
// A logger's clock against true time: what the checks say, and how far they can be trusted.

#include <span>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"

namespace backeddy {

/// One comparison of a clock with true time.
struct ClockComparison {
    Instant shown;              ///< what the clock showed, read in its own zone
    Instant actual;             ///< what was true
    double uncertainty_s = 1.0; ///< standard uncertainty of the comparison, > 0
};

/// Offset and drift of one clock. Between two comparisons the offset goes straight from one to the other;
/// before the first and after the last it is held, and the uncertainty grows with the drift seen. A reset
/// (somebody set the clock, a battery was changed) cuts the line: no offset is carried across it. Common
/// practice, no source.
class ClockCorrection {
  public:
    /// A clock that was never compared: shown times stand, nothing is known about their error.
    ClockCorrection() = default;

    /// `resets`: shown times from which the clock counts anew. Fails with bad_relation when two comparisons
    /// of one stretch show the clock running backward or at less than half or more than twice its pace (a
    /// swapped pair of times).
    [[nodiscard]] static Expected<ClockCorrection> from(std::vector<ClockComparison> comparisons,
                                                        std::vector<Instant> resets);

    [[nodiscard]] Instant corrected(Instant shown) const;
    /// Standard uncertainty of a corrected time, s; `unchecked` where no comparison bears on it.
    [[nodiscard]] double uncertainty_s(Instant shown, double unchecked) const;
    [[nodiscard]] bool is_checked(Instant shown) const;

  private:
    struct Stretch {
        Instant from; ///< shown
        std::vector<ClockComparison> comparisons;
    };
    [[nodiscard]] const Stretch* stretch_at(Instant shown) const;
    std::vector<Stretch> stretches_;
};

} // namespace backeddy
