// Conversions against the definitions and against water/ (which has its own outside checks).

#include "uptake/convert.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "quantity/quantity.hpp"
#include "series/trace.hpp"
#include "support/check_rows.hpp"
#include "water/oxygen.hpp"

namespace backeddy::uptake {
namespace {

const std::vector<double> t15{15.0};
const std::vector<double> fresh{0.0};
const std::vector<double> one_atm{101.325};
const WaterColumns fresh_15{.temperature_celsius = t15, .salinity = fresh, .pressure_kpa = one_atm};

TEST(Convert, per_cent_of_air_becomes_the_table_s_concentration) {
    // 10.084 mg/L at 15 degC, fresh water, 1 atm: APHA's table of Benson and Krause 1984.
    const std::vector<double> readings{100.0, 50.0, missing};
    const auto out = convert_oxygen(OxygenKind::percent_air, readings, fresh_15);
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->mg_per_l[0], 10.084, 0.001);
    EXPECT_NEAR(out->mg_per_l[1], 5.042, 0.0005);
    EXPECT_TRUE(std::isnan(out->mg_per_l[2]));
    EXPECT_DOUBLE_EQ(out->saturation_percent[1], 50.0);
    EXPECT_EQ(out->without_conditions, 0U);
}

TEST(Convert, a_partial_pressure_of_wet_air_is_full_saturation) {
    // 0.20946 (101.325 - 1.7057) kPa at 15 degC; vapour pressure of water 12.79 mmHg = 1.705 kPa (handbook
    // value).
    const std::vector<double> readings{0.20946 * (101.325 - 1.705)};
    const auto out = convert_oxygen(OxygenKind::kpa, readings, fresh_15);
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->saturation_percent[0], 100.0, 0.02);
    EXPECT_NEAR(out->mg_per_l[0], 10.084, 0.003);
}

TEST(Convert, what_a_logger_assumed_of_the_water_is_undone) {
    // A logger set to fresh water at 1 atm in water of salinity 30 at 99 kPa: it multiplies a saturation by
    // DO_sat.
    const double truth = water::saturation_mg_per_l(12.0, 30.0, 99.0);
    const double logged = water::saturation_mg_per_l(12.0, 0.0, 101.325);
    const std::vector<double> readings{logged};
    const std::vector<double> t{12.0};
    const std::vector<double> s{30.0};
    const std::vector<double> p{99.0};
    const auto out = convert_oxygen(OxygenKind::mg_per_l, readings,
                                    {.temperature_celsius = t, .salinity = s, .pressure_kpa = p},
                                    {.salinity = 0.0, .pressure_kpa = 101.325});
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->mg_per_l[0], truth, 1e-12);
    EXPECT_NEAR(out->saturation_percent[0], 100.0, 1e-10);
}

TEST(Convert, per_cent_of_sea_level_air_is_per_cent_of_that) {
    const std::vector<double> p{90.0};
    const std::vector<double> readings{80.0};
    const auto out = convert_oxygen(OxygenKind::percent_air, readings,
                                    {.temperature_celsius = t15, .salinity = fresh, .pressure_kpa = p},
                                    {.pressure_kpa = 101.325});
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->mg_per_l[0], 0.8 * 10.084, 0.001);
    EXPECT_GT(out->saturation_percent[0], 80.0);
}

TEST(Convert, each_sample_has_its_own_water) {
    const std::vector<double> readings{100.0, 100.0, 100.0};
    const std::vector<double> t{5.0, 15.0, missing};
    const std::vector<double> s{0.0, 30.0, 0.0};
    const auto out = convert_oxygen(OxygenKind::percent_air, readings,
                                    {.temperature_celsius = t, .salinity = s, .pressure_kpa = one_atm});
    ASSERT_TRUE(out.has_value());
    EXPECT_DOUBLE_EQ(out->mg_per_l[0], water::saturation_mg_per_l(5.0, 0.0, 101.325));
    EXPECT_DOUBLE_EQ(out->mg_per_l[1], water::saturation_mg_per_l(15.0, 30.0, 101.325));
    EXPECT_TRUE(std::isnan(out->mg_per_l[2]));
    EXPECT_EQ(out->without_conditions, 1U);
}

TEST(Convert, a_true_concentration_survives_a_missing_temperature) {
    const std::vector<double> readings{9.0};
    const std::vector<double> t{missing};
    const auto out = convert_oxygen(OxygenKind::mg_per_l, readings,
                                    {.temperature_celsius = t, .salinity = fresh, .pressure_kpa = one_atm});
    ASSERT_TRUE(out.has_value());
    EXPECT_DOUBLE_EQ(out->mg_per_l[0], 9.0);
    EXPECT_TRUE(std::isnan(out->saturation_percent[0]));
}

TEST(Convert, remembered_solubilities_are_the_computed_ones) {
    // More temperatures than the memory holds, twice over, in an order that makes them push each other out.
    std::vector<double> readings(20000, 93.0);
    std::vector<double> t(readings.size());
    for (std::size_t i = 0; i < t.size(); ++i) {
        t[i] = 2.0 + (static_cast<double>((i * 7919) % 5000) * 0.004);
    }
    const auto out = convert_oxygen(OxygenKind::percent_air, readings,
                                    {.temperature_celsius = t, .salinity = fresh, .pressure_kpa = one_atm});
    ASSERT_TRUE(out.has_value());
    for (std::size_t i = 0; i < t.size(); i += 37) {
        ASSERT_EQ(out->mg_per_l[i], oxygen_mg_per_l(OxygenKind::percent_air, 93.0, t[i], 0.0, 101.325));
    }
}

TEST(Convert, a_column_of_another_length_is_refused) {
    const std::vector<double> readings{1.0, 2.0, 3.0};
    const std::vector<double> t{15.0, 15.0};
    const auto out = convert_oxygen(OxygenKind::percent_air, readings,
                                    {.temperature_celsius = t, .salinity = fresh, .pressure_kpa = one_atm});
    ASSERT_FALSE(out.has_value());
    EXPECT_NE(out.error().found.find("temperature"), std::string::npos);
}

TEST(Convert, sensitivities_agree_with_the_analytic_ones) {
    const auto here = oxygen_sensitivities(OxygenKind::percent_air, 12.0, 30.0, 99.0);
    const auto slopes = water::saturation_slopes(12.0, 30.0, 99.0);
    const double full = water::saturation_mg_per_l(12.0, 30.0, 99.0);
    EXPECT_NEAR(here.per_celsius, slopes.per_celsius / full, 1e-6 * std::abs(slopes.per_celsius / full));
    EXPECT_NEAR(here.per_salinity, slopes.per_salinity / full, 1e-6 * std::abs(slopes.per_salinity / full));
    EXPECT_NEAR(here.per_kilopascal, slopes.per_kilopascal / full, 1e-6 * slopes.per_kilopascal / full);
    // A concentration that the instrument measured as such does not depend on our thermometer.
    EXPECT_EQ(oxygen_sensitivities(OxygenKind::mg_per_l, 12.0, 30.0, 99.0).per_celsius, 0.0);
    // Of a partial pressure, what barometric pressure does to solubility and to full partial pressure
    // cancels.
    EXPECT_LT(std::abs(oxygen_sensitivities(OxygenKind::kpa, 12.0, 30.0, 99.0).per_kilopascal), 2e-5);
}

TEST(Convert, trade_units_agree_with_outside_values) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    int compared = 0;
    for (const auto& row : test::check_rows(*path)) {
        const double expected = std::strtod(row.at("expected").c_str(), nullptr);
        const auto& id = row.at("id");
        if (id == "oxygen_mg_to_umol") {
            EXPECT_NEAR(Oxygen::mg_per_l(1.0).umol_per_l(), expected, 1e-3);
            ++compared;
        } else if (id == "oxygen_mg_to_ml") {
            // The row's density is rounded to 1.429 mg/mL: half a unit of that digit is 0.0245 mL.
            EXPECT_NEAR(Oxygen::mg_per_l(100.0).ml_per_l(), expected, 0.0245);
            ++compared;
        } else if (id.rfind("oxygen_saturation_", 0) == 0) {
            const double t =
                std::strtod(row.at("inputs").c_str() + std::string("temperature_c=").size(), nullptr);
            EXPECT_NEAR(oxygen_mg_per_l(OxygenKind::percent_air, 100.0, t, 0.0, 101.325), expected, 1e-3)
                << id;
            ++compared;
        }
    }
    EXPECT_EQ(compared, 5);
}

// ------------------------------------------------------------------------------------------------
// calibration

const Instant day0 = Instant::unix_nanoseconds(1'780'000'000'000'000'000);

TEST(Calibration, drift_runs_straight_between_before_and_after) {
    const auto made = Calibration::make(
        "probe 3", {{.kind = CalibrationKind::zero, .at = day0, .reading = 1.0},
                    {.kind = CalibrationKind::air, .at = day0, .reading = 101.0, .should_read = 100.0},
                    {.kind = CalibrationKind::zero, .at = day0 + Duration::hours(10), .reading = 2.0},
                    {.kind = CalibrationKind::air,
                     .at = day0 + Duration::hours(10),
                     .reading = 97.0,
                     .should_read = 100.0}});
    ASSERT_TRUE(made.has_value());
    // Closed form: half way zero is 1.5 and gain (1.00 + 0.95)/2 = 0.975.
    const Instant half = day0 + Duration::hours(5);
    EXPECT_DOUBLE_EQ(made->zero_at(half), 1.5);
    EXPECT_NEAR(made->gain_at(half), 0.975, 1e-15);
    EXPECT_NEAR(made->corrected(90.0, half), 88.5 / 0.975, 1e-12);
    // Outside, the nearest holds.
    EXPECT_DOUBLE_EQ(made->corrected(101.0, day0 - Duration::hours(3)), 100.0);
    EXPECT_DOUBLE_EQ(made->corrected(97.0, day0 + Duration::hours(20)), 100.0);
    EXPECT_NEAR(*made->gain_drift_per_day(), -0.05 * 24.0 / 10.0, 1e-12);
}

TEST(Calibration, each_point_is_a_source_of_its_own_and_weighs_as_it_is_used) {
    const Instant later = day0 + Duration::hours(10);
    const auto made = Calibration::make("p", {{.kind = CalibrationKind::air,
                                               .at = day0,
                                               .reading = 100.0,
                                               .should_read = 100.0,
                                               .uncertainty = 1.0},
                                              {.kind = CalibrationKind::air,
                                               .at = later,
                                               .reading = 100.0,
                                               .should_read = 100.0,
                                               .uncertainty = 2.0}});
    ASSERT_TRUE(made.has_value());
    const auto effects = made->slope_effects(day0 + Duration::hours(2.5));
    ASSERT_EQ(effects.size(), 2U);
    EXPECT_EQ(effects[0].source, "calibration:p@" + iso_text(day0) + " air");
    EXPECT_NEAR(effects[0].effect, -0.75 * 0.01, 1e-15);
    EXPECT_NEAR(effects[1].effect, -0.25 * 0.02, 1e-15);
}

TEST(Calibration, effects_are_what_moving_a_point_does) {
    // Against the definition: move each point by its uncertainty, correct two readings, compare their
    // difference.
    const std::vector<CalibrationPoint> points{
        {.kind = CalibrationKind::zero, .at = day0, .reading = 0.8, .uncertainty = 0.3},
        {.kind = CalibrationKind::air, .at = day0, .reading = 99.0, .should_read = 98.7, .uncertainty = 0.4},
        {.kind = CalibrationKind::zero, .at = day0 + Duration::hours(20), .reading = 1.4, .uncertainty = 0.2},
        {.kind = CalibrationKind::air,
         .at = day0 + Duration::hours(24),
         .reading = 96.0,
         .should_read = 98.1,
         .uncertainty = 0.6}};
    const Instant at = day0 + Duration::hours(9);
    const auto difference = [&](std::vector<CalibrationPoint> p) {
        const auto made = Calibration::make("p", std::move(p));
        return made->corrected(95.0, at) - made->corrected(85.0, at);
    };
    const double base = difference(points);
    const auto made = Calibration::make("p", points);
    double total = 0.0;
    for (const auto& effect : made->slope_effects(at)) {
        total += effect.effect * effect.effect;
    }
    double expected = 0.0;
    for (std::size_t k = 0; k < points.size(); ++k) {
        auto up = points;
        auto down = points;
        up[k].reading += up[k].uncertainty;
        down[k].reading -= down[k].uncertainty;
        const double effect = (difference(up) - difference(down)) / (2.0 * base);
        expected += effect * effect;
    }
    // First order: relative size of the second-order term is (u/reading)^2, a few 1e-5.
    EXPECT_NEAR(std::sqrt(total), std::sqrt(expected), 1e-4 * std::sqrt(expected));
}

TEST(Calibration, a_point_in_another_unit_is_refused) {
    const auto made = Calibration::make(
        "p", {{.kind = CalibrationKind::air, .at = day0, .reading = 10.1, .should_read = 100.0}});
    ASSERT_FALSE(made.has_value());
    EXPECT_NE(made.error().text().find("calibration of p"), std::string::npos);
}

TEST(Calibration, an_air_point_should_read_what_air_holds) {
    EXPECT_NEAR(air_point_should_read(OxygenKind::mg_per_l, 15.0, 0.0, 101.325), 10.084, 1e-3);
    EXPECT_DOUBLE_EQ(air_point_should_read(OxygenKind::percent_air, 15.0, 20.0, 98.0), 100.0);
    // In sea water a logger set to fresh water shows the fresh-water value at 100 % saturation.
    EXPECT_NEAR(air_point_should_read(OxygenKind::mg_per_l, 15.0, 35.0, 101.325, {.salinity = 0.0}), 10.084,
                1e-3);
}

TEST(Budget, scale_carries_each_standing_error_by_name) {
    OxygenBudget budget{.kind = OxygenKind::percent_air, .salinity = 30.0, .pressure_kpa = 101.325};
    budget.temperature_error = {0.2, "temperature:probe 3"};
    budget.salinity_error = {0.5, "salinity:ctd"};
    const Measured scale = slope_scale(budget, day0, 12.0);
    EXPECT_EQ(scale.value(), 1.0);
    ASSERT_EQ(scale.contributions().size(), 2U);
    const auto slopes = water::saturation_slopes(12.0, 30.0, 101.325);
    const double full = water::saturation_mg_per_l(12.0, 30.0, 101.325);
    EXPECT_EQ(scale.contributions()[0].source, "salinity:ctd");
    EXPECT_NEAR(scale.contributions()[0].effect, 0.5 * slopes.per_salinity / full, 1e-8);
    EXPECT_NEAR(scale.contributions()[1].effect, 0.2 * slopes.per_celsius / full, 1e-8);
}

} // namespace
} // namespace backeddy::uptake
