#pragma once
// What was read of a plate, and the plate map that says what stands in each well, to the wells that
// condition::evaluate_plate() takes.

#include <span>
#include <string>
#include <vector>

#include "condition/plate_well.hpp"
#include "intake/plate_file.hpp"
#include "study/complaint.hpp"
#include "study/condition_rows.hpp"

namespace backeddy::intake {

struct PlateWells {
    std::vector<condition::Well> wells; ///< in the order of the map; only those about which nothing is wrong
    std::vector<study::Complaint> complaints; ///< warnings
};

/// Every well of the map with its response; `map` holds rows of one plate that count (study::check_sheets()).
/// An excluded well that holds no number comes with NaN, which nobody reads, and its reason. Told, at the
/// map's row: a well that counts and has no number in the reading (bad_relation), has one below 0 or lies
/// outside of the plate (out_of_range): it is left out.
[[nodiscard]] PlateWells wells_from(const PlateReading& reading, std::span<const study::WellRow> map);

/// A warning at the reading's file where it has values of wells that no row of `map` names, be it one that
/// counts or not.
[[nodiscard]] std::vector<study::Complaint> unmapped_wells(const PlateReading& reading,
                                                           std::span<const study::WellRow> map);

} // namespace backeddy::intake
