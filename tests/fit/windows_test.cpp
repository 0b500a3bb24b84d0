// Sources: R 4.2.2, lm() on every window by brute force (reference/stats 02); long-double sums.

#include "fit/windows.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numeric>
#include <string>
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

struct InLongDouble {
    long double slope = 0;
    long double scale = 0; ///< sd(y) / sd(x)
};

InLongDouble in_long_double(const std::vector<double>& x, const std::vector<double>& y, std::size_t first,
                            std::size_t end) {
    const auto n = static_cast<long double>(end - first);
    long double mx = 0;
    long double my = 0;
    for (std::size_t i = first; i < end; ++i) {
        mx += x[i];
        my += y[i];
    }
    mx /= n;
    my /= n;
    long double sxx = 0;
    long double sxy = 0;
    long double syy = 0;
    for (std::size_t i = first; i < end; ++i) {
        sxx += (x[i] - mx) * (x[i] - mx);
        sxy += (x[i] - mx) * (y[i] - my);
        syy += (y[i] - my) * (y[i] - my);
    }
    return {.slope = sxy / sxx, .scale = std::sqrt(syy / sxx)};
}

enum class Times : std::uint8_t { even, jittered, with_gaps, repeated };

struct Spell {
    std::vector<double> x;
    std::vector<double> y;
};

Spell noisy_spell(Times times, Random& random, std::size_t n) {
    const double origin = 1e6 * random.uniform();
    const double slope = -std::pow(10.0, -1.0 - (3.0 * random.uniform()));
    const double noise = std::pow(10.0, -1.0 - (3.0 * random.uniform()));
    Spell out{.x = std::vector<double>(n), .y = std::vector<double>(n)};
    double now = origin;
    for (std::size_t i = 0; i < n; ++i) {
        const double step = times == Times::jittered    ? 0.9 + (0.2 * random.uniform())
                            : times == Times::with_gaps ? (random.below(5) == 0 ? random.exponential() : 1.0)
                            : times == Times::repeated  ? static_cast<double>(random.below(2))
                                                        : 1.0;
        now += step;
        out.x[i] = now;
        out.y[i] = 100.0 + (slope * (now - origin)) + (noise * random.normal());
    }
    return out;
}

constexpr std::array all_times{Times::even, Times::jittered, Times::with_gaps, Times::repeated};

TEST(Windows, are_within_1e_12_of_long_double_sums_far_from_any_origin) {
    for (std::uint64_t seed = 1; seed <= 32; ++seed) {
        Random random(seed);
        const auto [x, y] = noisy_spell(all_times.at(seed % 4), random, 2000);
        const auto all = sliding_lines(x, y, {.length = 20.0 + (300.0 * random.uniform())});
        ASSERT_TRUE(all);
        for (const auto& w : *all) {
            const auto exact = in_long_double(x, y, w.first, w.end);
            ASSERT_TRUE(agrees(w.slope, static_cast<double>(exact.slope), 1e-12,
                               static_cast<double>(exact.scale), "seed " + std::to_string(seed)));
        }
    }
}

// The search's own sums and its comparison without a division, against every window by brute force: windows
// are those of the header's sentence, the steepest of them that of the long-double slopes.
TEST(Windows, the_steepest_is_that_of_all_long_double_slopes) {
    std::size_t checked = 0;
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        Random random(seed);
        const auto [x, y] = noisy_spell(all_times.at(seed % 4), random, 100 + random.below(500));
        const WindowOptions options{.length = 5.0 + std::floor(60.0 * random.uniform()),
                                    .least_readings = 3 + random.below(4)};
        for (const auto direction : {Steepest::falling, Steepest::rising}) {
            std::size_t best_first = 0;
            std::size_t best_end = 0;
            long double best = 0;
            for (std::size_t first = 0; first < x.size() && x[first] + options.length <= x.back(); ++first) {
                std::size_t end = first;
                while (end < x.size() && x[end] <= x[first] + options.length) {
                    ++end;
                }
                if (end - first < options.least_readings || x[end - 1] <= x[first]) {
                    continue;
                }
                const long double slope = in_long_double(x, y, first, end).slope;
                if (best_end == 0 || (direction == Steepest::falling ? slope < best : slope > best)) {
                    best = slope;
                    best_first = first;
                    best_end = end;
                }
            }
            const auto found = steepest_window(x, y, options, direction);
            ASSERT_EQ(found.has_value(), best_end > 0) << seed;
            if (!found) {
                continue;
            }
            EXPECT_EQ(found->first, best_first) << seed;
            EXPECT_EQ(found->end, best_end) << seed;
            const auto exact = in_long_double(x, y, best_first, best_end);
            EXPECT_TRUE(agrees(found->slope, static_cast<double>(exact.slope), 1e-12,
                               static_cast<double>(exact.scale), "seed " + std::to_string(seed)));
            ++checked;
        }
    }
    EXPECT_GE(checked, 100U);
}

TEST(Windows, the_steepest_of_equals_is_the_first) {
    const std::vector<double> x{0, 1, 2, 3, 4, 5, 6, 7, 8};
    const std::vector<double> y{4, 2, 0, 2, 4, 2, 0, 2, 4}; // falls and rises by 2 twice each
    const auto falling = steepest_window(x, y, {.length = 2.0}, Steepest::falling);
    const auto rising = steepest_window(x, y, {.length = 2.0}, Steepest::rising);
    ASSERT_TRUE(falling && rising);
    EXPECT_EQ(falling->first, 0U);
    EXPECT_EQ(falling->slope, -2.0);
    EXPECT_EQ(rising->first, 2U);
    EXPECT_EQ(rising->slope, 2.0);
    const auto level = steepest_window(x, std::vector<double>(9, 3.0), {.length = 2.0}, Steepest::falling);
    ASSERT_TRUE(level);
    EXPECT_EQ(level->first, 0U);
    EXPECT_EQ(level->slope, 0.0);
}

TEST(Windows, name_the_reading_that_is_not_finite_or_runs_backward_wherever_it_stands) {
    for (const std::size_t n : {3U, 4U, 7U, 8U}) {
        for (std::size_t bad = 0; bad < n; ++bad) {
            std::vector<double> x(n);
            std::iota(x.begin(), x.end(), 0.0);
            const std::string place = "at reading " + std::to_string(bad + 1);
            for (const double value :
                 {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity(),
                  -std::numeric_limits<double>::infinity()}) {
                auto with = x;
                with[bad] = value;
                for (const auto& answer : {steepest_window(x, with, {.length = 2.0}, Steepest::falling),
                                           steepest_window(with, x, {.length = 2.0}, Steepest::falling)}) {
                    ASSERT_FALSE(answer) << n << " " << bad << " " << value;
                    EXPECT_EQ(answer.error().code, ErrorCode::out_of_range);
                    EXPECT_NE(answer.error().text().find(place), std::string::npos) << answer.error().text();
                }
            }
            if (bad > 0) {
                auto backward = x;
                backward[bad] = x[bad - 1] - 0.5;
                const auto answer = steepest_window(backward, x, {.length = 2.0}, Steepest::falling);
                ASSERT_FALSE(answer) << n << " " << bad;
                EXPECT_NE(answer.error().text().find(place), std::string::npos) << answer.error().text();
            }
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
