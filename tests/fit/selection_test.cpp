// Sources: expected largest normal order statistics (Tippett 1925, Biometrika 17:364), as tabulated;
// independent windows.

#include "fit/selection.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace backeddy::fit {
namespace {

TEST(ExpectedLargestNormal, agrees_with_the_tables) {
    EXPECT_EQ(expected_largest_normal(1), 0.0);
    EXPECT_NEAR(expected_largest_normal(2), 0.5641895835, 1e-9); // 1 / sqrt(pi)
    EXPECT_NEAR(expected_largest_normal(3), 0.8462843753, 1e-9); // 3 / (2 sqrt(pi))
    EXPECT_NEAR(expected_largest_normal(5), 1.16296447, 1e-8);
    EXPECT_NEAR(expected_largest_normal(10), 1.53875273, 1e-8);
    EXPECT_NEAR(expected_largest_normal(60), 2.32, 0.005);
    EXPECT_NEAR(expected_largest_normal(1000), 3.24144, 1e-5);
}

/// m clusters of readings so far apart that each window can only hold one of them.
std::vector<double> clusters(std::size_t m) {
    std::vector<double> t;
    for (std::size_t k = 0; k < m; ++k) {
        for (int i = 0; i <= 10; ++i) {
            t.push_back((1000.0 * static_cast<double>(k)) + i);
        }
    }
    return t;
}

TEST(SelectionBias, of_independent_windows_is_the_expected_largest_normal) {
    for (const std::size_t m : {std::size_t{2}, std::size_t{5}, std::size_t{10}, std::size_t{60}}) {
        const auto t = clusters(m);
        const auto out = selection_bias({.white_sd = 0.01}, t, {.length = 10, .least_readings = 11},
                                        {.runs = 4000, .seed = 3});
        ASSERT_TRUE(out) << out.error().text();
        EXPECT_EQ(out->windows, m);
        // Four standard errors of the simulation.
        EXPECT_NEAR(out->in_standard_errors, expected_largest_normal(m), 4 * out->bias_se / out->window_se)
            << m;
        EXPECT_LT(out->bias_se / out->window_se, 0.02);
    }
}

TEST(SelectionBias, of_sliding_windows_lies_between_that_of_one_and_that_of_all_apart) {
    std::vector<double> t;
    for (int i = 0; i <= 600; ++i) {
        t.push_back(i);
    }
    const auto noise = NoiseModel{.white_sd = 0.005, .coloured_sd = 0.01, .correlation_time = 15};
    const auto out = selection_bias(noise, t, {.length = 60}, {.runs = 300});
    ASSERT_TRUE(out);
    EXPECT_EQ(out->windows, 541U);
    EXPECT_GT(out->in_standard_errors, expected_largest_normal(10)); // ten apart, and what lies between them
    EXPECT_LT(out->in_standard_errors, expected_largest_normal(541));
    EXPECT_GT(out->spread, 0.2 * out->window_se);
    EXPECT_LT(out->spread, out->window_se);
}

TEST(SelectionBias, is_the_same_for_any_number_of_threads_and_grows_with_the_noise) {
    const auto t = clusters(5);
    SelectionOptions options{.runs = 100, .seed = 9};
    options.threads.count = 1;
    const auto one = selection_bias({.white_sd = 0.01}, t, {.length = 10}, options);
    options.threads.count = 3;
    const auto three = selection_bias({.white_sd = 0.01}, t, {.length = 10}, options);
    const auto twice = selection_bias({.white_sd = 0.02}, t, {.length = 10}, options);
    ASSERT_TRUE(one && three && twice);
    EXPECT_EQ(one->bias, three->bias);
    EXPECT_EQ(one->spread, three->spread);
    EXPECT_NEAR(twice->bias, 2 * one->bias, 1e-12 * one->bias);
    EXPECT_EQ(selection_bias({}, t, {.length = 10}, options)->bias, 0.0);
}

TEST(SelectionBias, refuses_a_spell_without_a_window) {
    const auto t = clusters(1);
    EXPECT_EQ(selection_bias({.white_sd = 1}, t, {.length = 100}).error().code, ErrorCode::too_few);
    EXPECT_EQ(selection_bias({.white_sd = 1}, t, {.length = 5}, {.runs = 1}).error().code,
              ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::fit
