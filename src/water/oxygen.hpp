#pragma once
// Start here: how much oxygen water holds.
//
//   const auto full = oxygen_at_saturation(Temperature::celsius(12), Salinity::practical(30),
//   Pressure::kilopascals(101)); const auto c = full.mg_per_l() * 0.93;               // 93 % of air
//   saturation
//
// Default: Benson and Krause in the form of USGS Office of Water Quality Technical Memorandum 2011.03. The
// Garcia and Gordon refit stands beside it; the two differ by at most 0.031 % over the common range.
// Conditions.hpp says where the inputs may come from (altitude, conductivity); density.hpp has the water's
// own weight.

#include <span>

#include "base/error.hpp"
#include "quantity/quantity.hpp"

namespace backeddy::water {

/// Mole fraction of O2 in dry air (Glueckauf 1951).
inline constexpr double oxygen_share_of_dry_air = 0.20946;

/// Range in which the solubility formula holds (memo 2011.03): 0-40 degC, salinity 0-40, 0.5-1.1 atm.
struct WaterConditions {
    Temperature temperature = Temperature::celsius(0.0);
    Salinity salinity = Salinity::practical(0.0);
    Pressure pressure = Pressure::atmospheres(1.0); ///< absolute, at the station
};

/// Nothing when all three are inside the range of the formula; else out_of_range naming the first offender
/// and its limits.
[[nodiscard]] Expected<void> in_range(const WaterConditions& conditions);

/// 100 % air saturation, mg/L: Cf Fs Fp of Benson and Krause 1984 eq. 32 and 1980 eqs 13, 23, 28 as adopted
/// in memo 2011.03. Claimed accuracy 0.1 % (Benson and Krause 1984). Not checked for range: see in_range. NaN
/// in, NaN out.
[[nodiscard]] Oxygen oxygen_at_saturation(const WaterConditions& conditions);

/// The same on plain numbers, for columns: degC, practical salinity, kPa -> mg/L.
[[nodiscard]] double saturation_mg_per_l(double temperature_c, double salinity, double pressure_kpa);

/// Partial derivatives of saturation_mg_per_l, for uncertainty budgets: analytic, mg/L per degC, per unit of
/// salinity and per kPa.
struct SaturationSlopes {
    double per_celsius = 0.0;
    double per_salinity = 0.0;
    double per_kilopascal = 0.0;
};
[[nodiscard]] SaturationSlopes saturation_slopes(double temperature_c, double salinity, double pressure_kpa);

/// Fp: what barometric pressure does to the solubility at 1 atm (Benson and Krause 1980 eqs 13, 23, 28),
/// dimensionless, 1 at 101.325 kPa. The shortcut P/101.325 is up to 1.5 % too high (40 degC, 85 kPa).
[[nodiscard]] double pressure_factor(Temperature temperature, Pressure pressure);

/// Vapour pressure over fresh water (Benson and Krause 1980 eq. 23); used in pressure_factor.
[[nodiscard]] Pressure vapour_pressure_fresh(Temperature temperature);
/// Over sea water: Green and Carritt 1967, as cited by Benson and Krause 1984 Table 2.
[[nodiscard]] Pressure vapour_pressure_green_carritt(Temperature temperature, Salinity salinity);
/// Over sea water: Weiss and Price 1980 eq. 10; used for partial pressures. 273-313 K, S 0-40, fit error
/// 0.015 %.
[[nodiscard]] Pressure vapour_pressure(Temperature temperature, Salinity salinity);

/// Partial pressure of oxygen in water-saturated air: 0.20946 (P - pH2O).
[[nodiscard]] OxygenPressure oxygen_pressure_at_saturation(const WaterConditions& conditions);
/// The same on plain numbers, kPa.
[[nodiscard]] double saturation_kpa(double temperature_c, double salinity, double pressure_kpa);

/// Conversions that need conditions take them; saturation is relative to the local pressure given.
[[nodiscard]] Oxygen oxygen_from(AirSaturation saturation, const WaterConditions& conditions);
[[nodiscard]] Oxygen oxygen_from(OxygenPressure pressure, const WaterConditions& conditions);
[[nodiscard]] AirSaturation air_saturation(Oxygen oxygen, const WaterConditions& conditions);
[[nodiscard]] OxygenPressure oxygen_pressure(Oxygen oxygen, const WaterConditions& conditions);

/// What a logger that reports a concentration would have said had it known the water: a logger multiplies a
/// measured saturation by a solubility, so C = C_logged DO_sat(true)/DO_sat(assumed). `assumed` holds the
/// salinity and pressure set in the logger at the true temperature.
[[nodiscard]] Oxygen with_true_water(Oxygen logged, const WaterConditions& assumed,
                                     const WaterConditions& actual);

/// Garcia and Gordon 1992 eq. 8 with the columns fitted to Benson and Krause's data (Table 1; equation as
/// corrected in their erratum of 1993), at 1 atm. `t68` is IPTS-68 = 1.00024 times ITS-90. Freezing point to
/// 40 degC, S 0-42.
[[nodiscard]] double garcia_gordon_umol_per_kg(double t68, double salinity);
/// The same, mL (STP) per litre.
[[nodiscard]] double garcia_gordon_ml_per_l(double t68, double salinity);

} // namespace backeddy::water
