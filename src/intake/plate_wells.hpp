#pragma once
// What was read of a plate, and the plate map that says what stands in each well, to the wells that
// condition::evaluate_plate() takes.

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/plate_well.hpp"
#include "intake/plate_file.hpp"
#include "study/complaint.hpp"

namespace backeddy::intake {

/// One well of the map, as a person wrote it.
struct PlateMapRow {
    Place place;
    std::string well;  ///< "C7"
    std::string holds; ///< "standard", "zero", "blank", "control", "sample", "spiked" or "empty"
    std::string label; ///< of controls, samples and spiked samples
    /// Of standards; of controls what is expected, before dilution.
    std::optional<double> concentration;
    std::optional<double> dilution; ///< of controls, samples and spiked samples; nothing: 1
    std::optional<double> added;    ///< of spiked samples
    std::string excluded;           ///< why the well does not count; empty: it does
};

struct PlateWells {
    std::vector<condition::Well> wells; ///< in the order of the map; only those about which nothing is wrong
    std::vector<study::Complaint> complaints;
};

/// Every well of the map with its response. An excluded well that holds no number comes with NaN, which
/// nobody reads, and its reason. Complaints that stop a run, at the map's row and column:
///   bad_row         a well that is no name of one, a label, concentration or amount added that is lacking,
///   out_of_range    a well that the plate does not have; a dilution, a standard or an amount added not above
///   0, duplicate       a well twice in the map, unknown_name    a word that is none of the kinds,
///   bad_relation    a well that counts and has no number in the reading; a dilution or amount added where
///   none
///                   is read; and, at the reading's file, wells with a value that the map does not name.
/// A concentration that nothing reads (of samples, blanks ...) is a warning. Dilution 1 may stand anywhere.
[[nodiscard]] PlateWells wells_from(const PlateReading& reading, std::span<const PlateMapRow> map);

} // namespace backeddy::intake
