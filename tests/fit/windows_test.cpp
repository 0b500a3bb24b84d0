// Sources: R 4.2.2, lm() on every window by brute force (reference/stats 02); long-double sums.

#include "fit/windows.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;

TEST(Windows, agree_with_r_on_every_window_by_time) {
    const auto cases = support::reference_cases("stats/02_rolling.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    std::size_t checked = 0;
    for (const auto* id : {"roll_bend", "roll_irregular"}) {
        const auto& one = support::case_of(*cases, id);
        const auto table = support::data_of(one);
        const auto x = table.numbers("t_s");
        const auto y = table.numbers("o2");
        for (std::size_t k = 0; k < one["expected"]["by_time"].size(); ++k) {
            const auto& row = one["expected"]["by_time"][k];
            const WindowOptions options{.length = row["width_time"].get<double>(), .least_readings = 3};
            const auto all = sliding_lines(x, y, options);
            ASSERT_TRUE(all) << all.error().text();
            EXPECT_EQ(all->size(), row["windows"].get<std::size_t>()) << id << " " << options.length;
            const auto falling = steepest_window(x, y, options, Steepest::falling);
            const auto rising = steepest_window(x, y, options, Steepest::rising);
            ASSERT_TRUE(falling && rising);
            const auto compare = [&](const WindowLine& got, const std::string& which) {
                const std::string at = "/by_time/" + std::to_string(k) + "/" + which;
                EXPECT_EQ(got.first + 1, row[which]["first_row"].get<std::size_t>()) << id << at;
                EXPECT_EQ(got.end, row[which]["last_row"].get<std::size_t>()) << id << at;
                support::expect_agrees(one, at + "/slope", got.slope, got.slope_se);
                support::expect_agrees(one, at + "/se", got.slope_se);
                support::expect_agrees(one, at + "/r2", got.r_squared);
                support::expect_agrees(one, at + "/intercept", got.level - (got.slope * got.x_mean),
                                       got.slope_se);
                ++checked;
            };
            compare(*falling, "most_negative");
            compare(*rising, "most_positive");
        }
    }
    EXPECT_GE(checked, 8U);
}

TEST(Windows, agree_with_r_on_every_window_by_rows) {
    const auto cases = support::reference_cases("stats/02_rolling.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "roll_lakehuron");
    const auto table = support::data_of(one);
    const auto x = table.numbers("year"); // yearly, so that w rows are w - 1 years
    const auto y = table.numbers("level");
    for (const auto& row : one["expected"]["by_rows"]) {
        const auto width = row["width_rows"].get<std::size_t>();
        const auto all = sliding_lines(x, y, {.length = static_cast<double>(width - 1)});
        ASSERT_TRUE(all);
        EXPECT_EQ(all->size(), row["windows"].get<std::size_t>());
        if (!row.contains("all_slopes")) {
            continue;
        }
        for (std::size_t i = 0; i < all->size(); ++i) {
            EXPECT_TRUE(agrees((*all)[i].slope, row["all_slopes"][i], 1e-9, (*all)[i].slope_se, "slope"));
            EXPECT_TRUE(agrees((*all)[i].r_squared, row["all_r2"][i], 1e-9, 1e-6, "r2"));
        }
    }
}

TEST(Windows, are_within_1e_12_of_long_double_sums_far_from_any_origin) {
    for (std::uint64_t seed = 1; seed <= 25; ++seed) {
        Random random(seed);
        const double origin = 1e6 * random.uniform();
        const double slope = -std::pow(10.0, -1.0 - (3.0 * random.uniform()));
        const double noise = std::pow(10.0, -1.0 - (3.0 * random.uniform()));
        std::vector<double> x(2000);
        std::vector<double> y(2000);
        double now = origin;
        for (std::size_t i = 0; i < x.size(); ++i) {
            now += random.below(5) == 0 ? random.exponential() : 1.0;
            x[i] = now;
            y[i] = 100.0 + (slope * (now - origin)) + (noise * random.normal());
        }
        const auto all = sliding_lines(x, y, {.length = 20.0 + (300.0 * random.uniform())});
        ASSERT_TRUE(all);
        for (const auto& w : *all) {
            long double mx = 0;
            long double my = 0;
            for (std::size_t i = w.first; i < w.end; ++i) {
                mx += x[i];
                my += y[i];
            }
            mx /= static_cast<long double>(w.n());
            my /= static_cast<long double>(w.n());
            long double sxx = 0;
            long double sxy = 0;
            long double syy = 0;
            for (std::size_t i = w.first; i < w.end; ++i) {
                sxx += (x[i] - mx) * (x[i] - mx);
                sxy += (x[i] - mx) * (y[i] - my);
                syy += (y[i] - my) * (y[i] - my);
            }
            ASSERT_TRUE(agrees(w.slope, static_cast<double>(sxy / sxx), 1e-12,
                               static_cast<double>(std::sqrt(syy / sxx)), "seed " + std::to_string(seed)));
        }
    }
}

TEST(Windows, hold_a_whole_length_though_times_are_no_round_numbers_in_binary) {
    std::vector<double> x(700);
    for (std::size_t i = 0; i < x.size(); ++i) {
        x[i] = 0.1 * static_cast<double>(i);
    }
    const auto all = sliding_lines(x, x, {.length = 6.0});
    ASSERT_TRUE(all);
    EXPECT_EQ(all->size(), 640U);
    for (const auto& w : *all) {
        EXPECT_EQ(w.n(), 61U);
        EXPECT_NEAR(w.slope, 1.0, 1e-12);
    }
}

TEST(Windows, refuse_a_spell_that_is_too_short_and_readings_that_run_backward) {
    const std::vector<double> x{0, 1, 2, 3};
    EXPECT_EQ(sliding_lines(x, x, {.length = 3.5}).error().code, ErrorCode::too_few);
    EXPECT_EQ(sliding_lines(x, x, {.length = 3.0, .least_readings = 5}).error().code, ErrorCode::too_few);
    EXPECT_EQ(sliding_lines({}, {}, {.length = 3.0}).error().code, ErrorCode::too_few);
    EXPECT_EQ(sliding_lines(std::vector<double>{0, 2, 1}, std::vector<double>{0, 0, 0}, {.length = 1.0})
                  .error()
                  .code,
              ErrorCode::out_of_range);
    EXPECT_TRUE(sliding_lines(x, x, {.length = 3.0}));
}

TEST(Windows, pass_over_those_with_too_few_readings_beside_a_gap) {
    const std::vector<double> x{0, 1, 2, 3, 20, 21, 22, 23};
    const auto all = sliding_lines(x, x, {.length = 3.0, .least_readings = 3});
    ASSERT_TRUE(all);
    ASSERT_EQ(all->size(), 3U); // from 0 (four readings), from 1 (three), from 20 (four)
    EXPECT_EQ((*all)[0].first, 0U);
    EXPECT_EQ((*all)[1].first, 1U);
    EXPECT_EQ((*all)[2].first, 4U);
}

} // namespace
} // namespace backeddy::fit
