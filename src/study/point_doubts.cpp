#include <algorithm>
#include <cmath>
#include <iterator>
#include <tuple>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"
#include "study/doubts.hpp"

namespace backeddy::study {

namespace {

constexpr double least_air_percent = 85.0;
constexpr double most_air_percent = 115.0;
// Wider, since a meter that takes sea water for fresh reads a quarter more.
constexpr double least_concentration_percent = 70.0;
constexpr double most_concentration_percent = 135.0;
constexpr double least_air_mg_per_l = 5.0;
constexpr double most_air_mg_per_l = 16.0;
constexpr double most_zero_percent = 10.0;
constexpr double most_drift_percent = 10.0;

double percent_of_full(const PointRead& point) {
    return 100.0 * point.reading / point.should_read;
}

std::string read_text(const PointRead& point) {
    return fmt::format("{} {}", significant_text(point.reading, 4), point.unit);
}

bool is_far_from_air(const PointRead& air) {
    if (air.is_concentration) {
        return !(air.reading >= least_air_mg_per_l && air.reading <= most_air_mg_per_l &&
                 percent_of_full(air) >= least_concentration_percent &&
                 percent_of_full(air) <= most_concentration_percent);
    }
    return !(percent_of_full(air) >= least_air_percent && percent_of_full(air) <= most_air_percent);
}

Complaint far_from_air(const PointRead& air) {
    const std::string bounds =
        air.is_concentration ? fmt::format("{} to {} % of it, and {} to {} mg/L", least_concentration_percent,
                                           most_concentration_percent, least_air_mg_per_l, most_air_mg_per_l)
                             : fmt::format("{} to {} % of it", least_air_percent, most_air_percent);
    return warn(
        air.row->place, "reading",
        {.code = ErrorCode::out_of_range,
         .found = fmt::format("the air point of {} reads {}", quote(air.row->sensor.text()), read_text(air)),
         .expected = fmt::format("about {} {}, which air-saturated water reads there: {}",
                                 significant_text(air.should_read, 4), air.unit, bounds),
         .remedy = "look at the reading, its unit and temperature; all readings of the sensor are "
                   "scaled by it"});
}

Complaint far_from_zero(const PointRead& zero, const PointRead& air) {
    return warn(zero.row->place, "reading",
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("the zero point of {} reads {}, its air point ({}) {}",
                                      quote(zero.row->sensor.text()), read_text(zero),
                                      line_text(air.row->place), read_text(air)),
                 .expected = fmt::format("at most {} % of the air point at zero", most_zero_percent),
                 .remedy = "look at the reading and its unit, and whether the water held no oxygen; leave "
                           "the row out if it did"});
}

Complaint drifted(const PointRead& before, const PointRead& after, double percent) {
    return warn(
        after.row->place, "reading",
        {.code = ErrorCode::out_of_range,
         .found = fmt::format("the air point of {} reads {}, {} % from the one before ({}), {}",
                              quote(after.row->sensor.text()), read_text(after), significant_text(percent, 3),
                              line_text(before.row->place), read_text(before)),
         .expected = fmt::format("at most {} % of drift between two calibrations, the water's "
                                 "temperature, pressure and salinity allowed for",
                                 most_drift_percent),
         .remedy = "look whether one is mistyped or the sensor's foil was changed"});
}

} // namespace

std::vector<Complaint> check_points(std::vector<PointRead> points) {
    std::sort(points.begin(), points.end(), [](const PointRead& a, const PointRead& b) {
        return std::tie(a.row->at, a.row->place.line) < std::tie(b.row->at, b.row->place.line);
    });
    std::vector<Complaint> out;
    std::vector<PointRead> airs;
    std::copy_if(points.begin(), points.end(), std::back_inserter(airs),
                 [](const PointRead& p) { return p.row->point == CalibrationPoint::air; });
    for (std::size_t i = 0; i < airs.size(); ++i) {
        if (is_far_from_air(airs[i])) {
            out.push_back(far_from_air(airs[i]));
        }
        const double before = i == 0 ? 0.0 : percent_of_full(airs[i - 1]);
        if (before <= 0.0) {
            continue; // the first, or after one that is told of already
        }
        const double change = 100.0 * (percent_of_full(airs[i]) / before - 1.0);
        if (std::abs(change) > most_drift_percent) {
            out.push_back(drifted(airs[i - 1], airs[i], change));
        }
    }
    for (const auto& zero : points) {
        if (zero.row->point != CalibrationPoint::zero || airs.empty()) {
            continue;
        }
        const auto after =
            std::upper_bound(airs.begin(), airs.end(), zero.row->at,
                             [](Instant at, const PointRead& air) { return at < air.row->at; });
        const auto& air = after == airs.begin() ? airs.front() : *std::prev(after);
        if (std::abs(zero.reading) > most_zero_percent / 100.0 * std::abs(air.reading)) {
            out.push_back(far_from_zero(zero, air));
        }
    }
    return out;
}

} // namespace backeddy::study
