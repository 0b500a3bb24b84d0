#pragma once
// Where salinity and pressure come from when nobody measured them as such.

#include "base/error.hpp"
#include "quantity/quantity.hpp"

namespace backeddy::water {

/// Practical salinity from raw conductivity at the water's temperature (PSS-78; UNESCO 1983; polynomials as
/// in TEOS-10 gsw_SP_from_C), with the low-salinity extension of Hill et al. 1986 below 2. `t90` degC on
/// ITS-90; sea pressure in dbar, 0 at the surface. -2 to 35 degC, 0-42; sea-salt composition is assumed, so
/// in fresh water the value is nominal.
[[nodiscard]] Salinity salinity_from_conductivity(double ms_per_cm, double t90,
                                                  double sea_pressure_dbar = 0.0);
/// The same with the temperature on IPTS-68, as the UNESCO check values are.
[[nodiscard]] Salinity salinity_from_conductivity_t68(double ms_per_cm, double t68,
                                                      double sea_pressure_dbar = 0.0);

/// Practical salinity from a conductivity that the meter has already referred to 25 degC, mS/cm: PSS-78 at 25
/// degC.
[[nodiscard]] Salinity salinity_from_conductivity_at_25(double ms_per_cm);
/// USGS memo 2011.03 eq. 4, uS/cm at 25 degC; above PSS-78 by 0.04 (SC 500) to 0.18 (SC 50,000). For
/// comparison.
[[nodiscard]] Salinity salinity_usgs_2011(double us_per_cm_at_25);

/// Pressure of the US Standard Atmosphere 1976 below 11 km, `metres` above sea level. A climatological mean:
/// weather moves the true value by 2 to 3 %, and results made with it should say so.
[[nodiscard]] Pressure pressure_at_altitude(double metres);
/// A sea-level (weather-service) pressure brought to the station: times pressure_at_altitude / 101.325 kPa.
[[nodiscard]] Pressure station_pressure(Pressure at_sea_level, double metres);

} // namespace backeddy::water
