#include "chamber/sensor.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace backeddy::chamber {
namespace {

TEST(Sensor, its_coloured_noise_has_the_spread_and_memory_asked_for) {
    // First-order autoregression: sd s, correlation e^(-lag / tau) (Box, Jenkins and Reinsel 1994, ch. 3).
    const Sensor sensor{.coloured_sd_mg_per_l = 0.02, .coloured_time_s = 15};
    Reader reader(sensor, Random(5));
    std::vector<double> noise;
    constexpr int n = 400000;
    for (int i = 0; i < n; ++i) {
        noise.push_back(reader.read(i, 9.0) - 9.0);
    }
    double variance = 0.0;
    double neighbours = 0.0;
    for (int i = 0; i + 10 < n; ++i) {
        variance += noise[i] * noise[i] / (n - 10);
        neighbours += noise[i] * noise[i + 10] / (n - 10);
    }
    // About n / (2 * 15) independent values: sd of the variance's estimate about 1.2 %.
    EXPECT_NEAR(std::sqrt(variance), 0.02, 0.02 * 0.03);
    EXPECT_NEAR(neighbours / variance, std::exp(-10.0 / 15.0), 0.03);
}

TEST(Sensor, white_noise_has_no_memory) {
    Reader reader(Sensor{.white_sd_mg_per_l = 0.01}, Random(6));
    double product = 0.0;
    double variance = 0.0;
    double last = 0.0;
    constexpr int n = 100000;
    for (int i = 0; i < n; ++i) {
        const double noise = reader.read(i, 8.0) - 8.0;
        product += noise * last / n;
        variance += noise * noise / n;
        last = noise;
    }
    EXPECT_NEAR(std::sqrt(variance), 0.01, 0.01 * 4 / std::sqrt(2.0 * n));
    EXPECT_NEAR(product / variance, 0.0, 4 / std::sqrt(n));
}

TEST(Sensor, gain_offset_and_drift_are_what_they_say) {
    const Sensor sensor{.gain = 1.02, .offset_mg_per_l = -0.1, .gain_drift_per_day = 0.004, .since_s = 86400};
    EXPECT_NEAR(sensor.systematic(86400, 10), 10.1, 1e-12);
    EXPECT_NEAR(sensor.systematic(3 * 86400, 10), 10.18, 1e-12);
}

TEST(Sensor, a_display_shows_whole_steps) {
    Reader reader(Sensor{.quantum_mg_per_l = 0.01}, Random(1));
    EXPECT_NEAR(reader.read(0, 8.1249), 8.12, 1e-12);
    EXPECT_NEAR(reader.read(1, 8.1251), 8.13, 1e-12);
}

TEST(Sensor, the_same_seed_reads_the_same_bits) {
    Reader a(Sensor{.white_sd_mg_per_l = 0.01, .coloured_sd_mg_per_l = 0.01}, Random(9, 2));
    Reader b(Sensor{.white_sd_mg_per_l = 0.01, .coloured_sd_mg_per_l = 0.01}, Random(9, 2));
    for (int i = 0; i < 100; ++i) {
        EXPECT_EQ(a.read(i, 7.0), b.read(i, 7.0));
    }
}

} // namespace
} // namespace backeddy::chamber
