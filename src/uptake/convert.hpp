#pragma once
// Start here for oxygen of any kind -> mg/L and per cent of air saturation, sample by sample, with what is
// known of the water; for calibrations at zero and in air; and for what their errors do to a slope.
//
//   auto calibration = Calibration::make("probe 3", points);
//   calibration->correct(times_ns, readings);                       // in the sensor's own unit
//   auto oxygen = convert_oxygen(OxygenKind::percent_air, readings, {.temperature_celsius = t,
//                                .salinity = s, .pressure_kpa = p});

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "quantity/measured.hpp"
#include "series/instant.hpp"

namespace backeddy::uptake {

/// What the sensor's numbers are. Concentrations in other units arrive as mg/L, pressures as kPa.
enum class OxygenKind : std::uint8_t { mg_per_l, percent_air, kpa };

/// What the logger took the water to be. For mg/L: the salinity and pressure with which it turned its own
/// saturation into a concentration, undone by C = C_logged DO_sat(T, S, P) / DO_sat(T, S_assumed, P_assumed).
/// For per cent: the pressure to which its 100 % refers, when that is not the station's (a logger that
/// reports per cent of sea-level saturation); salinity is ignored there, since such a sensor feels partial
/// pressure. An absent value means that the logger knew the true one. All ignored for kPa.
struct AssumedWater {
    std::optional<double> salinity;
    std::optional<double> pressure_kpa;

    friend bool operator==(const AssumedWater&, const AssumedWater&) = default;
};

/// Each column has the length of the readings, or one value that holds for all. Pressure is absolute, at the
/// station.
struct WaterColumns {
    std::span<const double> temperature_celsius;
    std::span<const double> salinity;
    std::span<const double> pressure_kpa;
};

struct OxygenColumns {
    std::vector<double> mg_per_l;
    std::vector<double> saturation_percent; ///< of air saturation at the sample's own conditions
    /// Readings that are there but could not be converted, since temperature, salinity or pressure is missing
    /// at that moment: NaN in both columns (a true concentration keeps its mg/L and lacks only the
    /// saturation).
    std::size_t without_conditions = 0;
};

/// Length as `readings`; missing in, missing out. Fails with out_of_range when a column has neither that
/// length nor 1. Formulas: water/oxygen.hpp. kPa: C = p DO_sat / (0.20946 (P - p_H2O)).
[[nodiscard]] Expected<OxygenColumns> convert_oxygen(OxygenKind kind, std::span<const double> readings,
                                                     const WaterColumns& water,
                                                     const AssumedWater& assumed = {});

/// One reading, mg/L.
[[nodiscard]] double oxygen_mg_per_l(OxygenKind kind, double reading, double temperature_celsius,
                                     double salinity, double pressure_kpa, const AssumedWater& assumed = {});

/// d ln C / dx of the converted concentration: what a standing error of 1 degC, of 1 in salinity, of 1 kPa
/// does to C and to its slope, as a share. Central differences of oxygen_mg_per_l (relative error under
/// 1e-6).
struct OxygenSensitivities {
    double per_celsius = 0.0;
    double per_salinity = 0.0;
    double per_kilopascal = 0.0;
};
[[nodiscard]] OxygenSensitivities oxygen_sensitivities(OxygenKind kind, double temperature_celsius,
                                                       double salinity, double pressure_kpa,
                                                       const AssumedWater& assumed = {});

// ------------------------------------------------------------------------------------------------
// calibration

enum class CalibrationKind : std::uint8_t { zero, air };

/// What the sensor showed in water without oxygen, or in water (or wet air) at 100 % air saturation.
/// `should_read` is the right reading in the same unit; see air_point_should_read.
struct CalibrationPoint {
    CalibrationKind kind = CalibrationKind::air;
    Instant at;
    double reading = 0.0;
    double should_read = 0.0;
    double uncertainty = 0.0; ///< standard, of reading less should_read, in the sensor's unit
    Place place{};            ///< of its row, for messages
    std::string written{};    ///< "291.4 umol/L": the reading as it stands there, for messages

    friend bool operator==(const CalibrationPoint&, const CalibrationPoint&) = default;
};

/// The right reading of a sensor of `kind` at 100 % air saturation: DO_sat (with the logger's assumed water),
/// 100 % (of the reference the logger uses), or 0.20946 (P - p_H2O) kPa.
[[nodiscard]] double air_point_should_read(OxygenKind kind, double temperature_celsius, double salinity,
                                           double pressure_kpa, const AssumedWater& assumed = {});

/// Zero and gain of one sensor in time: corrected = (reading - zero(t)) / gain(t). Zero runs straight in time
/// between zero points, gain = (air reading - zero)/should_read straight between air points; before the first
/// and after the last point the nearest one holds. No zero point: zero 0. No air point: gain 1.
class Calibration {
  public:
    Calibration() = default; ///< corrects nothing
    /// Points in any order. Fails with out_of_range: a reading is not finite, an air point should read 0 or
    /// less, or a gain outside 0.5-2 (a sensor half dead or points in another unit).
    static Expected<Calibration> make(std::string sensor, std::vector<CalibrationPoint> points);

    [[nodiscard]] double zero_at(Instant at) const;
    [[nodiscard]] double gain_at(Instant at) const;
    [[nodiscard]] double corrected(double reading, Instant at) const;
    /// In place; equal lengths, times ascending.
    void correct(std::span<const std::int64_t> times_ns, std::span<double> readings) const;

    /// Relative change of a corrected slope at `at` when each point is one standard uncertainty high, by
    /// source "calibration:<sensor>@<time> air" (or zero).
    [[nodiscard]] std::vector<Contribution> slope_effects(Instant at) const;
    /// Relative change of gain per day between the first and the last air point; nothing with fewer than two.
    [[nodiscard]] std::optional<double> gain_drift_per_day() const;
    [[nodiscard]] bool corrects() const { return !zeros_.empty() || !gains_.empty(); }

  private:
    struct Knot {
        std::int64_t at_ns = 0;
        double value = 0.0;
        double should_read = 1.0;
        double uncertainty = 0.0;
    };
    std::string sensor_;
    std::vector<Knot> zeros_;
    std::vector<Knot> gains_;
};

// ------------------------------------------------------------------------------------------------ budget

/// A standing error of an input that nobody re-reads per sample: the thermometer's, the salinity's.
struct StandingError {
    double standard = 0.0;
    std::string source; ///< "temperature:<sensor>", "salinity:<source>", "pressure:<source>"
};

/// All that is known of the error of one oxygen channel's scale. Offsets that do not change within a spell
/// move no slope and are left out.
struct OxygenBudget {
    OxygenKind kind = OxygenKind::mg_per_l;
    AssumedWater assumed;
    Calibration calibration;
    double salinity = 0.0; ///< where the sensitivities are taken
    double pressure_kpa = 101.325;
    StandingError temperature_error;
    StandingError salinity_error;
    StandingError pressure_error;
};

/// Factor on a slope measured at `at`: value 1 with the named relative contributions.
[[nodiscard]] Measured slope_scale(const OxygenBudget& budget, Instant at, double temperature_celsius);

} // namespace backeddy::uptake
