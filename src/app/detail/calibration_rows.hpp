#pragma once
// Rows of calibrations.csv -> the calibration of one sensor, in the unit that it logs.

#include "app/detail/water_inputs.hpp"
#include "intake/unit.hpp"

namespace backeddy::app::detail {

/// What a sensor writes into its files.
struct SensorWrites {
    uptake::OxygenKind kind = uptake::OxygenKind::mg_per_l;
    intake::Unit unit = intake::Unit::mg_per_l;
    uptake::AssumedWater assumed;
};

/// Of a sensor in stays that begin at `stay_begins`. Without an air point the sensor is believed as it is,
/// with the uncertainty that the brief gives to such a one. Errors name the row.
[[nodiscard]] Expected<uptake::Calibration> calibration_of(const Study& study, const study::SensorId& sensor,
                                                           const SensorWrites& writes, const Waters& waters,
                                                           Instant stay_begins);

/// Points of a sensor that read far from what they should (study::check_points); none when a row cannot be
/// read, which calibration_of() says.
[[nodiscard]] std::vector<study::Complaint> calibration_doubts(const Study& study,
                                                               const study::SensorId& sensor,
                                                               const SensorWrites& writes,
                                                               const Waters& waters);

} // namespace backeddy::app::detail
