#include "uptake/convert.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <limits>
#include <utility>

#include "base/number_text.hpp"
#include "series/trace.hpp"
#include "water/oxygen.hpp"

namespace backeddy::uptake {

namespace {

/// One value for all rows, or a value per row.
struct Column {
    std::span<const double> values;
    [[nodiscard]] double at(std::size_t row) const { return values.size() == 1 ? values[0] : values[row]; }
};

/// Solubilities by their inputs. Thermometers repeat themselves to their last digit and each solubility costs
/// several exponentials; a remembered value is the very value that would be computed, so nothing depends on
/// the memory.
template <typename Formula>
class Remembered {
  public:
    explicit Remembered(Formula formula) : formula_(formula) {}
    double operator()(double t, double s, double p) {
        const auto bits = std::bit_cast<std::uint64_t>(t) ^ (std::bit_cast<std::uint64_t>(s) * 3) ^
                          (std::bit_cast<std::uint64_t>(p) * 7);
        const std::size_t home = (bits * 0x9E3779B97F4A7C15ULL) >> (64 - size_bits);
        for (std::size_t k = 0; k < tries; ++k) {
            Entry& entry = entries_[(home + k) & (entries_.size() - 1)];
            if (entry.t == t && entry.s == s && entry.p == p) {
                return entry.value;
            }
            if (std::isnan(entry.t)) {
                entry = {t, s, p, formula_(t, s, p)};
                return entry.value;
            }
        }
        Entry& entry = entries_[home];
        entry = {t, s, p, formula_(t, s, p)};
        return entry.value;
    }

  private:
    static constexpr unsigned size_bits = 12;
    static constexpr std::size_t tries = 4;
    struct Entry {
        double t = missing; // equal to nothing
        double s = 0.0;
        double p = 0.0;
        double value = 0.0;
    };
    Formula formula_;
    std::vector<Entry> entries_ = std::vector<Entry>(std::size_t{1} << size_bits);
};

Error wrong_length(std::string_view column, std::size_t found, std::size_t rows) {
    return {.code = ErrorCode::out_of_range,
            .found = "a " + std::string(column) + " column of " + std::to_string(found) + " values",
            .expected = "one value, or one for each of the " + std::to_string(rows) + " readings"};
}

Expected<void> check_length(std::string_view name, std::span<const double> column, std::size_t rows) {
    if (column.size() != 1 && column.size() != rows) {
        return fail(wrong_length(name, column.size(), rows));
    }
    return {};
}

/// C = factor * reading, with all three conditions known. `full` is DO_sat of the true water.
template <typename Solubility, typename PartialPressure>
double factor_of(OxygenKind kind, const AssumedWater& assumed, double full, double t, double s, double p,
                 Solubility& solubility, PartialPressure& partial_pressure) {
    switch (kind) {
    case OxygenKind::mg_per_l:
        if (!assumed.salinity && !assumed.pressure_kpa) {
            return 1.0;
        }
        return full / solubility(t, assumed.salinity.value_or(s), assumed.pressure_kpa.value_or(p));
    case OxygenKind::percent_air:
        return (assumed.pressure_kpa ? solubility(t, s, *assumed.pressure_kpa) : full) / 100.0;
    case OxygenKind::kpa:
        return full / partial_pressure(t, s, p);
    }
    return missing;
}

} // namespace

Expected<OxygenColumns> convert_oxygen(OxygenKind kind, std::span<const double> readings,
                                       const WaterColumns& water, const AssumedWater& assumed) {
    const std::size_t rows = readings.size();
    for (const auto& [name, column] :
         {std::pair{"temperature", water.temperature_celsius}, std::pair{"salinity", water.salinity},
          std::pair{"pressure", water.pressure_kpa}}) {
        if (auto fine = check_length(name, column, rows); !fine) {
            return fail(std::move(fine).error());
        }
    }
    const Column temperature{water.temperature_celsius};
    const Column salinity{water.salinity};
    const Column pressure{water.pressure_kpa};
    Remembered solubility(&water::saturation_mg_per_l);
    Remembered assumed_solubility(&water::saturation_mg_per_l);
    Remembered partial_pressure(&water::saturation_kpa);
    const bool is_true_concentration =
        kind == OxygenKind::mg_per_l && !assumed.salinity && !assumed.pressure_kpa;

    OxygenColumns out{.mg_per_l = std::vector<double>(rows, missing),
                      .saturation_percent = std::vector<double>(rows, missing)};
    for (std::size_t i = 0; i < rows; ++i) {
        const double reading = readings[i];
        if (!std::isfinite(reading)) {
            continue;
        }
        const double t = temperature.at(i);
        const double s = salinity.at(i);
        const double p = pressure.at(i);
        if (!std::isfinite(t) || !std::isfinite(s) || !std::isfinite(p)) {
            ++out.without_conditions;
            if (is_true_concentration) {
                out.mg_per_l[i] = reading;
            }
            continue;
        }
        const double full = solubility(t, s, p);
        const double c =
            reading * factor_of(kind, assumed, full, t, s, p, assumed_solubility, partial_pressure);
        out.mg_per_l[i] = c;
        out.saturation_percent[i] = 100.0 * c / full;
    }
    return out;
}

double oxygen_mg_per_l(OxygenKind kind, double reading, double temperature_celsius, double salinity,
                       double pressure_kpa, const AssumedWater& assumed) {
    const double full = water::saturation_mg_per_l(temperature_celsius, salinity, pressure_kpa);
    return reading * factor_of(kind, assumed, full, temperature_celsius, salinity, pressure_kpa,
                               water::saturation_mg_per_l, water::saturation_kpa);
}

OxygenSensitivities oxygen_sensitivities(OxygenKind kind, double temperature_celsius, double salinity,
                                         double pressure_kpa, const AssumedWater& assumed) {
    // C is a multiple of the reading, so ln C at reading 1 serves for all.
    const auto log_c = [&](double t, double s, double p) {
        return std::log(oxygen_mg_per_l(kind, 1.0, t, s, p, assumed));
    };
    constexpr double h = 1e-3;
    const double t = temperature_celsius;
    const double s = salinity;
    const double p = pressure_kpa;
    return {.per_celsius = (log_c(t + h, s, p) - log_c(t - h, s, p)) / (2.0 * h),
            .per_salinity = (log_c(t, s + h, p) - log_c(t, s - h, p)) / (2.0 * h),
            .per_kilopascal = (log_c(t, s, p + h) - log_c(t, s, p - h)) / (2.0 * h)};
}

// ------------------------------------------------------------------------------------------------
// calibration

double air_point_should_read(OxygenKind kind, double temperature_celsius, double salinity,
                             double pressure_kpa, const AssumedWater& assumed) {
    const double t = temperature_celsius;
    switch (kind) {
    case OxygenKind::mg_per_l:
        return water::saturation_mg_per_l(t, assumed.salinity.value_or(salinity),
                                          assumed.pressure_kpa.value_or(pressure_kpa));
    case OxygenKind::percent_air:
        return 100.0 * water::saturation_mg_per_l(t, salinity, pressure_kpa) /
               water::saturation_mg_per_l(t, salinity, assumed.pressure_kpa.value_or(pressure_kpa));
    case OxygenKind::kpa:
        return water::saturation_kpa(t, salinity, pressure_kpa);
    }
    return missing;
}

namespace {

/// Weights of the knots next to `at_ns`: value = (1 - u) knots[left] + u knots[right].
struct Between {
    std::size_t left = 0;
    std::size_t right = 0;
    double u = 0.0;
};

template <typename Knots>
Between between(const Knots& knots, std::int64_t at_ns) {
    const auto after =
        std::find_if(knots.begin(), knots.end(), [&](const auto& knot) { return knot.at_ns > at_ns; });
    const auto right = static_cast<std::size_t>(after - knots.begin());
    if (right == 0) {
        return {};
    }
    if (right == knots.size()) {
        return {.left = right - 1, .right = right - 1};
    }
    const auto span = static_cast<double>(knots[right].at_ns - knots[right - 1].at_ns);
    return {
        .left = right - 1, .right = right, .u = static_cast<double>(at_ns - knots[right - 1].at_ns) / span};
}

template <typename Knots>
double value_at(const Knots& knots, std::int64_t at_ns, double otherwise) {
    if (knots.empty()) {
        return otherwise;
    }
    const Between here = between(knots, at_ns);
    return ((1.0 - here.u) * knots[here.left].value) + (here.u * knots[here.right].value);
}

/// Each knot's weight at `at_ns`, in order.
template <typename Knots>
std::vector<double> weights_at(const Knots& knots, std::int64_t at_ns) {
    std::vector<double> weights(knots.size(), 0.0);
    if (!knots.empty()) {
        const Between here = between(knots, at_ns);
        weights[here.left] += 1.0 - here.u;
        weights[here.right] += here.u;
    }
    return weights;
}

std::string calibration_source(const std::string& sensor, std::int64_t at_ns, std::string_view point) {
    return "calibration:" + sensor + "@" + iso_text(Instant::unix_nanoseconds(at_ns)) + " " +
           std::string(point);
}

Error bad_point(const std::string& sensor, const CalibrationPoint& point, std::string found,
                std::string expected) {
    Error error = Error{.code = ErrorCode::out_of_range,
                        .found = std::move(found),
                        .expected = std::move(expected),
                        .remedy = "check the reading and its unit in calibrations.csv"}
                      .within("calibration of " + sensor + " at " + iso_text(point.at));
    error.place = point.place;
    return error;
}

/// "9.32 (written 291.4 umol/L)"
std::string reading_text(const CalibrationPoint& point) {
    return significant_text(point.reading, 6) +
           (point.written.empty() ? "" : " (written " + point.written + ")");
}

/// A gain that no sensor has: which of the two points is to be doubted.
Error bad_gain(const std::string& sensor, const CalibrationPoint& air, double zero) {
    const bool is_like_zero = std::fabs(air.reading - zero) < 0.1 * std::fabs(air.reading);
    if (is_like_zero) {
        return bad_point(sensor, air,
                         "in air it reads " + reading_text(air) + ", and at zero " +
                             significant_text(zero, 6) + ": almost the same",
                         "a zero point far below the air point, at about 0");
    }
    return bad_point(sensor, air,
                     "a reading of " + reading_text(air) +
                         (zero == 0.0 ? std::string() : ", " + significant_text(zero, 6) + " at zero,") +
                         " where " + significant_text(air.should_read, 6) + " is right, in the sensor's unit",
                     "within a factor of 2");
}

} // namespace

Expected<Calibration> Calibration::make(std::string sensor, std::vector<CalibrationPoint> points) {
    std::stable_sort(points.begin(), points.end(),
                     [](const CalibrationPoint& a, const CalibrationPoint& b) { return a.at < b.at; });
    Calibration out;
    out.sensor_ = std::move(sensor);
    for (const auto& point : points) {
        if (!std::isfinite(point.reading) || !std::isfinite(point.uncertainty) || point.uncertainty < 0.0) {
            return fail(bad_point(out.sensor_, point, "a reading or uncertainty that is no number",
                                  "finite, uncertainty at least 0"));
        }
        if (point.kind == CalibrationKind::zero) {
            out.zeros_.push_back({.at_ns = point.at.unix_nanoseconds(),
                                  .value = point.reading - point.should_read,
                                  .uncertainty = point.uncertainty});
        }
    }
    for (const auto& point : points) {
        if (point.kind != CalibrationKind::air) {
            continue;
        }
        if (!(point.should_read > 0.0)) {
            return fail(bad_point(out.sensor_, point,
                                  "an air point that should read " + exact_text(point.should_read),
                                  "above 0: its temperature, pressure and salinity are needed"));
        }
        const double gain = (point.reading - out.zero_at(point.at)) / point.should_read;
        if (!(gain >= 0.5 && gain <= 2.0)) {
            return fail(bad_gain(out.sensor_, point, out.zero_at(point.at)));
        }
        out.gains_.push_back({.at_ns = point.at.unix_nanoseconds(),
                              .value = gain,
                              .should_read = point.should_read,
                              .uncertainty = point.uncertainty});
    }
    return out;
}

double Calibration::zero_at(Instant at) const {
    return value_at(zeros_, at.unix_nanoseconds(), 0.0);
}

double Calibration::gain_at(Instant at) const {
    return value_at(gains_, at.unix_nanoseconds(), 1.0);
}

double Calibration::corrected(double reading, Instant at) const {
    return (reading - zero_at(at)) / gain_at(at);
}

void Calibration::correct(std::span<const std::int64_t> times_ns, std::span<double> readings) const {
    if (!corrects()) {
        return;
    }
    for (std::size_t i = 0; i < readings.size(); ++i) {
        readings[i] = corrected(readings[i], Instant::unix_nanoseconds(times_ns[i]));
    }
}

std::vector<Contribution> Calibration::slope_effects(Instant at) const {
    const double gain = gain_at(at);
    const auto air_weights = weights_at(gains_, at.unix_nanoseconds());
    std::vector<double> zero_effects(zeros_.size(), 0.0);
    std::vector<Contribution> out;
    for (std::size_t k = 0; k < gains_.size(); ++k) {
        const double share = air_weights[k] / (gains_[k].should_read * gain);
        if (share == 0.0) {
            continue;
        }
        // A reading that was too high made the gain too large, and slopes too small.
        out.push_back({calibration_source(sensor_, gains_[k].at_ns, "air"), -share * gains_[k].uncertainty});
        const auto zero_weights = weights_at(zeros_, gains_[k].at_ns);
        for (std::size_t j = 0; j < zeros_.size(); ++j) {
            zero_effects[j] += share * zero_weights[j] * zeros_[j].uncertainty;
        }
    }
    for (std::size_t j = 0; j < zeros_.size(); ++j) {
        if (zero_effects[j] != 0.0) {
            out.push_back({calibration_source(sensor_, zeros_[j].at_ns, "zero"), zero_effects[j]});
        }
    }
    std::erase_if(out, [](const Contribution& c) { return c.effect == 0.0; });
    return out;
}

std::optional<double> Calibration::gain_drift_per_day() const {
    if (gains_.size() < 2 || gains_.front().at_ns == gains_.back().at_ns) {
        return std::nullopt;
    }
    const double days = static_cast<double>(gains_.back().at_ns - gains_.front().at_ns) * 1e-9 / 86400.0;
    return ((gains_.back().value / gains_.front().value) - 1.0) / days;
}

// ------------------------------------------------------------------------------------------------ budget

Measured slope_scale(const OxygenBudget& budget, Instant at, double temperature_celsius) {
    std::vector<Contribution> effects = budget.calibration.slope_effects(at);
    const bool any = budget.temperature_error.standard > 0.0 || budget.salinity_error.standard > 0.0 ||
                     budget.pressure_error.standard > 0.0;
    if (any && std::isfinite(temperature_celsius)) {
        const OxygenSensitivities by = oxygen_sensitivities(budget.kind, temperature_celsius, budget.salinity,
                                                            budget.pressure_kpa, budget.assumed);
        const auto add = [&](const StandingError& error, double slope) {
            const double effect = slope * error.standard;
            if (error.standard > 0.0 && std::isfinite(effect) && effect != 0.0) {
                effects.push_back({error.source, effect});
            }
        };
        add(budget.temperature_error, by.per_celsius);
        add(budget.salinity_error, by.per_salinity);
        add(budget.pressure_error, by.per_kilopascal);
    }
    return {1.0, std::move(effects)};
}

} // namespace backeddy::uptake
