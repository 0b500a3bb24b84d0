// Source: NIST StRD, one-way analysis of variance: certified sums of squares of SiRstv and AtmWtAg.

#include "condition/plate_precision.hpp"

#include <cmath>
#include <map>
#include <span>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "condition/plates.hpp"
#include "support/reference.hpp"

namespace backeddy::condition {
namespace {

/// Whose results are the means of their wells.
std::vector<OnPlate> by_wells(const std::vector<std::vector<double>>& plates) {
    std::vector<OnPlate> out;
    for (const auto& wells : plates) {
        out.push_back({.result = {}, .wells = wells});
    }
    return out;
}

class Nist : public ::testing::TestWithParam<std::string> {};

TEST_P(Nist, variance_components_follow_from_certified_sums_of_squares) {
    const auto set = support::nist_sets().at(GetParam());
    const auto table = support::read_table(support::nist_folder() / ("nist_" + GetParam() + ".csv"));
    std::map<std::string, std::vector<double>> groups;
    for (std::size_t i = 0; i < table.rows(); ++i) {
        groups[table.text("group")[i]].push_back(table.numbers("y")[i]);
    }
    std::vector<OnPlate> plates;
    double sum = 0.0;
    for (const auto& [name, values] : groups) {
        plates.push_back({.result = {}, .wells = values});
        for (const double value : values) {
            sum += value;
        }
    }
    const auto result = inter_assay("control", plates);
    ASSERT_TRUE(result) << result.error().text();
    const double mean = sum / set["n"].get<double>(); // the groups are of one size
    const double within = set["ss_within"].get<double>() / set["df_within"].get<double>();
    const double between = set["ss_between"].get<double>() / set["df_between"].get<double>();
    const double n0 = set["n"].get<double>() / static_cast<double>(plates.size());
    // Relative to the mean the scatter of AtmWtAg is 1e-7, so that doubles keep nine digits of it.
    EXPECT_NEAR(result->within_cv.value(), std::sqrt(within) / mean, 1e-8 * std::sqrt(within) / mean);
    EXPECT_NEAR(result->between_cv.value(), std::sqrt((between - within) / n0) / mean,
                1e-7 * std::sqrt(between) / mean);
    EXPECT_NEAR(result->total_cv.value(), std::sqrt(within + ((between - within) / n0)) / mean,
                1e-7 * std::sqrt(between) / mean);
    EXPECT_NEAR(result->cv_of_means, std::sqrt(between / n0) / mean, 1e-7 * std::sqrt(between) / mean);
}

INSTANTIATE_TEST_SUITE_P(OneWay, Nist, ::testing::Values("SiRstv", "AtmWtAg"),
                         [](const auto& tested) { return tested.param; });

TEST(PlatePrecision, unequal_plates_by_hand) {
    // N = 5, sizes 3 and 2: n0 = 5 - 13/5 = 2.4. Means 10 and 13, grand 11.2; SS within 2 + 2 = 4 (3 degrees
    // of freedom), SS between 3 1.44 + 2 3.24 = 10.8.
    const auto result = inter_assay("c", by_wells({{9, 10, 11}, {12, 14}, {}}));
    ASSERT_TRUE(result);
    EXPECT_EQ(result->plates, 2U);
    EXPECT_EQ(result->wells, 5U);
    EXPECT_NEAR(result->mean, 11.5, 1e-12);
    EXPECT_NEAR(*result->within_cv, std::sqrt(4.0 / 3.0) / 11.5, 1e-12);
    EXPECT_NEAR(*result->between_cv, std::sqrt((10.8 - (4.0 / 3.0)) / 2.4) / 11.5, 1e-12);
}

TEST(PlatePrecision, single_wells_tell_only_the_cv_of_means) {
    const auto result = inter_assay("c", by_wells({{9}, {11}}));
    ASSERT_TRUE(result);
    EXPECT_NEAR(result->cv_of_means, std::sqrt(2.0) / 10.0, 1e-12);
    EXPECT_FALSE(result->within_cv || result->between_cv || result->total_cv);
}

TEST(PlatePrecision, plates_more_alike_than_their_wells_have_no_component) {
    const auto result = inter_assay("c", by_wells({{9, 11}, {9, 11}}));
    ASSERT_TRUE(result);
    EXPECT_EQ(*result->between_cv, 0.0);
    EXPECT_GT(*result->total_cv, 0.0);
}

TEST(PlatePrecision, needs_two_plates_and_concentrations) {
    EXPECT_EQ(inter_assay("c", by_wells({{9, 10}})).error().code, ErrorCode::too_few);
    EXPECT_EQ(inter_assay("c", by_wells({{9}, {0.0}})).error().code, ErrorCode::out_of_range);
}

TEST(PlatePrecision, controls_shared_by_plates_are_found) {
    std::vector<PlateResult> results;
    for (std::uint64_t k = 0; k < 3; ++k) {
        plates::Plate made(plates::falling, {.floor = 0.005, .share = 0.02}, 12, k);
        made.standards(7);
        made.add({.kind = WellKind::control, .label = "pool", .dilution = 5.0}, 0.8);
        if (k == 0) {
            made.add({.kind = WellKind::control, .label = "once"}, 0.8);
        }
        const auto plate = evaluate_plate(made.wells());
        ASSERT_TRUE(plate) << plate.error().text();
        results.push_back(*plate);
    }
    const auto shared = inter_assay(results);
    ASSERT_EQ(shared.size(), 1U);
    EXPECT_EQ(shared[0].label, "pool");
    EXPECT_EQ(shared[0].plates, 3U);
    EXPECT_EQ(shared[0].wells, 6U);
    EXPECT_NEAR(shared[0].mean, 4.0, 0.5);
    // Those that stand on the plates' pages: as means of wells alone they differ.
    double mean = 0.0;
    for (const auto& plate : results) {
        mean += plate.controls.front().concentration->value / 3.0;
    }
    EXPECT_NEAR(shared[0].mean, mean, 1e-12);
    EXPECT_TRUE(shared[0].left_out.empty());
}

TEST(PlatePrecision, half_a_broken_duplicate_does_not_count_and_is_named) {
    std::vector<PlateResult> results;
    for (std::uint64_t k = 0; k < 3; ++k) {
        plates::Plate made(plates::falling, {.floor = 0.005, .share = 0.02}, 13, k);
        made.standards(7);
        made.add({.kind = WellKind::control, .label = "pool"}, 0.8);
        if (k == 1) {
            made.wells().back().response = 2.5; // beyond the curve
        }
        const auto plate = evaluate_plate(made.wells());
        ASSERT_TRUE(plate) << plate.error().text();
        results.push_back(*plate);
    }
    const auto shared = inter_assay(results);
    ASSERT_EQ(shared.size(), 1U);
    EXPECT_EQ(shared[0].plates, 2U);
    EXPECT_EQ(shared[0].wells, 4U);
    EXPECT_EQ(shared[0].left_out, std::vector<std::size_t>{1});
    const auto two = inter_assay(std::span(results).first(2));
    ASSERT_EQ(two.size(), 1U);
    EXPECT_EQ(two[0].plates, 1U);
    EXPECT_TRUE(std::isnan(two[0].cv_of_means));
    EXPECT_EQ(two[0].left_out, std::vector<std::size_t>{1});
}

} // namespace
} // namespace backeddy::condition
