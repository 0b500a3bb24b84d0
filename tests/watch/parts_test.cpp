// The parts by themselves: lines by running sums, the flush's course, what is believed of a sensor.

#include <cmath>
#include <limits>

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "chamber/chamber.hpp"
#include "fit/line.hpp"
#include "watch/flush_course.hpp"
#include "watch/plausibility.hpp"

namespace backeddy::watch {
namespace {

RC_GTEST_PROP(RunningLine, is_the_least_squares_line, ()) {
    const auto steps = *rc::gen::container<std::vector<int>>(rc::gen::inRange(1, 100));
    RC_PRE(steps.size() >= 3);
    std::vector<double> times;
    std::vector<double> values;
    RunningLine line;
    double t = 1e6;
    for (const int step : steps) {
        t += step * 0.1;
        times.push_back(t);
        values.push_back(8.0 - (1e-3 * (t - 1e6)) + (0.01 * ((step % 7) - 3)));
        line.add(times.back(), values.back());
    }
    const auto exact = fit::fit_line(times, values);
    RC_ASSERT(exact.has_value());
    RC_ASSERT(std::abs(*line.slope() - exact->slope) < 1e-9);
}

TEST(FadingLine, has_level_and_slope_of_now_without_lag) {
    FadingLine line;
    for (double t = 0.0; t <= 100.0; t += 1.0) {
        line.add(t, 9.0 - (0.01 * t), 8.0);
    }
    EXPECT_NEAR(*line.slope(), -0.01, 1e-9);
    EXPECT_NEAR(*line.at(110.0), 9.0 - 1.1, 1e-7);
}

TEST(FlushCourse, is_that_of_the_chambers_own_balance) {
    const auto course = flush_course(100.0, 6.5, 8.2, 60.0, 28.0, 28.0 / 18.0 * 60.0);
    EXPECT_NEAR(course.reach_mg_per_l, chamber::flush_level_mg_per_l(8.2, 60.0, 18.0), 1e-12);
    for (const double minutes : {0.5, 2.0, 6.0}) {
        EXPECT_NEAR(course.working_at(100.0 + (60.0 * minutes)),
                    chamber::flushed_mg_per_l(6.5, course.reach_mg_per_l, 18.0 * minutes / 28.0), 1e-12);
    }
    EXPECT_NEAR(course.dead_at(160.0), 6.5 - (1.0 / 28.0), 1e-12);
    EXPECT_NEAR(*pump_share(course, 200.0, 0.0, course.working_at(200.0), 0.01), 1.0, 1e-12);
    EXPECT_NEAR(*pump_share(course, 200.0, 0.0, course.dead_at(200.0), 0.01), 0.0, 1e-12);
    EXPECT_FALSE(pump_share(course, 200.0, 0.0, 7.0, 5.0));
    EXPECT_NEAR(*explained_inflow(course, 400.0, course.working_at(400.0)), 8.2, 1e-9);
    EXPECT_FALSE(explained_inflow(course, 110.0, 6.6));
}

struct Believing : testing::Test {
    SensorSettings settings;
    Bounds bounds{.lowest = -0.3, .highest = 14.0, .jump = 0.6, .memory_s = 8.0};
    SensorTrack track;

    void told(double from_s, int count, double value) {
        for (int i = 0; i < count; ++i) {
            take(track, settings, bounds, from_s + i, value);
        }
    }
};

TEST_F(Believing, one_spike_is_passed_over_and_no_number_is_never_believed) {
    told(0.0, 20, 8.0);
    told(20.0, 1, 3.0);
    told(21.0, 1, std::numeric_limits<double>::quiet_NaN());
    told(22.0, 1, 850.0);
    EXPECT_EQ(track.value, 8.0);
    told(23.0, 1, 8.01);
    EXPECT_EQ(track.value, 8.01);
    EXPECT_EQ(track.odd, 0);
}

TEST_F(Believing, a_level_that_stays_is_accepted_as_a_step) {
    told(0.0, 20, 8.0);
    told(20.0, 4, 6.0);
    EXPECT_EQ(track.value, 8.0);
    told(24.0, 1, 6.0);
    EXPECT_EQ(track.value, 6.0);
    EXPECT_NEAR(track.jumped_by, -2.0, 1e-9);
}

TEST_F(Believing, numbers_that_water_cannot_have_are_never_a_new_level) {
    told(0.0, 20, 8.0);
    told(20.0, 30, 850.0);
    EXPECT_EQ(track.value, 8.0);
    EXPECT_TRUE(is_implausible(track, settings, 50.0));
}

TEST_F(Believing, a_coarse_display_is_frozen_only_after_its_step_should_have_come) {
    const ChamberPlan coarse{.display_step_mg_per_l = 0.1, .noise = {.white_sd_mg_per_l = 0.005}};
    ASSERT_FALSE(moves_by_itself(coarse));
    for (int t = 0; t <= 279; ++t) { // 0.001 mg/L/s: a step takes 100 s
        take(track, settings, bounds, t, 8.0);
        count_stillness(track, coarse, t, 0.001);
    }
    EXPECT_FALSE(is_frozen(track, coarse, settings));
    for (int t = 280; t <= 285; ++t) {
        take(track, settings, bounds, t, 8.0);
        count_stillness(track, coarse, t, 0.001);
    }
    EXPECT_TRUE(is_frozen(track, coarse, settings));
}

} // namespace
} // namespace backeddy::watch
