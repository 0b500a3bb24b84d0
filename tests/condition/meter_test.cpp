// Sources: Pearson 1901 (Phil Mag 2:559), whose ten points have the best-fitting line y = 5.784 - 0.546 x (as
// quoted by York 1966, Can J Phys 44:1079; from memory, and the same by R below). R 4.2.2: the sum of squares
// over (d + b^2) minimised by optimize(), the jackknife by a loop.

#include "condition/meter.hpp"

#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::condition {
namespace {

// y downward, so that the line rises.
TEST(Meter, pearsons_points_have_pearsons_line) {
    const std::array x{0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
    const std::array y{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
    std::vector<MeterPair> pairs;
    for (std::size_t i = 0; i < x.size(); ++i) {
        pairs.push_back({x[i], -y[i]});
    }
    const auto meter = fit_meter(pairs);
    ASSERT_TRUE(meter) << meter.error().text();
    EXPECT_NEAR(meter->slope, 0.546, 5e-4);
    EXPECT_NEAR(meter->intercept, -5.784, 5e-4);
    EXPECT_NEAR(meter->slope, 0.54556119746783316, 1e-7); // R's optimize() finds half the digits
    EXPECT_NEAR(meter->intercept, -5.78404377432712291, 1e-6);
}

std::vector<MeterPair> ten_fish() {
    return {{1.2, 1.0}, {2.1, 2.3}, {3.4, 3.1}, {4.0, 4.4},   {5.5, 5.9},
            {6.8, 6.5}, {7.9, 8.8}, {9.1, 9.6}, {11.0, 12.1}, {14.2, 14.9}};
}

TEST(Meter, agrees_with_r_in_line_and_jackknife) {
    struct Row {
        double ratio, intercept, slope, intercept_se, slope_se, covariance, meter_sd;
    };
    for (const auto& row : {Row{1.0, -0.21674324623462926, 1.0853900684408941, 0.21191018268315118,
                                0.033659734803102567, -0.0058922612769204703, 0.25918536204142867},
                            Row{4.0, -0.2022812359631363, 1.0831719687060026, 0.20712325435364987,
                                0.032697486247901017, -0.0055447931114386761, 0.33608826387105756}}) {
        const auto meter = fit_meter(ten_fish(), {.error_ratio = row.ratio});
        ASSERT_TRUE(meter) << meter.error().text();
        EXPECT_NEAR(meter->intercept, row.intercept, 1e-6);
        EXPECT_NEAR(meter->slope, row.slope, 1e-7);
        EXPECT_NEAR(meter->intercept_se, row.intercept_se, 1e-6);
        EXPECT_NEAR(meter->slope_se, row.slope_se, 1e-6);
        EXPECT_NEAR(meter->covariance, row.covariance, 1e-6);
        EXPECT_NEAR(meter->meter_sd, row.meter_sd, 1e-7);
    }
}

// A meter that alone errs: R's lm(meter ~ reference).
TEST(Meter, becomes_least_squares_when_the_reference_does_not_err) {
    const auto meter = fit_meter(ten_fish(), {.error_ratio = 1e9});
    ASSERT_TRUE(meter);
    EXPECT_NEAR(meter->intercept, -0.19182999685567503, 1e-7);
    EXPECT_NEAR(meter->slope, 1.08156901792264959, 1e-8);
}

TEST(Meter, turned_round_is_the_same_line) {
    auto turned = ten_fish();
    for (auto& pair : turned) {
        std::swap(pair.reference, pair.meter);
    }
    const auto meter = fit_meter(ten_fish(), {.error_ratio = 2.5});
    const auto other = fit_meter(turned, {.error_ratio = 1.0 / 2.5});
    ASSERT_TRUE(meter && other);
    EXPECT_NEAR(meter->slope * other->slope, 1.0, 1e-12);
}

// Recover the truth: a meter that reads 0.4 + 1.2 times, both err; of 1000 meters, the corrected value of a
// new sample lies within 1.96 of its uncertainties of the truth in 95 %.
TEST(Meter, covers_the_truth_of_a_new_sample) {
    constexpr int meters = 1000;
    int held = 0;
    double bias = 0.0;
    for (int m = 0; m < meters; ++m) {
        Random random(11, static_cast<std::uint64_t>(m));
        std::vector<MeterPair> pairs;
        for (int i = 0; i < 25; ++i) {
            const double truth = 1.0 + (14.0 * random.uniform());
            pairs.push_back({truth + (0.3 * random.normal()), 0.4 + (1.2 * truth) + (0.6 * random.normal())});
        }
        const auto meter = fit_meter(pairs, {.error_ratio = 4.0});
        ASSERT_TRUE(meter);
        const double truth = 1.0 + (14.0 * random.uniform());
        const auto got = meter->corrected(0.4 + (1.2 * truth) + (0.6 * random.normal()));
        held += std::abs(got.value - truth) < 1.96 * got.uncertainty ? 1 : 0;
        bias += (got.value - truth) / meters;
    }
    EXPECT_GT(held,
              920); // 950 of 1000 expected, standard error 7; 932 were held: the jackknife is not Student's t
    EXPECT_LT(held, 972);
    EXPECT_NEAR(bias, 0.0, 0.06); // 0.5 / sqrt(1000) = 0.017
}

// JCGM 100:2008, 5.2.2, by hand: (0.3^2 + 0.2^2 + 2 * 4 * -0.005 + 4^2 * 0.05^2) / 1.25^2 = 0.13 / 1.5625.
TEST(Meter, uncertainty_worked_by_hand) {
    MeterCorrection meter;
    meter.intercept = 0.5;
    meter.slope = 1.25;
    meter.intercept_se = 0.2;
    meter.slope_se = 0.05;
    meter.covariance = -0.005;
    meter.meter_sd = 0.3;
    const auto got = meter.corrected(5.5);
    EXPECT_DOUBLE_EQ(got.value, 4.0);
    EXPECT_NEAR(got.uncertainty, std::sqrt(0.13) / 1.25, 1e-15);
}

TEST(Meter, says_when_a_reading_is_beyond_its_pairs) {
    const auto meter = fit_meter(ten_fish());
    EXPECT_FALSE(meter->corrected(14.9).is_beyond);
    EXPECT_TRUE(meter->corrected(15.0).is_beyond);
    EXPECT_TRUE(meter->corrected(0.5).is_beyond);
    EXPECT_GT(meter->corrected(15.0).uncertainty, meter->corrected(6.0).uncertainty);
}

TEST(Meter, refuses_what_has_no_line) {
    const auto pairs = ten_fish();
    EXPECT_EQ(fit_meter(std::span(pairs).first(4)).error().code, ErrorCode::too_few);
    EXPECT_EQ(fit_meter(pairs, {.error_ratio = 0.0}).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(fit_meter(std::vector<MeterPair>(6, {2.0, 3.0})).error().code, ErrorCode::degenerate);
    auto falling = pairs;
    for (auto& pair : falling) {
        pair.meter = -pair.meter;
    }
    EXPECT_EQ(fit_meter(falling).error().code, ErrorCode::degenerate);
    auto holed = pairs;
    holed[2].meter = std::nan("");
    EXPECT_EQ(fit_meter(holed).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::condition
