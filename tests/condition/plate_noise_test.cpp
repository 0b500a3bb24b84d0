#include "condition/plate_noise.hpp"

#include <array>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::condition {
namespace {

const std::vector<Replicates> scatter{{0.11, 1.2e-4, 1}, {0.2, 1.8e-4, 1}, {0.35, 9e-5, 2},
                                      {0.6, 6.5e-4, 1},  {0.9, 2.2e-3, 3}, {1.3, 1.1e-3, 1},
                                      {1.8, 5.2e-3, 1},  {2.2, 3.1e-3, 2}};

/// Slope of the log-likelihood by one part: sum f/2 (s^2 - v) x / v^2, written out anew.
double slope_by(const std::vector<Replicates>& groups, const std::array<double, 3>& parts, std::size_t k) {
    double sum = 0.0;
    for (const auto& group : groups) {
        const double m = group.mean;
        const double v = parts[0] + (parts[1] * m) + (parts[2] * m * m);
        const double x = k == 0 ? 1.0 : k == 1 ? m : m * m;
        sum += 0.5 * static_cast<double>(group.freedom) * (group.variance - v) * x / (v * v);
    }
    return sum;
}

std::array<double, 3> parts_of(const ResponseNoise& noise) {
    return {noise.variance.parts.at(0).coefficient, noise.variance.parts.at(1).coefficient,
            noise.variance.parts.at(2).coefficient};
}

TEST(PlateNoise, stands_where_the_likelihood_has_no_slope_or_a_part_is_at_its_bound) {
    // The conditions of Kuhn and Tucker: no slope by a part above 0, none upward by a part at 0.
    const auto noise = fit_response_noise(scatter);
    ASSERT_TRUE(noise) << noise.error().text();
    EXPECT_EQ(noise->freedom, 12U);
    const auto parts = parts_of(*noise);
    constexpr double nothing = 1e-4; // of a logarithm of likelihood: the search stops by the variances
    for (std::size_t k = 0; k < parts.size(); ++k) {
        const double slope = slope_by(scatter, parts, k);
        EXPECT_NEAR(parts[k] * slope, 0.0, nothing) << k;
        const double tenth_of_all = 0.1 * noise->variance.at(0.5);
        EXPECT_LT(slope * (parts[k] > 0.0 ? std::min(parts[k], tenth_of_all) : tenth_of_all), nothing) << k;
    }
}

TEST(PlateNoise, three_means_are_met_exactly) {
    // Closed form: three variances on a sum of three parts are that sum, and the error of each is that of a
    // chi-squared with its freedom, v sqrt(2 / f).
    const std::vector<Replicates> three{
        {0.1, 1e-4 + 2e-4 + 1e-5, 4}, {1.0, 1e-4 + 2e-3 + 1e-3, 6}, {2.0, 1e-4 + 4e-3 + 4e-3, 8}};
    const auto noise = fit_response_noise(three);
    ASSERT_TRUE(noise) << noise.error().text();
    for (const auto& group : three) {
        EXPECT_NEAR(noise->variance.at(group.mean) / group.variance, 1.0, 1e-6);
        EXPECT_NEAR(noise->variance.log_variance_error(group.mean, {0.0, 0.0, 0.0}),
                    2.0 / static_cast<double>(group.freedom), 1e-5);
    }
}

TEST(PlateNoise, a_unit_of_the_response_leaves_the_shape) {
    auto scaled = scatter;
    for (auto& one : scaled) {
        one.mean *= 1e4;
        one.variance *= 1e8;
    }
    const auto noise = fit_response_noise(scatter);
    const auto other = fit_response_noise(scaled);
    ASSERT_TRUE(noise && other);
    for (const double mean : {0.1, 0.7, 2.0}) {
        EXPECT_NEAR(other->variance.at(1e4 * mean) / noise->variance.at(mean) / 1e8, 1.0, 1e-7);
        EXPECT_NEAR(other->variance.log_variance_error(1e4 * mean, {0.0, 0.0, 0.0}),
                    noise->variance.log_variance_error(mean, {0.0, 0.0, 0.0}), 1e-5);
    }
}

TEST(PlateNoise, finds_the_floor_and_the_share_that_were_simulated) {
    Random random(20261129);
    constexpr int runs = 400;
    constexpr std::array means{0.1, 0.6, 2.0};
    std::array<double, 3> found{};
    for (int run = 0; run < runs; ++run) {
        std::vector<Replicates> groups;
        for (int k = 0; k < 60; ++k) {
            const double mean = 0.08 * std::pow(2.2 / 0.08, k / 59.0);
            const double z = random.normal();
            groups.push_back({mean, (1e-4 + (1.6e-3 * mean * mean)) * z * z, 1});
        }
        const auto noise = fit_response_noise(groups);
        ASSERT_TRUE(noise);
        for (std::size_t i = 0; i < means.size(); ++i) {
            found[i] += noise->variance.at(means[i]) / runs;
        }
    }
    for (std::size_t i = 0; i < means.size(); ++i) {
        // A variance of some ten degrees of freedom errs by 45 %, the mean of 400 by 2 %; parts that cannot
        // be below 0 lean a little towards the line between them.
        EXPECT_NEAR(found[i] / (1e-4 + (1.6e-3 * means[i] * means[i])), 1.0, 0.1) << means[i];
    }
}

TEST(PlateNoise, what_cannot_tell_is_refused) {
    EXPECT_EQ(fit_response_noise(std::vector<Replicates>{{1.0, 0.1, 1}, {2.0, 0.1, 1}}).error().code,
              ErrorCode::too_few);
    const std::vector<Replicates> two_means{{1.0, 0.1, 1}, {1.0, 0.2, 1}, {2.0, 0.1, 1}};
    EXPECT_EQ(fit_response_noise(two_means).error().code, ErrorCode::degenerate);
    const std::vector<Replicates> still{{1.0, 0.0, 1}, {2.0, 0.0, 1}, {3.0, 0.0, 1}};
    EXPECT_EQ(fit_response_noise(still).error().code, ErrorCode::degenerate);
    const std::vector<Replicates> below{{1.0, 0.1, 1}, {-2.0, 0.1, 1}, {3.0, 0.1, 1}};
    EXPECT_EQ(fit_response_noise(below).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::condition
