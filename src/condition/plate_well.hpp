#pragma once
// What stands in each well of an assay plate, and what the reader said of it.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace backeddy::condition {

enum class WellKind : std::uint8_t {
    empty,
    standard, ///< a known concentration of the analyte, above 0
    zero,     ///< all reagents and none of the analyte: the standard of concentration 0
    blank,    ///< the signal without the reaction (reagents or antibody left out): taken off all others
    control,  ///< the same material on every plate; its expected value may be known
    sample,
    spiked, ///< a sample to which a known amount was added
};

struct Well {
    std::size_t row = 0;    ///< from 1: A, B, ...
    std::size_t column = 0; ///< from 1
    WellKind kind = WellKind::empty;
    std::string label;              ///< of controls, samples and spiked samples (that of the sample spiked)
    double concentration = 0.0;     ///< of standards, in the unit of all concentrations of the plate
    std::optional<double> expected; ///< of controls: before dilution
    double added = 0.0; ///< of spiked samples: what the spike adds to the concentration before dilution, > 0
    double dilution = 1.0; ///< of controls, samples, spiked: 20 for one part made up to twenty, > 0
    double response = 0.0; ///< as read: optical density, fluorescence, counts
    std::string excluded;  ///< why a person set it aside; empty: it counts
};

/// "C7"; rows after Z go on with AA, AB, ...
[[nodiscard]] std::string well_name(std::size_t row, std::size_t column);

/// "A" is 1, "H" 8, "AA" 27; small letters too. Nothing unless it is one or two letters.
[[nodiscard]] std::optional<std::size_t> row_of_letters(std::string_view letters);

struct WellPlace {
    std::size_t row = 0; ///< from 1, as are columns
    std::size_t column = 0;

    friend bool operator==(const WellPlace&, const WellPlace&) = default;
};

/// Where "C7", "c7" or "C07" stands: one or two letters, one to three digits that are not all 0. Nothing for
/// any other text; whether the plate has such a well is not asked.
[[nodiscard]] std::optional<WellPlace> well_place(std::string_view name);

} // namespace backeddy::condition
