#include "water/conditions.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::water {

namespace {

constexpr double t68_per_t90 = 1.00024;
constexpr double conductivity_35_15_ms_per_cm = 42.914; // C(S = 35, t68 = 15, p = 0), the anchor of PSS-78

double relative_temperature_ratio(double t68) {
    return 0.6766097 +
           (t68 * (2.00564e-2 + (t68 * (1.104259e-4 + (t68 * (-6.9698e-7 + (t68 * 1.0031e-9)))))));
}

double pressure_ratio(double ratio, double t68, double dbar) {
    const double numerator = dbar * (2.070e-5 + (dbar * (-6.370e-10 + (dbar * 3.989e-15))));
    const double denominator =
        1.0 + (t68 * (3.426e-2 + (t68 * 4.464e-4))) + ((4.215e-1 - (3.107e-3 * t68)) * ratio);
    return 1.0 + (numerator / denominator);
}

double practical_salinity(double rt, double t68) {
    const double x = std::sqrt(rt);
    const double f = (t68 - 15.0) / (1.0 + (0.0162 * (t68 - 15.0)));
    const double main =
        0.0080 + (x * (-0.1692 + (x * (25.3851 + (x * (14.0941 + (x * (-7.0261 + (x * 2.7081)))))))));
    const double correction =
        0.0005 + (x * (-0.0056 + (x * (-0.0066 + (x * (-0.0375 + (x * (0.0636 + (x * -0.0144)))))))));
    const double s = main + (f * correction);
    if (s >= 2.0) {
        return s;
    }
    // Hill et al. 1986.
    const double big_x = 400.0 * rt;
    const double big_y = 100.0 * rt;
    const double root_y = std::sqrt(big_y);
    const double low = s - (0.0080 / (1.0 + (1.5 * big_x) + (big_x * big_x))) -
                       (0.0005 * f / (1.0 + root_y + big_y + (big_y * root_y)));
    return std::max(low, 0.0);
}

} // namespace

Salinity salinity_from_conductivity_t68(double ms_per_cm, double t68, double sea_pressure_dbar) {
    if (ms_per_cm <= 0.0) {
        return Salinity::practical(0.0);
    }
    const double ratio = ms_per_cm / conductivity_35_15_ms_per_cm;
    const double rt =
        ratio / (pressure_ratio(ratio, t68, sea_pressure_dbar) * relative_temperature_ratio(t68));
    return Salinity::practical(practical_salinity(rt, t68));
}

Salinity salinity_from_conductivity(double ms_per_cm, double t90, double sea_pressure_dbar) {
    return salinity_from_conductivity_t68(ms_per_cm, t90 * t68_per_t90, sea_pressure_dbar);
}

Salinity salinity_from_conductivity_at_25(double ms_per_cm) {
    return salinity_from_conductivity(ms_per_cm, 25.0);
}

Salinity salinity_usgs_2011(double us_per_cm_at_25) {
    return Salinity::practical((5.572e-4 * us_per_cm_at_25) + (2.02e-9 * us_per_cm_at_25 * us_per_cm_at_25));
}

Pressure pressure_at_altitude(double metres) {
    return Pressure::atmospheres(std::pow(1.0 - (2.255770e-5 * metres), 5.255876));
}

Pressure station_pressure(Pressure at_sea_level, double metres) {
    return at_sea_level * pressure_at_altitude(metres).atmospheres();
}

} // namespace backeddy::water
