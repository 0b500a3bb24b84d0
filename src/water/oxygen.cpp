#include "water/oxygen.hpp"

#include <array>
#include <cmath>

#include <fmt/format.h>

namespace backeddy::water {

namespace {

double power_series(std::span<const double> coefficients, double x) {
    double sum = 0.0;
    for (auto it = coefficients.rbegin(); it != coefficients.rend(); ++it) {
        sum = (sum * x) + *it;
    }
    return sum;
}

// Benson and Krause 1984 eq. 32 (mg/L): powers of 1/T.
constexpr std::array fresh_coefficients{-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11};

double log_fresh_mg_per_l(double kelvin) {
    return power_series(fresh_coefficients, 1.0 / kelvin);
}

// d/dT of the same, by the chain rule on 1/T.
double log_fresh_slope(double kelvin) {
    const double x = 1.0 / kelvin;
    const double d_dx = fresh_coefficients[1] +
                        (x * ((2.0 * fresh_coefficients[2]) +
                              (x * ((3.0 * fresh_coefficients[3]) + (x * 4.0 * fresh_coefficients[4])))));
    return -d_dx * x * x;
}

// Salting-out term of the same equation: ln Fs = -S g(T).
double salting_out(double kelvin) {
    return 0.017674 - (10.754 / kelvin) + (2140.7 / (kelvin * kelvin));
}
double salting_out_slope(double kelvin) {
    return (10.754 / (kelvin * kelvin)) - (2.0 * 2140.7 / (kelvin * kelvin * kelvin));
}

// Second virial term of O2, per atm; degC (Benson and Krause 1980 eq. 13).
double virial_per_atm(double celsius) {
    return 0.000975 - (1.426e-5 * celsius) + (6.436e-8 * celsius * celsius);
}
double virial_slope(double celsius) {
    return -1.426e-5 + (2.0 * 6.436e-8 * celsius);
}

// Vapour pressure over fresh water, atm; K (Benson and Krause 1980 eq. 23).
double vapour_atm(double kelvin) {
    return std::exp(11.8571 - (3840.70 / kelvin) - (216961.0 / (kelvin * kelvin)));
}
double vapour_slope(double kelvin) {
    return vapour_atm(kelvin) *
           ((3840.70 / (kelvin * kelvin)) + (2.0 * 216961.0 / (kelvin * kelvin * kelvin)));
}

double factor_for(double celsius, double atm) {
    const double u = vapour_atm(celsius + 273.15);
    const double theta = virial_per_atm(celsius);
    return (atm - u) * (1.0 - (theta * atm)) / ((1.0 - u) * (1.0 - theta));
}

} // namespace

Expected<void> in_range(const WaterConditions& conditions) {
    const auto refuse = [](std::string found, std::string limits, std::string remedy) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = std::move(found),
                     .expected = std::move(limits),
                     .remedy = std::move(remedy)});
    };
    const double t = conditions.temperature.celsius();
    const double s = conditions.salinity.practical();
    const double p = conditions.pressure.kilopascals();
    if (!(t >= 0.0 && t <= 40.0)) {
        return refuse(fmt::format("a water temperature of {} °C", t),
                      "0 to 40 °C, where the oxygen formula holds",
                      "check the temperature's unit (°F or K read as °C?)");
    }
    if (!(s >= 0.0 && s <= 40.0)) {
        return refuse(fmt::format("a salinity of {}", s), "0 to 40, where the oxygen formula holds",
                      "check whether this is a conductivity");
    }
    if (!(p >= 50.6 && p <= 111.5)) {
        return refuse(fmt::format("a barometric pressure of {} kPa", p), "50.7 to 111.5 kPa (0.5 to 1.1 atm)",
                      "check the pressure's unit (hPa = 0.1 kPa, mmHg = 0.1333 kPa)");
    }
    return {};
}

double saturation_mg_per_l(double temperature_c, double salinity, double pressure_kpa) {
    const double kelvin = temperature_c + 273.15;
    return std::exp(log_fresh_mg_per_l(kelvin) - (salinity * salting_out(kelvin))) *
           factor_for(temperature_c, pressure_kpa / kilopascal_per_atm);
}

SaturationSlopes saturation_slopes(double temperature_c, double salinity, double pressure_kpa) {
    const double kelvin = temperature_c + 273.15;
    const double atm = pressure_kpa / kilopascal_per_atm;
    const double full = saturation_mg_per_l(temperature_c, salinity, pressure_kpa);
    const double u = vapour_atm(kelvin);
    const double du = vapour_slope(kelvin);
    const double theta = virial_per_atm(temperature_c);
    const double dtheta = virial_slope(temperature_c);
    // d ln Fp / dt of (P - u)(1 - theta P) / ((1 - u)(1 - theta)).
    const double log_factor_slope = (-du / (atm - u)) - (dtheta * atm / (1.0 - (theta * atm))) +
                                    (du / (1.0 - u)) + (dtheta / (1.0 - theta));
    return {.per_celsius =
                full * (log_fresh_slope(kelvin) - (salinity * salting_out_slope(kelvin)) + log_factor_slope),
            .per_salinity = -full * salting_out(kelvin),
            .per_kilopascal =
                full * ((1.0 / (atm - u)) - (theta / (1.0 - (theta * atm)))) / kilopascal_per_atm};
}

Oxygen oxygen_at_saturation(const WaterConditions& conditions) {
    return Oxygen::mg_per_l(saturation_mg_per_l(conditions.temperature.celsius(),
                                                conditions.salinity.practical(),
                                                conditions.pressure.kilopascals()));
}

double pressure_factor(Temperature temperature, Pressure pressure) {
    return factor_for(temperature.celsius(), pressure.atmospheres());
}

Pressure vapour_pressure_fresh(Temperature temperature) {
    return Pressure::atmospheres(vapour_atm(temperature.kelvin()));
}

Pressure vapour_pressure_green_carritt(Temperature temperature, Salinity salinity) {
    const double ratio = 373.16 / temperature.kelvin();
    const double log_atm =
        (18.1973 * (1.0 - ratio)) + (3.1813e-7 * (1.0 - std::exp(26.1205 * (1.0 - (1.0 / ratio))))) -
        (0.018726 * (1.0 - std::exp(8.03945 * (1.0 - ratio)))) + (5.02802 * std::log(ratio));
    return Pressure::atmospheres((1.0 - (0.000537 * salinity.practical())) * std::exp(log_atm));
}

Pressure vapour_pressure(Temperature temperature, Salinity salinity) {
    const double hundredth = temperature.kelvin() / 100.0;
    return Pressure::atmospheres(std::exp(24.4543 - (67.4509 / hundredth) - (4.8489 * std::log(hundredth)) -
                                          (0.000544 * salinity.practical())));
}

double saturation_kpa(double temperature_c, double salinity, double pressure_kpa) {
    const auto vapour = vapour_pressure(Temperature::celsius(temperature_c), Salinity::practical(salinity));
    return oxygen_share_of_dry_air * (pressure_kpa - vapour.kilopascals());
}

OxygenPressure oxygen_pressure_at_saturation(const WaterConditions& conditions) {
    return OxygenPressure::kilopascals(saturation_kpa(conditions.temperature.celsius(),
                                                      conditions.salinity.practical(),
                                                      conditions.pressure.kilopascals()));
}

Oxygen oxygen_from(AirSaturation saturation, const WaterConditions& conditions) {
    return oxygen_at_saturation(conditions) * saturation.fraction();
}

Oxygen oxygen_from(OxygenPressure pressure, const WaterConditions& conditions) {
    return oxygen_at_saturation(conditions) * (pressure / oxygen_pressure_at_saturation(conditions));
}

AirSaturation air_saturation(Oxygen oxygen, const WaterConditions& conditions) {
    return AirSaturation::percent(100.0 * (oxygen / oxygen_at_saturation(conditions)));
}

OxygenPressure oxygen_pressure(Oxygen oxygen, const WaterConditions& conditions) {
    return oxygen_pressure_at_saturation(conditions) * (oxygen / oxygen_at_saturation(conditions));
}

Oxygen with_true_water(Oxygen logged, const WaterConditions& assumed, const WaterConditions& actual) {
    return logged * (oxygen_at_saturation(actual) / oxygen_at_saturation(assumed));
}

namespace {

struct GarciaGordonColumn {
    std::array<double, 6> a;
    std::array<double, 4> b;
    double c0;
};

double garcia_gordon(const GarciaGordonColumn& column, double t68, double salinity) {
    const double y = std::log((298.15 - t68) / (273.15 + t68));
    return std::exp(power_series(column.a, y) + (salinity * power_series(column.b, y)) +
                    (column.c0 * salinity * salinity));
}

} // namespace

double garcia_gordon_umol_per_kg(double t68, double salinity) {
    static constexpr GarciaGordonColumn column{
        .a = {5.80871, 3.20291, 4.17887, 5.10006, -9.86643e-2, 3.80369},
        .b = {-7.01577e-3, -7.70028e-3, -1.13864e-2, -9.51519e-3},
        .c0 = -2.75915e-7};
    return garcia_gordon(column, t68, salinity);
}

double garcia_gordon_ml_per_l(double t68, double salinity) {
    static constexpr GarciaGordonColumn column{
        .a = {2.00907, 3.22014, 4.05010, 4.94457, -2.56847e-1, 3.88767},
        .b = {-6.24523e-3, -7.37614e-3, -1.03410e-2, -8.17083e-3},
        .c0 = -4.88682e-7};
    return garcia_gordon(column, t68, salinity);
}

} // namespace backeddy::water
