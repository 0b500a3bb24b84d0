#include "condition/plate_noise.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::condition {
namespace {

const std::vector<Replicates> scatter{{0.11, 1.2e-4, 1}, {0.2, 1.8e-4, 1}, {0.35, 9e-5, 2},
                                      {0.6, 6.5e-4, 1},  {0.9, 2.2e-3, 3}, {1.3, 1.1e-3, 1},
                                      {1.8, 5.2e-3, 1},  {2.2, 3.1e-3, 2}};

TEST(PlateNoise, agrees_with_rs_gamma_regression) {
    // R 4.2.2: glm(variance ~ log(mean), Gamma(link = "log"), weights = freedom); error by
    // summary(dispersion = 2), chi-squared over its freedom having twice the square of its mean as variance.
    const auto noise = fit_variance_power(scatter);
    ASSERT_TRUE(noise) << noise.error().text();
    EXPECT_NEAR(noise->power, 1.35303962452007, 1e-9);
    EXPECT_NEAR(noise->scale, 0.0396574259662348, 1e-11);
    EXPECT_NEAR(noise->power_se, 0.445744054008619, 1e-9);
    EXPECT_EQ(noise->freedom, 12U);
    EXPECT_NEAR(noise->sd(4.0), 0.0396574259662348 * std::pow(4.0, 1.35303962452007 / 2.0), 1e-9);
}

TEST(PlateNoise, a_unit_of_the_response_leaves_the_power) {
    auto scaled = scatter;
    for (auto& one : scaled) {
        one.mean *= 1e4;
        one.variance *= 1e8;
    }
    EXPECT_NEAR(fit_variance_power(scaled)->power, fit_variance_power(scatter)->power, 1e-9);
}

TEST(PlateNoise, finds_the_power_that_was_simulated) {
    Random random(20261129);
    double sum = 0.0;
    double squares = 0.0;
    constexpr int runs = 400;
    for (int run = 0; run < runs; ++run) {
        std::vector<Replicates> groups;
        for (int k = 0; k < 36; ++k) {
            const double mean = std::exp(3.0 * (random.uniform() - 0.5));
            const double z = random.normal();
            groups.push_back({mean, 0.0025 * std::pow(mean, 1.6) * z * z, 1});
        }
        const double power = fit_variance_power(groups)->power;
        sum += power;
        squares += (power - 1.6) * (power - 1.6);
    }
    // Its error is about sqrt(2 / (36 * 3^2 / 12)) = 0.27, that of the mean of 400 a twentieth of it.
    EXPECT_NEAR(sum / runs, 1.6, 4.0 * 0.27 / 20.0);
    EXPECT_NEAR(std::sqrt(squares / runs), 0.27, 0.05);
}

TEST(PlateNoise, what_cannot_tell_is_refused) {
    EXPECT_EQ(fit_variance_power(std::vector<Replicates>{{1.0, 0.1, 1}, {2.0, 0.1, 1}}).error().code,
              ErrorCode::too_few);
    const std::vector<Replicates> one_mean(5, {1.0, 0.1, 1});
    EXPECT_EQ(fit_variance_power(one_mean).error().code, ErrorCode::degenerate);
    const std::vector<Replicates> still{{1.0, 0.0, 1}, {2.0, 0.0, 1}, {3.0, 0.0, 1}};
    EXPECT_EQ(fit_variance_power(still).error().code, ErrorCode::degenerate);
    const std::vector<Replicates> one_moves{{1.0, 0.0, 1}, {2.0, 0.1, 1}, {3.0, 0.0, 1}};
    EXPECT_EQ(fit_variance_power(one_moves).error().code, ErrorCode::degenerate);
    const std::vector<Replicates> below{{1.0, 0.1, 1}, {-2.0, 0.1, 1}, {3.0, 0.1, 1}};
    EXPECT_EQ(fit_variance_power(below).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::condition
