#include "app/detail/calibration_rows.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/doubts.hpp"

namespace backeddy::app::detail {

namespace {

ColumnKind column_kind(uptake::OxygenKind kind) {
    switch (kind) {
    case uptake::OxygenKind::percent_air:
        return ColumnKind::oxygen_percent_air;
    case uptake::OxygenKind::kpa:
        return ColumnKind::oxygen_kpa;
    case uptake::OxygenKind::mg_per_l:
        break;
    }
    return ColumnKind::oxygen_mg_per_l;
}

Error at_column(const study::Calibration& row, std::string column, Error error) {
    error.place = row.place;
    error.place.column = std::move(column);
    return error;
}

/// What one row says, in the sensor's own unit.
struct ReadingInUnit {
    double reading = 0.0;
    double uncertainty = 0.0;
};

// A meter may show per cent of air saturation while it logs another unit: `full` is what per cent are of. A
// row without a unit is in that of the sensor's own column.
Expected<ReadingInUnit> in_sensor_unit(const study::Calibration& row, const SensorWrites& sensor, double full,
                                       double standing_percent) {
    const double stated = row.uncertainty.value_or(std::abs(row.reading) * standing_percent / 100.0);
    const ColumnKind needed = column_kind(sensor.kind);
    const auto unit = row.unit.empty() ? std::optional(sensor.unit) : intake::unit_from(row.unit);
    if (unit == intake::Unit::percent_air && !row.unit.empty()) {
        return ReadingInUnit{.reading = row.reading * full / 100.0, .uncertainty = stated * full / 100.0};
    }
    if (!unit || !intake::fits(*unit, needed)) {
        return fail(
            at_column(row, "unit",
                      {.code = ErrorCode::bad_unit,
                       .found = fmt::format("a calibration in \"{}\"", row.unit),
                       .expected = fmt::format("% air, or the kind of unit that sensor {} logs in ({})",
                                               row.sensor.text(), name_of(needed)),
                       .remedy = "write the reading as the meter shows it"}));
    }
    const double reading = intake::in_trace_unit(*unit, row.reading);
    return ReadingInUnit{.reading = reading,
                         .uncertainty =
                             std::abs(intake::in_trace_unit(*unit, row.reading + stated) - reading)};
}

double should_read_in_air(const study::Calibration& row, const SensorWrites& sensor, const Water& water) {
    const double warm = row.temperature ? row.temperature->celsius() : 15.0;
    const double salt = row.salinity ? row.salinity->practical() : water.salinity;
    const double kpa = row.pressure ? row.pressure->kilopascals() : water.pressure_kpa;
    return uptake::air_point_should_read(sensor.kind, warm, salt, kpa, sensor.assumed);
}

// Of readings as in_trace_unit() gives them.
std::string_view name_in_trace(uptake::OxygenKind kind) {
    switch (kind) {
    case uptake::OxygenKind::percent_air:
        return "% air";
    case uptake::OxygenKind::kpa:
        return "kPa";
    case uptake::OxygenKind::mg_per_l:
        break;
    }
    return "mg/L";
}

Expected<uptake::CalibrationPoint> calibration_point(const study::Calibration& row,
                                                     const SensorWrites& sensor, const Water& water,
                                                     double standing_percent) {
    const auto kind = sensor.kind;
    const bool is_zero = row.point == study::CalibrationPoint::zero;
    if (!is_zero && !row.temperature && kind != uptake::OxygenKind::percent_air) {
        return fail(
            at_column(row, "temperature_c",
                      {.code = ErrorCode::missing_column,
                       .found = "an air point without the water's temperature",
                       .expected = "the temperature, since the sensor logs a concentration or a pressure",
                       .remedy = "fill in temperature_c"}));
    }
    const double full = should_read_in_air(row, sensor, water);
    auto read = in_sensor_unit(row, sensor, full, standing_percent);
    if (!read) {
        return fail(std::move(read).error());
    }
    return uptake::CalibrationPoint{
        .kind = is_zero ? uptake::CalibrationKind::zero : uptake::CalibrationKind::air,
        .at = row.at,
        .reading = read->reading,
        .should_read = is_zero ? 0.0 : full,
        .uncertainty = read->uncertainty,
        .place = row.place,
        .written = fmt::format("{} {}", exact_text(row.reading),
                               row.unit.empty() ? std::string(intake::name_of(sensor.unit)) : row.unit)};
}

// Read as a concentration: not in per cent of air saturation by the meter.
bool is_concentration(const study::Calibration& row, const SensorWrites& sensor) {
    return sensor.kind == uptake::OxygenKind::mg_per_l &&
           intake::unit_from(row.unit) != intake::Unit::percent_air;
}

} // namespace

std::vector<study::Complaint> calibration_doubts(const Study& study, const study::SensorId& sensor,
                                                 const SensorWrites& writes, const Waters& waters) {
    std::vector<study::PointRead> points;
    for (const auto& row : study.tables.calibrations) {
        if (row.sensor != sensor) {
            continue;
        }
        const Water& water = waters.at(row.at);
        auto point = calibration_point(row, writes, water, 0.0);
        if (!point) {
            return {}; // calibration_of() says it, and stops
        }
        const double full = should_read_in_air(row, writes, water);
        points.push_back({.row = &row,
                          .reading = point->reading,
                          .should_read = full,
                          .unit = std::string(name_in_trace(writes.kind)),
                          .is_concentration = is_concentration(row, writes)});
    }
    return study::check_points(std::move(points));
}

Expected<uptake::Calibration> calibration_of(const Study& study, const study::SensorId& sensor,
                                             const SensorWrites& writes, const Waters& waters,
                                             Instant stay_begins) {
    std::vector<uptake::CalibrationPoint> points;
    for (const auto& row : study.tables.calibrations) {
        if (row.sensor != sensor) {
            continue;
        }
        auto point = calibration_point(row, writes, waters.at(row.at),
                                       study.brief.uncertainty_at(row.at).calibration_percent);
        if (!point) {
            return fail(std::move(point).error());
        }
        points.push_back(*point);
    }
    const bool has_air = std::any_of(points.begin(), points.end(), [](const uptake::CalibrationPoint& point) {
        return point.kind == uptake::CalibrationKind::air;
    });
    if (!has_air) {
        // How steep it is nobody tried: believed as it is, with the uncertainty that the brief gives to such
        // a sensor. A zero point alone moves all readings alike.
        double zero = 0.0;
        if (!points.empty()) {
            auto zeros = uptake::Calibration::make(sensor.text(), points);
            if (!zeros) {
                return zeros;
            }
            zero = zeros->zero_at(stay_begins);
        }
        const double full = uptake::air_point_should_read(writes.kind, 15.0, waters.usual().salinity,
                                                          waters.usual().pressure_kpa, writes.assumed);
        points.push_back(
            {.at = stay_begins,
             .reading = full + zero,
             .should_read = full,
             .uncertainty = full * study.brief.uncertainty_at(stay_begins).uncalibrated_percent / 100.0});
    }
    return uptake::Calibration::make(sensor.text(), std::move(points));
}

} // namespace backeddy::app::detail
