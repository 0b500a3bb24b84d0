#pragma once
// The estimators on one simulated stay, in the order in which a study runs them, held against the truth.

#include <optional>
#include <string>

#include "validation/simulated_stay.hpp"

namespace backeddy::validation {

/// An estimate, its standard uncertainty and the truth, mg/kg/h.
struct Held {
    double estimate = 0.0;
    double uncertainty = 0.0;
    double truth = 0.0;

    [[nodiscard]] double relative_error() const { return (estimate / truth) - 1.0; }
    /// Whether estimate +- 1.959964 uncertainties holds the truth.
    [[nodiscard]] bool is_covered() const;
};

struct Judged {
    std::optional<Held> spell; ///< the middle one of the stay
    std::optional<Held> line;  ///< the middle one against the truth weighted as a line weighs it
    std::optional<Held> stay;  ///< mean of its spells
    std::optional<Held>
        ordinary; ///< the middle spell with the ordinary slope error in place of the modelled one
    std::optional<Held> newey_west; ///< the same with the Newey-West error
    std::optional<Held>
        peak; ///< steepest 60 s, luck of the search taken off, against the same window's truth
    std::optional<Held> peak_raw; ///< the same without that correction
    std::size_t spells = 0;
    std::string failed; ///< why there is no answer, in words
};

[[nodiscard]] Judged judged(const SimulatedStay& simulated);

/// The curve in time of the same stay against the truth at each of its points.
struct JudgedCurve {
    double points = 0.0;
    double held_by_band = 0.0; ///< points whose 95 % band, as drawn, holds the truth
    double held_with_scale =
        0.0; ///< the same with the curve's one scale uncertainty joined to the band in quadrature
    double relative_error = 0.0; ///< mean over the points
    double rms_error = 0.0;      ///< relative
    std::string failed;
};

[[nodiscard]] JudgedCurve judged_curve(const SimulatedStay& simulated);

} // namespace backeddy::validation
