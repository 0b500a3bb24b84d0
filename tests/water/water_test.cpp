#include <array>
#include <cmath>
#include <set>

#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "support/check_rows.hpp"
#include "water/conditions.hpp"
#include "water/density.hpp"
#include "water/oxygen.hpp"

namespace backeddy::water {
namespace {

WaterConditions conditions(double celsius, double salinity, double kilopascals) {
    return {.temperature = Temperature::celsius(celsius),
            .salinity = Salinity::practical(salinity),
            .pressure = Pressure::kilopascals(kilopascals)};
}

// USGS DOTABLES output, fresh water at 760 mmHg, 0-35 degC (Benson and Krause 1980, 1984), printed to two
// decimals.
TEST(OxygenSolubility, equals_the_printed_table_after_rounding) {
    constexpr std::array printed{14.62, 14.22, 13.83, 13.46, 13.11, 12.77, 12.45, 12.14, 11.84,
                                 11.56, 11.29, 11.03, 10.78, 10.54, 10.31, 10.08, 9.87,  9.66,
                                 9.47,  9.28,  9.09,  8.92,  8.74,  8.58,  8.42,  8.26,  8.11,
                                 7.97,  7.83,  7.69,  7.56,  7.43,  7.30,  7.18,  7.06,  6.95};
    for (std::size_t t = 0; t < printed.size(); ++t) {
        EXPECT_EQ(fixed_text(saturation_mg_per_l(static_cast<double>(t), 0.0, 101.325), 2),
                  fixed_text(printed[t], 2))
            << t;
    }
}

// What one row of the outside table asks of this code: the computed value to hold against the row's.
std::optional<double> computed(const test::CheckRow& row) {
    const auto number = [&](const char* column) { return parse_number(row.at(column)).value_or(0.0); };
    const auto& quantity = row.at("quantity");
    const double t = number("T_C");
    const double s = number("S_psu");
    const double p = number("P_kPa");
    const double value = number("value");
    const auto water = conditions(t, s, p);
    const double dbar = (p - 101.325) / 10.0;
    constexpr double umol_per_ml = 1000.0 / oxygen_molar_volume_l_per_mol;

    if (quantity == "do_sat_mg_L")
        return oxygen_at_saturation(water).mg_per_l();
    if (quantity == "bk_bracket_Fp_over_P")
        return pressure_factor(water.temperature, water.pressure) / water.pressure.atmospheres();
    if (quantity == "o2sol_gg92_umol_kg")
        return garcia_gordon_umol_per_kg(t * 1.00024, s);
    if (quantity == "o2sol_gg92_umol_kg_t68")
        return garcia_gordon_umol_per_kg(t, s);
    if (quantity == "o2sol_gg92_mL_L_t68")
        return garcia_gordon_ml_per_l(t, s);
    if (quantity == "o2sol_gg92_umol_L_t68")
        return garcia_gordon_ml_per_l(t, s) * umol_per_ml;
    if (quantity == "density_eos80_kg_m3_t68")
        return density_t68(t, s).kg_per_m3();
    if (quantity == "density_teos10_kg_m3" || quantity == "density_fresh_kg_m3")
        return density(water.temperature, water.salinity).kg_per_m3();
    // Conductivity rows ask for the salinity that the conductivity gives: shown as value + (S - S of the
    // row).
    if (quantity == "conductivity_mS_cm")
        return value + (salinity_from_conductivity(value, t, dbar).practical() - s);
    if (quantity == "conductivity_mS_cm_t68")
        return value + (salinity_from_conductivity_t68(value, t, dbar).practical() - s);
    if (quantity == "spcond25_uS_cm")
        return value + (salinity_from_conductivity_at_25(value / 1000.0).practical() - s);
    if (quantity == "spcond25_usgs2011_uS_cm")
        return value + (salinity_usgs_2011(value).practical() - s);
    if (quantity == "vapour_pressure_bk80_kPa" || quantity == "vapour_pressure_iapws_kPa")
        return vapour_pressure_fresh(water.temperature).kilopascals();
    if (quantity == "vapour_pressure_gc67_kPa")
        return vapour_pressure_green_carritt(water.temperature, water.salinity).kilopascals();
    if (quantity == "vapour_pressure_wp80_kPa")
        return vapour_pressure(water.temperature, water.salinity).kilopascals();
    if (quantity == "po2_air_saturated_kPa")
        return oxygen_pressure_at_saturation(water).kilopascals();
    if (quantity == "altitude_std_atm_m")
        return value + ((pressure_at_altitude(value).kilopascals() - p) /
                        -0.0085); // kPa per metre at 3000 m: the least
    if (quantity == "mg_per_umol_O2")
        return Oxygen::umol_per_l(1.0).mg_per_l();
    if (quantity == "umol_per_mL_O2_STP")
        return Oxygen::ml_per_l(1.0).umol_per_l();
    if (quantity == "mg_per_mL_O2_STP")
        return Oxygen::ml_per_l(1.0).mg_per_l();
    if (quantity == "kPa_per_mmHg")
        return Pressure::mmhg(1.0).kilopascals();
    const auto at_share = quantity.find("_at_");
    if (at_share != std::string::npos) {
        const double percent =
            parse_number(quantity.substr(at_share + 4, quantity.find("pct") - at_share - 4)).value_or(0.0);
        const Oxygen oxygen = oxygen_from(AirSaturation::percent(percent), water);
        if (quantity.starts_with("do_mg_L"))
            return oxygen.mg_per_l();
        if (quantity.starts_with("do_umol_L"))
            return oxygen.umol_per_l();
        if (quantity.starts_with("do_mL_L"))
            return oxygen.ml_per_l();
        if (quantity.starts_with("po2_kPa"))
            return oxygen_pressure(oxygen, water).kilopascals();
    }
    return std::nullopt;
}

double tolerance_of(const test::CheckRow& row) {
    const auto& quantity = row.at("quantity");
    // The table's reading guide: conductivity rows are held by their salinity, within 1e-5 (1e-4 where
    // referred to 25 degC).
    if (quantity == "conductivity_mS_cm" || quantity == "conductivity_mS_cm_t68")
        return 1e-5;
    if (quantity == "spcond25_uS_cm")
        return 1e-4;
    if (quantity == "spcond25_usgs2011_uS_cm")
        return 1e-5;
    return parse_number(row.at("tolerance")).value_or(0.0);
}

TEST(Water, every_row_of_the_outside_table_holds) {
    const auto path = test::reference_path("water_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    const auto rows = test::check_rows(*path);
    ASSERT_EQ(rows.size(), 168U) << *path;
    for (const auto& row : rows) {
        const auto got = computed(row);
        ASSERT_TRUE(got) << "no check is written for " << row.at("quantity");
        const double wanted = *parse_number(row.at("value"));
        EXPECT_NEAR(*got, wanted, tolerance_of(row))
            << row.at("quantity") << " T=" << row.at("T_C") << " S=" << row.at("S_psu")
            << " P=" << row.at("P_kPa") << "; " << row.at("source");
    }
}

// Fofonoff and Millard 1983 (UNESCO 44) p. 9: R = 1, t68 = 15, p = 0 is the definition of S = 35; and p. 19
// for density.
TEST(Water, printed_anchors_of_salinity_and_density) {
    EXPECT_NEAR(salinity_from_conductivity_t68(42.914, 15.0).practical(), 35.0, 1e-6);
    EXPECT_NEAR(density_t68(25.0, 35.0).kg_per_m3(), 1023.34306, 5e-6);
    EXPECT_NEAR(pressure_at_altitude(2000.0).kilopascals(), 79.4952, 1e-4);
}

TEST(OxygenSolubility, its_slopes_are_those_of_the_curve) {
    for (const double t : {1.0, 12.0, 25.0, 39.0}) {
        for (const double s : {0.0, 20.0, 38.0}) {
            for (const double p : {60.0, 85.0, 103.0}) {
                const auto slopes = saturation_slopes(t, s, p);
                const double h = 1e-4;
                const auto central = [&](double dt, double ds, double dp) {
                    return (saturation_mg_per_l(t + dt, s + ds, p + dp) -
                            saturation_mg_per_l(t - dt, s - ds, p - dp)) /
                           (2.0 * h);
                };
                EXPECT_NEAR(slopes.per_celsius, central(h, 0, 0), 1e-7);
                EXPECT_NEAR(slopes.per_salinity, central(0, h, 0), 1e-7);
                EXPECT_NEAR(slopes.per_kilopascal, central(0, 0, h), 1e-7);
            }
        }
    }
}

// Sizes of a step of one unit at 20 degC, fresh water, 101.3 kPa, computed apart from this code: -1.95 % per
// degC, -0.59 % per unit of salinity, +1.01 % per kPa.
TEST(OxygenSolubility, effects_have_the_known_size) {
    const double full = saturation_mg_per_l(20.0, 0.0, 101.3);
    EXPECT_NEAR(saturation_mg_per_l(21.0, 0.0, 101.3) / full, 1.0 - 0.0195, 5e-5);
    EXPECT_NEAR(saturation_mg_per_l(20.0, 1.0, 101.3) / full, 1.0 - 0.0059, 5e-5);
    EXPECT_NEAR(saturation_mg_per_l(20.0, 0.0, 102.3) / full, 1.0 + 0.0101, 5e-5);
}

TEST(Oxygen, conversions_undo_each_other) {
    const auto water = conditions(13.0, 28.0, 99.2);
    const auto c = Oxygen::mg_per_l(7.31);
    EXPECT_NEAR(oxygen_from(air_saturation(c, water), water).mg_per_l(), 7.31, 1e-13);
    EXPECT_NEAR(oxygen_from(oxygen_pressure(c, water), water).mg_per_l(), 7.31, 1e-13);
    const auto assumed = conditions(13.0, 0.0, 101.325);
    EXPECT_NEAR(with_true_water(with_true_water(c, assumed, water), water, assumed).mg_per_l(), 7.31, 1e-13);
    EXPECT_LT(with_true_water(c, assumed, water).mg_per_l(), 7.31 * 0.86);
}

TEST(Water, out_of_range_names_the_offender_and_the_limits) {
    EXPECT_TRUE(in_range(conditions(13.0, 28.0, 99.2)));
    EXPECT_EQ(in_range(conditions(54.0, 0.0, 101.0)).error().text(),
              "a water temperature of 54 °C; 0 to 40 °C, where the oxygen formula holds; check the "
              "temperature's unit (°F or K "
              "read as °C?)");
    EXPECT_FALSE(in_range(conditions(13.0, 45.0, 101.0)));
    EXPECT_FALSE(in_range(conditions(13.0, 0.0, 1013.0)));
    EXPECT_FALSE(in_range(conditions(std::nan(""), 0.0, 101.3)));
}

} // namespace
} // namespace backeddy::water
