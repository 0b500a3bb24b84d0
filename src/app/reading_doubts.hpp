#pragma once
// Readings that cannot be what their column says they are: set aside before any slope, counted and told, with
// the unit that would make sense of them. Nothing raw is changed.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "intake/unit.hpp"

namespace backeddy::app {

/// What one channel had of a kind of doubt.
struct Implausible {
    std::size_t count = 0;
    std::size_t first_row = 0;
    double low = 0.0; ///< range of the readings in doubt
    double high = 0.0;

    void add(std::size_t row, double value);
};

/// Sets those outside [least, most] to missing. Rows as in `values`.
[[nodiscard]] Implausible set_aside_outside(std::span<double> values, double least, double most);

/// Sets single readings to missing that stand off by more than `step` from both neighbours, which agree
/// within `agree`: one row there and back is no water.
[[nodiscard]] Implausible set_aside_spikes(std::span<double> values, double step, double agree);

/// What an oxygen reading's usual value, as the logger wrote it, would be plausible as, other than `unit`:
/// "% of air saturation", "a fraction of air saturation", "kPa" ...; "" where nothing fits.
[[nodiscard]] std::string looks_like_oxygen(double usual, intake::Unit unit);
/// Of a thermometer ("degrees Fahrenheit", "kelvin") and of a barometer ("hPa", "mmHg", "inches of mercury").
[[nodiscard]] std::string looks_like_temperature(double usual);
[[nodiscard]] std::string looks_like_pressure(double usual_kpa);

/// The middle of the finite values (of some tens of thousands where there are more); nothing where none is.
[[nodiscard]] std::optional<double> usual_of(std::span<const double> values);
/// A value that all but one in a hundred stay under.
[[nodiscard]] std::optional<double> top_of(std::span<const double> values);

} // namespace backeddy::app
