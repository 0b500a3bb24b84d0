// Sources: smoothing splines by R 4.2.2 in Reinsch's form (reference/stats 10), which a random-walk rate must
// equal (Wahba 1978); draws from the model itself; a fall by small steps through a slow sensor.

#include "fit/smooth.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "fit/area.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;

TEST(SmoothRate, of_a_random_walk_is_the_smoothing_spline_and_its_derivative) {
    const auto cases = support::reference_cases("stats/10_smoothing.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    struct Set {
        const char* id;
        const char* x;
        const char* y;
    };
    for (const Set& set :
         {Set{"recovery", "hour", "mo2"}, Set{"trace_bend", "t_s", "o2"}, Set{"theoph1", "Time", "conc"}}) {
        const auto& one = support::case_of(*cases, set.id);
        const auto table = support::data_of(one);
        const auto x = table.numbers(set.x);
        const auto y = table.numbers(set.y);
        for (const auto& want : one["expected"]["natural_smoothing"]) {
            const double lambda = want["lambda"];
            const double sd = 0.5; // any: only the ratio counts
            const auto got =
                smooth_rate({.white_sd = sd}, x, y, {.walk = RateWalk::walk, .intensity = sd * sd / lambda});
            ASSERT_TRUE(got) << got.error().text();
            const auto spline = NaturalSpline::through(x, got->level);
            ASSERT_TRUE(spline);
            double steepest = 0;
            for (std::size_t i = 0; i < x.size(); ++i) {
                steepest = std::max(steepest, std::abs(spline->slope_at(x[i])));
            }
            for (std::size_t i = 0; i < x.size(); ++i) {
                const std::string what =
                    std::string(set.id) + " lambda " + std::to_string(lambda) + " row " + std::to_string(i);
                EXPECT_TRUE(agrees(got->level[i], want["fit"][i], 1e-8, 0, what + " level"));
                EXPECT_TRUE(agrees(got->rate[i], spline->slope_at(x[i]), 1e-8, steepest, what + " rate"));
            }
        }
    }
}

struct Drawn {
    std::vector<double> t;
    std::vector<double> readings;
    std::vector<double> rate;
    std::vector<double> level;
};

/// A rate whose slope is a random walk of the given intensity, seen by a sensor of lag tau, by small steps.
Drawn drawn(std::size_t n, double intensity, double tau, const NoiseModel& noise, Random& random) {
    Drawn out;
    double slope = 0;
    double rate = -0.002;
    double level = 9;
    double sensor = 9;
    double colour = noise.coloured_sd * random.normal();
    const int fine = 50;
    const double dt = 1.0 / fine;
    for (std::size_t i = 0; i < n; ++i) {
        out.t.push_back(static_cast<double>(i));
        out.rate.push_back(rate);
        out.level.push_back(level);
        out.readings.push_back((tau > 0 ? sensor : level) + colour + (noise.white_sd * random.normal()));
        for (int k = 0; k < fine; ++k) {
            const double middle = level + (0.5 * dt * rate);
            sensor = tau > 0 ? middle + ((sensor - middle) * std::exp(-dt / tau)) : middle;
            level += (dt * rate) + (0.5 * dt * dt * slope);
            rate += dt * slope;
            slope += std::sqrt(intensity * dt) * random.normal();
        }
        if (noise.is_coloured()) {
            const double rho = std::exp(-1 / noise.correlation_time);
            colour = (rho * colour) + (noise.coloured_sd * std::sqrt(1 - (rho * rho)) * random.normal());
        }
    }
    return out;
}

TEST(SmoothRate, bands_hold_the_truth_as_often_as_they_say) {
    const double intensity = 1e-12;
    const NoiseModel white{.white_sd = 0.01};
    const NoiseModel both{.white_sd = 0.005, .coloured_sd = 0.01, .correlation_time = 8};
    for (const auto& [noise, tau] : {std::pair(white, 0.0), std::pair(white, 10.0), std::pair(both, 10.0)}) {
        int covered = 0;
        int covered_level = 0;
        int total = 0;
        for (std::uint64_t run = 0; run < 150; ++run) {
            Random random(17, run);
            const auto data = drawn(200, intensity, tau, noise, random);
            const auto got = smooth_rate(noise, data.t, data.readings,
                                         {.sensor_lag = tau, .intensity = intensity, .first_imbalance = 0.0});
            ASSERT_TRUE(got) << got.error().text();
            for (std::size_t i = 0; i < data.t.size(); i += 20) {
                covered += std::abs(got->rate[i] - data.rate[i]) < 1.96 * got->rate_se[i] ? 1 : 0;
                covered_level += std::abs(got->level[i] - data.level[i]) < 1.96 * got->level_se[i] ? 1 : 0;
                ++total;
            }
        }
        // 1,500 points, ten to a run and alike within it: one standard error is about 1 %.
        EXPECT_NEAR(covered / static_cast<double>(total), 0.95, 0.035) << tau;
        EXPECT_NEAR(covered_level / static_cast<double>(total), 0.95, 0.035) << tau;
    }
}

TEST(SmoothRate, finds_its_own_intensity) {
    const double intensity = 1e-10;
    double logs = 0;
    int held = 0;
    const int runs = 30;
    for (std::uint64_t run = 0; run < runs; ++run) {
        Random random(19, run);
        const auto data = drawn(600, intensity, 0, {.white_sd = 0.005}, random);
        const auto got = smooth_rate({.white_sd = 0.005}, data.t, data.readings);
        ASSERT_TRUE(got);
        EXPECT_FALSE(got->is_at_limit);
        logs += std::log(got->intensity / intensity) / runs;
        held += std::abs(got->rate[300] - data.rate[300]) < 1.96 * got->rate_se[300] ? 1 : 0;
    }
    EXPECT_NEAR(logs, 0.0, 0.6); // within a factor of two: intensities are hard to tell
    EXPECT_GE(held, 25);
}

TEST(SmoothRate, undoes_the_sensor_lag_on_a_steady_fall) {
    // From the closed form of tau dy/dt = x - y with a fall that begins at 0.
    std::vector<double> t;
    std::vector<double> y;
    const double tau = 15;
    for (int i = 0; i < 240; ++i) {
        t.push_back(i);
        y.push_back(9 - (0.01 * (i - tau)) - (0.01 * tau * std::exp(-i / tau)));
    }
    const NoiseModel noise{.white_sd = 0.001};
    const auto with =
        smooth_rate(noise, t, y, {.sensor_lag = tau, .intensity = 1e-14, .first_imbalance = 0.0});
    const auto without = smooth_rate(noise, t, y, {.intensity = 1e-14});
    ASSERT_TRUE(with && without);
    EXPECT_NEAR(with->rate[0], -0.01, 1e-4);
    EXPECT_NEAR(with->rate[120], -0.01, 1e-6);
    EXPECT_NEAR(with->level[239], 9 - (0.01 * 239), 1e-3);
    EXPECT_GT(without->rate[0], -0.008); // the lag looks like a slower fall at first
}

TEST(SmoothRate, bridges_a_missing_stretch_with_a_wider_band) {
    Random random(23);
    auto data = drawn(200, 1e-12, 0, {.white_sd = 0.01}, random);
    const SmoothOptions options{.intensity = 1e-12};
    const auto whole = smooth_rate({.white_sd = 0.01}, data.t, data.readings, options);
    for (std::size_t i = 80; i < 120; ++i) {
        data.readings[i] = std::nan("");
    }
    const auto holed = smooth_rate({.white_sd = 0.01}, data.t, data.readings, options);
    ASSERT_TRUE(whole && holed);
    EXPECT_TRUE(std::isfinite(holed->rate[100]));
    EXPECT_GT(holed->rate_se[100], whole->rate_se[100]);
    EXPECT_NEAR(holed->rate[100], whole->rate[100], 4 * holed->rate_se[100]);
    // Leaving the rows out altogether is the same.
    auto t = data.t;
    auto y = data.readings;
    t.erase(t.begin() + 80, t.begin() + 120);
    y.erase(y.begin() + 80, y.begin() + 120);
    const auto shorter = smooth_rate({.white_sd = 0.01}, t, y, options);
    ASSERT_TRUE(shorter);
    EXPECT_NEAR(shorter->rate[79], holed->rate[79], 1e-6 * std::abs(holed->rate[79]));
    EXPECT_NEAR(shorter->rate_se[79], holed->rate_se[79], 1e-4 * holed->rate_se[79]);
}

TEST(SmoothRate, refuses_what_it_cannot_smooth) {
    const std::vector<double> t{0, 1, 2, 3};
    EXPECT_EQ(smooth_rate({.white_sd = 1}, t, t).error().code, ErrorCode::too_few);
    const std::vector<double> back{0, 1, 2, 2, 3, 4};
    EXPECT_EQ(smooth_rate({.white_sd = 1}, back, back).error().code, ErrorCode::out_of_range);
    const std::vector<double> fine{0, 1, 2, 3, 4, 5};
    EXPECT_EQ(smooth_rate({}, fine, fine).error().code, ErrorCode::degenerate);
}

} // namespace
} // namespace backeddy::fit
