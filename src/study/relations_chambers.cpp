#include "study/relations.hpp"

#include <algorithm>
#include <set>
#include <string>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"

namespace backeddy::study {

namespace {

bool overlap(const Assembly& a, const Assembly& b) {
    return std::max(from_or_ever(a), from_or_ever(b)) < std::min(to_or_ever(a), to_or_ever(b));
}

void check_pair(std::vector<Complaint>& out, const Assembly& a, const Assembly& b) {
    if (!overlap(a, b)) {
        return;
    }
    if (a.id == b.id) {
        out.push_back(
            stop(b.place, "from",
                 {.found = "two rows of " + quote(a.id.text()) + " hold at once (" + line_text(a.place) + ")",
                  .expected = "one after the other",
                  .remedy = "end the first (\"to\") where the second begins"}));
        return;
    }
    if (a.sensor == b.sensor) {
        out.push_back(stop(b.place, "sensor",
                           {.found = quote(b.sensor.text()) + " is in " + quote(a.id.text()) + " as well (" +
                                     line_text(a.place) + ")",
                            .expected = "a sensor in one assembly at a time",
                            .remedy = "name the sensors apart, or correct from and to"}));
    }
    if (!a.oxygen.is_empty() && a.oxygen == b.oxygen) {
        out.push_back(stop(b.place, "oxygen",
                           {.found = quote(b.oxygen.text()) + " is the channel of " + quote(a.id.text()) +
                                     " as well (" + line_text(a.place) + ")",
                            .expected = "an oxygen channel of its own",
                            .remedy = "correct one of the two"}));
    }
}

} // namespace

void check_channel(std::vector<Complaint>& out, const Brief& brief, const Place& place,
                   const std::string& column, const Channel& channel) {
    if (channel.is_empty() || brief.trace(channel.trace) != nullptr) {
        return;
    }
    std::vector<std::string> names;
    for (const auto& trace : brief.traces) {
        names.push_back(trace.name);
    }
    const auto near = nearest_name(channel.trace, names);
    out.push_back(
        stop(place, column,
             {.code = ErrorCode::unknown_name,
              .found = quote(channel.text()) + ": the brief has no [[trace]] named " + quote(channel.trace),
              .expected = "\"trace:channel\"",
              .remedy = near ? "did you mean " + quote(*near + ":" + channel.channel) + "?"
                             : "add the trace to the brief, or correct the name"}));
}

std::vector<Complaint> check_assemblies(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (std::size_t i = 0; i < tables.assemblies.size(); ++i) {
        const auto& row = tables.assemblies[i];
        if (row.from && row.to && *row.to <= *row.from) {
            out.push_back(stop(row.place, "to",
                               {.code = ErrorCode::bad_time,
                                .found = "it ends (" + iso_text(*row.to) + ") before it starts (" +
                                         iso_text(*row.from) + ")",
                                .expected = "a later \"to\"",
                                .remedy = "look whether the two are swapped"}));
        }
        check_channel(out, brief, row.place, "oxygen", row.oxygen);
        check_channel(out, brief, row.place, "temperature", row.temperature);
        check_channel(out, brief, row.place, "pump", row.pump);
        for (std::size_t k = 0; k < i; ++k) {
            check_pair(out, tables.assemblies[k], row);
        }
    }
    return out;
}

namespace {

/// A zero alone says nothing of the slope.
void check_air_point(std::vector<Complaint>& out, const Assembly& row, const Tables& tables,
                     std::set<SensorId>& said) {
    const Calibration* zero = nullptr;
    for (const auto& point : tables.calibrations) {
        if (point.sensor != row.sensor) {
            continue;
        }
        if (point.point == CalibrationPoint::air) {
            return;
        }
        zero = zero == nullptr ? &point : zero;
    }
    if (zero != nullptr && said.insert(row.sensor).second) {
        out.push_back(warn(
            zero->place, "point",
            {.code = ErrorCode::too_few,
             .found = quote(row.sensor.text()) + " has a zero point and no air point",
             .expected = "an air point, which alone tells how steep the sensor is: its slope is taken as "
                         "it is, as of a sensor that was never calibrated",
             .remedy = "add its air points, or widen [uncertainty] uncalibrated_percent"}));
    }
}

} // namespace

std::vector<Complaint> check_calibrations(const Tables& tables) {
    std::vector<Complaint> out;
    std::set<SensorId> calibrated;
    std::set<SensorId> in_use;
    for (const auto& row : tables.assemblies) {
        in_use.insert(row.sensor);
    }
    for (const auto& row : tables.calibrations) {
        if (!in_use.contains(row.sensor) && !calibrated.contains(row.sensor)) {
            std::vector<std::string> names;
            for (const auto& sensor : in_use) {
                names.push_back(sensor.text());
            }
            const auto near = nearest_name(row.sensor.text(), names);
            out.push_back(warn(
                row.place, "sensor",
                {.code = ErrorCode::unknown_name,
                 .found = quote(row.sensor.text()) + " is in no assembly",
                 .expected = "a sensor of assemblies.csv",
                 .remedy = near ? "did you mean " + quote(*near) + "?" : "nothing, if it was not used"}));
        }
        calibrated.insert(row.sensor);
    }
    std::set<SensorId> said;
    for (const auto& row : tables.assemblies) {
        check_air_point(out, row, tables, said);
        if (!calibrated.contains(row.sensor) && said.insert(row.sensor).second) {
            out.push_back(
                warn(row.place, "sensor",
                     {.code = ErrorCode::too_few,
                      .found = quote(row.sensor.text()) + " was never calibrated (calibrations.csv)",
                      .expected = "an air point before and after; its readings are taken as they are",
                      .remedy = "add its points, or widen [uncertainty] uncalibrated_percent"}));
        }
    }
    // A sensor whose zero reads as high as its air: two points of one unit and sensor, swapped.
    for (const auto& zero : tables.calibrations) {
        for (const auto& air : tables.calibrations) {
            if (zero.point == CalibrationPoint::zero && air.point == CalibrationPoint::air &&
                zero.sensor == air.sensor && zero.unit == air.unit && zero.reading >= air.reading) {
                out.push_back(stop(zero.place, "reading",
                                   {.found = fmt::format("zero of {} reads {}, its air point ({}) {}",
                                                         quote(zero.sensor.text()), exact_text(zero.reading),
                                                         line_text(air.place), exact_text(air.reading)),
                                    .expected = "less at zero than in air",
                                    .remedy = "look whether the two are swapped"}));
            }
        }
    }
    return out;
}

} // namespace backeddy::study
