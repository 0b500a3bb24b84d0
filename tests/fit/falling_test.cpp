#include "fit/falling.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::fit {
namespace {

double deviation(const std::vector<double>& values, const std::vector<double>& curve) {
    double sum = 0.0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        sum += std::abs(values[i] - curve[i]);
    }
    return sum;
}

// Least sum over all never-rising sequences whose steps are among the values themselves (where the optimum
// lies), by dynamic programming: best[i][v] = |y_i - v| + min over w >= v of best[i - 1][w].
double least_deviation(const std::vector<double>& values) {
    auto levels = values;
    std::sort(levels.begin(), levels.end(), std::greater<>());
    std::vector<double> best(levels.size(), 0.0);
    for (const double value : values) {
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t v = 0; v < levels.size(); ++v) {
            least = std::min(least, best[v]);
            best[v] = least + std::abs(value - levels[v]);
        }
    }
    return *std::min_element(best.begin(), best.end());
}

TEST(FallingMedians, leave_what_falls_and_pool_what_rises) {
    EXPECT_EQ(falling_medians(std::vector<double>{5.0, 4.0, 4.0, 1.0}),
              (std::vector<double>{5.0, 4.0, 4.0, 1.0}));
    EXPECT_EQ(falling_medians(std::vector<double>{9.0, 1.0, 2.0, 3.0}),
              (std::vector<double>{9.0, 2.0, 2.0, 2.0}));
    EXPECT_EQ(falling_medians(std::vector<double>{1.0, 2.0}), (std::vector<double>{1.5, 1.5}));
    EXPECT_TRUE(falling_medians({}).empty());
}

TEST(FallingMedians, a_burst_lifts_nothing_but_itself) {
    const std::vector<double> burst{10.0, 8.0, 7.0, 30.0, 6.5, 6.0, 5.0};
    const auto curve = falling_medians(burst);
    EXPECT_EQ(curve.front(), 10.0);
    EXPECT_EQ(curve.back(), 5.0);
    for (const double level : curve) {
        EXPECT_LE(level, 10.0);
    }
}

TEST(FallingMedians, no_falling_curve_is_nearer) {
    for (std::uint64_t seed = 0; seed < 200; ++seed) {
        Random random(40, seed);
        std::vector<double> values;
        for (int i = 0; i < 25; ++i) {
            values.push_back((20.0 * std::exp(-0.1 * i)) + (3.0 * random.normal()));
        }
        const auto curve = falling_medians(values);
        for (std::size_t i = 1; i < curve.size(); ++i) {
            ASSERT_LE(curve[i], curve[i - 1]);
        }
        EXPECT_NEAR(deviation(values, curve), least_deviation(values), 1e-9) << seed;
    }
}

} // namespace
} // namespace backeddy::fit
