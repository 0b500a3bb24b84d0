// From slope to uptake: closed forms, outside rows, and shared sources that cancel.

#include "uptake/mo2.hpp"

#include <array>
#include <cmath>
#include <map>

#include <gtest/gtest.h>

#include "support/check_rows.hpp"

namespace backeddy::uptake {
namespace {

FishBody fish_of(double kg, double density = 1.0) {
    return {.fish = "f1",
            .mass_kg = Measured(kg, 0.005 * kg, "mass:f1"),
            .density_kg_per_l = Measured(density, 0.01, "density:f1")};
}

UptakeParts parts_of(double chamber_l, const FishBody& fish, double slope, double background,
                     BackgroundVolume volume) {
    const Measured chamber(chamber_l, 0.01 * chamber_l, "volume:c1");
    const auto water = water_volume(chamber, &fish);
    return uptake_parts(Measured(slope, 0.02 * std::abs(slope), "slope:s1@t"),
                        Measured(background, 0.1 * std::abs(background), "blank:b1"), chamber, *water, &fish,
                        volume);
}

TEST(Uptake, outside_values_of_both_volume_conventions) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    std::map<std::string, double> expected;
    for (const auto& row : test::check_rows(*path)) {
        expected[row.at("id")] = std::strtod(row.at("expected").c_str(), nullptr);
    }
    const FishBody fish = fish_of(1.0);
    EXPECT_NEAR(parts_of(10, fish, -12, 0.0, BackgroundVolume::whole_chamber).uptake_mg_per_kg_h->value(),
                expected.at("mo2_no_background"), 1e-9);
    EXPECT_NEAR(parts_of(10, fish, -12, -0.6, BackgroundVolume::whole_chamber).uptake_mg_per_kg_h->value(),
                expected.at("mo2_background_on_chamber_volume"), 1e-9);
    EXPECT_NEAR(parts_of(10, fish, -12, -0.6, BackgroundVolume::water).uptake_mg_per_kg_h->value(),
                expected.at("mo2_background_on_water_volume"), 1e-9);
    for (const double ratio : {20.0, 50.0}) {
        // A fish that is not subtracted: as if it had no volume.
        FishBody ghost{.fish = "f1"};
        const auto whole = water_volume(Measured(ratio), &ghost);
        const auto less = water_volume(Measured(ratio), &fish);
        EXPECT_NEAR(
            100.0 * ((whole->value() / less->value()) - 1.0),
            expected.at("error_of_ignoring_fish_volume_ratio_" + std::to_string(static_cast<int>(ratio))),
            1e-6);
    }
}

TEST(Uptake, uncertainty_is_what_moving_each_source_does) {
    // (JCGM 100:2008, 5.1.3 note 2: contributions found numerically.)
    const auto value = [](double chamber_l, double kg, double density, double slope, double background) {
        const double water = chamber_l - (kg / density);
        return ((-slope * water) - (-background * chamber_l)) / kg;
    };
    const auto parts = parts_of(10, fish_of(0.8, 1.05), -6.0, -0.3, BackgroundVolume::whole_chamber);
    const std::map<std::string, double> expected{
        {"volume:c1", (value(10.1, 0.8, 1.05, -6, -0.3) - value(9.9, 0.8, 1.05, -6, -0.3)) / 2},
        {"mass:f1", (value(10, 0.804, 1.05, -6, -0.3) - value(10, 0.796, 1.05, -6, -0.3)) / 2},
        {"density:f1", (value(10, 0.8, 1.06, -6, -0.3) - value(10, 0.8, 1.04, -6, -0.3)) / 2},
        {"slope:s1@t", (value(10, 0.8, 1.05, -5.88, -0.3) - value(10, 0.8, 1.05, -6.12, -0.3)) / 2},
        {"blank:b1", (value(10, 0.8, 1.05, -6, -0.27) - value(10, 0.8, 1.05, -6, -0.33)) / 2}};
    ASSERT_EQ(parts.uptake_mg_per_kg_h->contributions().size(), expected.size());
    for (const auto& effect : parts.uptake_mg_per_kg_h->contributions()) {
        EXPECT_NEAR(effect.effect, expected.at(effect.source), 2e-4 * std::abs(expected.at(effect.source)))
            << effect.source;
    }
}

TEST(Uptake, errors_of_one_tube_and_one_weighing_cancel_in_a_ratio) {
    const FishBody fish = fish_of(0.8);
    const auto high = parts_of(10, fish, -60.0, 0.0, BackgroundVolume::whole_chamber);
    const Measured chamber(10, 0.1, "volume:c1");
    const auto water = water_volume(chamber, &fish);
    const auto low = uptake_parts(Measured(-6.0, 0.1, "slope:s1@later"), Measured(0.0), chamber, *water,
                                  &fish, BackgroundVolume::whole_chamber);
    const Measured ratio = *high.uptake_mg_per_kg_h / *low.uptake_mg_per_kg_h;
    EXPECT_NEAR(ratio.share("volume:c1"), 0.0, 1e-20);
    EXPECT_NEAR(ratio.share("mass:f1"), 0.0, 1e-20);
    EXPECT_NEAR(ratio.standard_uncertainty() / ratio.value(), std::hypot(0.02, 0.1 / 6.0), 1e-12);
}

TEST(Uptake, an_unweighed_fish_has_mg_per_h_only) {
    const FishBody fish{.fish = "f2", .provisional_volume_l = 0.9};
    const auto parts = parts_of(10, fish, -12, 0.0, BackgroundVolume::whole_chamber);
    EXPECT_NEAR(parts.uptake_mg_per_h.value(), 12.0 * 9.1, 1e-12);
    EXPECT_FALSE(parts.uptake_mg_per_kg_h.has_value());
}

TEST(Uptake, a_fish_larger_than_its_chamber_is_refused) {
    const FishBody fish = fish_of(11.0);
    const auto water = water_volume(Measured(10.0), &fish);
    ASSERT_FALSE(water.has_value());
    EXPECT_EQ(
        water.error().text(),
        "fish f1: a fish of 11.00 L in a chamber of 10.00 L; a fish that leaves room for water; check mass_g "
        "in fish.csv and the volumes in assemblies.csv");
    EXPECT_FALSE(water_volume(Measured(0.0), nullptr).has_value());
    FishBody none = fish_of(1.0);
    none.mass_kg = Measured(0.0);
    EXPECT_FALSE(water_volume(Measured(10.0), &none).has_value());
}

TEST(Uptake, share_of_background_is_told) {
    const auto parts = parts_of(10, fish_of(1.0), -12, -0.6, BackgroundVolume::whole_chamber);
    EXPECT_NEAR(*parts.background_share, 6.0 / 108.0, 1e-12);
    EXPECT_FALSE(parts_of(10, fish_of(1.0), 1.0, -0.6, BackgroundVolume::water).background_share.has_value());
}

} // namespace
} // namespace backeddy::uptake
