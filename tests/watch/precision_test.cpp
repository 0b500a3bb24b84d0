// The length of a spell and the error it is planned by.

#include <cmath>

#include <gtest/gtest.h>

#include "fit/noise.hpp"
#include "watch/precision.hpp"

namespace backeddy::watch {
namespace {

TEST(Precision, the_planned_error_is_that_of_the_estimator_under_the_same_noise) {
    for (const double interval : {1.0, 5.0, 15.0}) {
        for (const double tau : {3.0, 10.0, 40.0}) {
            for (const double length : {120.0, 600.0, 1800.0}) {
                ChamberPlan chamber{.interval_s = interval,
                                    .noise = {.white_sd_mg_per_l = 0.006,
                                              .coloured_sd_mg_per_l = 0.009,
                                              .coloured_time_s = tau}};
                std::vector<double> times;
                for (double t = 0.0; t <= length; t += interval) {
                    times.push_back(t);
                }
                if (times.size() < 30 || tau < interval) {
                    continue; // sums as integrals need readings closer than the noise's memory
                }
                const fit::NoiseModel noise{.white_sd = 0.006, .coloured_sd = 0.009, .correlation_time = tau};
                const auto exact = fit::modelled_slope(noise, times);
                ASSERT_TRUE(exact);
                EXPECT_NEAR(slope_error(chamber, length) / exact->slope_se, 1.0, 0.05)
                    << interval << " s, " << tau << " s, " << length << " s";
            }
        }
    }
}

TEST(Precision, half_the_fall_needs_a_longer_spell_and_never_beyond_its_limits) {
    const CycleSettings cycle;
    const ChamberPlan chamber{.interval_s = 5.0,
                              .noise = {.white_sd_mg_per_l = 0.02, .coloured_sd_mg_per_l = 0.02}};
    double before = 0.0;
    for (double fall = 4e-3; fall > 1e-6; fall /= 2.0) {
        const double length = next_sealed_s(
            cycle, chamber, {.level_mg_per_l = 9.0, .floor_mg_per_l = 7.5, .fall_mg_per_l_s = fall});
        EXPECT_GE(length, before);
        EXPECT_LE(length, cycle.longest_sealed_s);
        EXPECT_GE(length, cycle.settle_s);
        before = length;
    }
    EXPECT_EQ(before, cycle.longest_sealed_s);
}

TEST(Precision, a_spell_is_no_longer_than_oxygen_lasts) {
    const CycleSettings cycle;
    const ChamberPlan chamber{.noise = {.white_sd_mg_per_l = 0.05}};
    const double fall = 2e-3;
    const double length = next_sealed_s(
        cycle, chamber, {.level_mg_per_l = 9.0, .floor_mg_per_l = 8.0, .fall_mg_per_l_s = fall});
    EXPECT_LE(9.0 - (length * fall), 9.0);
    EXPECT_GE(9.0 - (length * fall), 8.0);
}

} // namespace
} // namespace backeddy::watch
