// Sources: NIST StRD (tests/reference/nist); R 4.2.2 with sandwich 3.0-2 (reference/stats 01); Anscombe 1973,
// Am Stat 27:17; long-double sums.

#include "fit/line.hpp"

#include <cmath>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;

long double exact_slope(const std::vector<double>& x, const std::vector<double>& y) {
    long double mx = 0;
    long double my = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        mx += x[i];
        my += y[i];
    }
    mx /= static_cast<long double>(x.size());
    my /= static_cast<long double>(x.size());
    long double sxx = 0;
    long double sxy = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        sxx += (x[i] - mx) * (x[i] - mx);
        sxy += (x[i] - mx) * (y[i] - my);
    }
    return sxy / sxx;
}

TEST(Line, agrees_with_nists_certified_norris) {
    const auto set = support::nist_sets().at("Norris");
    const auto table = support::read_table(support::nist_folder() / "nist_Norris.csv");
    const auto x = table.numbers("x");
    const auto line = fit_line(x, table.numbers("y"));
    ASSERT_TRUE(line) << line.error().text();
    EXPECT_TRUE(agrees(line->slope, set["coef"]["b1"], 1e-12, 0, "slope"));
    EXPECT_TRUE(agrees(line->at(0.0), set["coef"]["b0"], 1e-10, set["se"]["b0"], "intercept"));
    EXPECT_TRUE(agrees(line->slope_se, set["se"]["b1"], 1e-11, 0, "slope_se"));
    EXPECT_TRUE(agrees(line->residual_sd, set["residual_sd"], 1e-11, 0, "residual_sd"));
    EXPECT_TRUE(agrees(line->r_squared, set["r2"], 1e-12, 0, "r_squared"));
}

TEST(Line, agrees_with_anscombes_quartet) {
    const std::vector<double> x{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5};
    const std::vector<double> y{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68};
    const auto line = fit_line(x, y);
    ASSERT_TRUE(line);
    EXPECT_NEAR(line->slope, 0.5000909, 1e-7);
    EXPECT_NEAR(line->slope_se, 0.1179055, 1e-7);
    EXPECT_NEAR(line->level, 7.500909, 1e-6);
}

TEST(Line, agrees_with_r_on_lines_and_their_newey_west_errors) {
    const auto cases = support::reference_cases("stats/01_regression.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    struct Set {
        const char* id;
        const char* x;
        const char* y;
    };
    for (const Set& set : {Set{"ols_cars", "speed", "dist"}, Set{"ols_lakehuron", "year", "level"},
                           Set{"ols_trace", "t_s", "o2"}}) {
        const auto& one = support::case_of(*cases, set.id);
        const auto table = support::data_of(one);
        const auto x = table.numbers(set.x);
        const auto y = table.numbers(set.y);
        const auto line = fit_line(x, y);
        ASSERT_TRUE(line);
        const std::string name = set.x;
        support::expect_agrees(one, "/estimate/" + name, line->slope, line->slope_se);
        support::expect_agrees(one, "/se/" + name, line->slope_se);
        support::expect_agrees(one, "/sigma", line->residual_sd);
        support::expect_agrees(one, "/rss", line->residual_squares);
        support::expect_agrees(one, "/r2", line->r_squared);
        if (!one["expected"].contains("newey_west")) {
            continue;
        }
        for (std::size_t k = 0; k < one["expected"]["newey_west"].size(); ++k) {
            const auto& row = one["expected"]["newey_west"][k];
            support::expect_agrees(one, "/newey_west/" + std::to_string(k) + "/se/" + name,
                                   newey_west_slope_se(*line, x, y, row["lag"].get<std::size_t>()));
        }
    }
}

TEST(Line, is_within_1e_12_of_long_double_sums_however_far_the_origin) {
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        Random random(seed);
        const std::size_t n = 3 + random.below(3000);
        const double origin = std::pow(10.0, static_cast<double>(random.below(8))) * random.uniform();
        const double level = 5.0 + (10.0 * random.uniform());
        const double slope = -std::pow(10.0, -2.0 - (4.0 * random.uniform()));
        const double noise = std::pow(10.0, -1.0 - (4.0 * random.uniform()));
        std::vector<double> x(n);
        std::vector<double> y(n);
        for (std::size_t i = 0; i < n; ++i) {
            x[i] = origin + static_cast<double>(i) + (0.1 * random.uniform());
            y[i] = level + (slope * (x[i] - origin)) + (noise * random.normal());
        }
        const auto line = fit_line(x, y);
        ASSERT_TRUE(line);
        const double want = static_cast<double>(exact_slope(x, y));
        EXPECT_TRUE(agrees(line->slope, want, 1e-12, line->slope_se, "seed " + std::to_string(seed)));
    }
}

TEST(Line, shifts_and_scales_as_its_data) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        Random random(seed, 7);
        std::vector<double> x(50);
        std::vector<double> y(50);
        std::vector<double> far(50);
        std::vector<double> tall(50);
        const double shift = 1e4 * random.normal();
        const double stretch = std::exp(4.0 * random.normal());
        for (std::size_t i = 0; i < 50; ++i) {
            x[i] = random.uniform();
            y[i] = random.normal() + x[i];
            far[i] = (stretch * x[i]) + shift;
            tall[i] = (-3.0 * y[i]) + 11.0;
        }
        const auto plain = fit_line(x, y);
        const auto moved = fit_line(far, tall);
        ASSERT_TRUE(plain && moved);
        const auto tolerance = 1e-10 * (1.0 + (std::abs(shift) / stretch));
        EXPECT_TRUE(agrees(moved->slope * stretch, -3.0 * plain->slope, tolerance, 1, "slope"));
        EXPECT_TRUE(agrees(moved->slope_se * stretch, 3.0 * plain->slope_se, tolerance, 1, "slope_se"));
        EXPECT_TRUE(agrees(moved->r_squared, plain->r_squared, tolerance, 1, "r_squared"));
    }
}

TEST(Line, refuses_what_cannot_be_fitted) {
    const std::vector<double> one{1.0};
    const std::vector<double> same{2.0, 2.0, 2.0};
    const std::vector<double> up{1.0, 2.0, 3.0};
    const std::vector<double> holed{1.0, std::nan(""), 3.0};
    EXPECT_EQ(fit_line(one, one).error().code, ErrorCode::too_few);
    EXPECT_EQ(fit_line(same, up).error().code, ErrorCode::degenerate);
    EXPECT_EQ(fit_line(up, holed).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(fit_line(up, one).error().code, ErrorCode::out_of_range);
    EXPECT_THAT(fit_line(same, up).error().text(), ::testing::HasSubstr("all at x = 2"));
}

TEST(Line, through_two_points_has_no_error_to_give) {
    const auto line = fit_line(std::vector<double>{1.0, 3.0}, std::vector<double>{5.0, 1.0});
    ASSERT_TRUE(line);
    EXPECT_DOUBLE_EQ(line->slope, -2.0);
    EXPECT_DOUBLE_EQ(line->slope_se, 0.0);
}

TEST(Line, flat_readings_have_slope_and_r_squared_zero) {
    const auto line = fit_line(std::vector<double>{1, 2, 3, 4}, std::vector<double>{7, 7, 7, 7});
    ASSERT_TRUE(line);
    EXPECT_EQ(line->slope, 0.0);
    EXPECT_EQ(line->r_squared, 0.0);
}

TEST(NeweyWest, automatic_lag_follows_the_rule_of_thumb) {
    EXPECT_EQ(newey_west_lag(100), 4U); // 4 (100/100)^(2/9)
    EXPECT_EQ(newey_west_lag(60), 3U);  // 3.57
    EXPECT_EQ(newey_west_lag(300), 5U); // 5.11
}

TEST(Curvature, of_an_exact_parabola_is_the_change_of_its_derivative) {
    std::vector<double> x;
    std::vector<double> y;
    for (int i = 0; i < 30; ++i) {
        x.push_back((i * 2.0) + (0.3 * std::sin(i)));
        y.push_back(4.0 - (0.5 * x.back()) + (0.003 * x.back() * x.back()));
    }
    const auto line = fit_line(x, y);
    ASSERT_TRUE(line);
    const auto bend = curvature(*line, x, y);
    ASSERT_TRUE(bend);
    EXPECT_NEAR(bend->bend, 0.003, 1e-14);
    EXPECT_NEAR(bend->change, 2 * 0.003 * (x.back() - x.front()), 1e-12);
    EXPECT_NEAR(bend->share, bend->change / line->slope, 1e-12);
    EXPECT_NEAR(bend->share_se, 0.0, 1e-11);
}

TEST(Curvature, agrees_with_nists_certified_quadratic_pontius) {
    const auto set = support::nist_sets().at("Pontius");
    const auto table = support::read_table(support::nist_folder() / "nist_Pontius.csv");
    const auto x = table.numbers("x");
    const auto y = table.numbers("y");
    const auto line = fit_line(x, y);
    ASSERT_TRUE(line);
    const auto bend = curvature(*line, x, y);
    ASSERT_TRUE(bend);
    EXPECT_TRUE(agrees(bend->bend, set["coef"]["b2"], 1e-10, 0, "bend"));
    EXPECT_TRUE(agrees(bend->bend_se, set["se"]["b2"], 1e-10, 0, "bend_se"));
}

TEST(Curvature, interval_of_the_share_covers_the_truth) {
    // 95 % intervals over 2,000 seeds: binomial limits at five sigma are 92.6 to 97.4 %.
    int covered = 0;
    const int runs = 2000;
    for (int run = 0; run < runs; ++run) {
        Random random(11, static_cast<std::uint64_t>(run));
        std::vector<double> x;
        std::vector<double> y;
        for (int i = 0; i < 60; ++i) {
            const double t = i / 59.0;
            x.push_back(t);
            y.push_back(9.0 - (1.0 * t) + (0.1 * t * t) + (0.02 * random.normal()));
        }
        const auto line = fit_line(x, y);
        const auto bend = curvature(*line, x, y);
        ASSERT_TRUE(bend);
        // The least-squares slope of the truth is -0.9, its slope changes by 0.2.
        covered += std::abs(bend->share - (0.2 / -0.9)) < 2.00 * bend->share_se ? 1 : 0;
    }
    EXPECT_GT(covered, 0.926 * runs);
    EXPECT_LT(covered, 0.974 * runs);
}

TEST(Curvature, needs_three_distinct_x) {
    const std::vector<double> x{1, 1, 2, 2};
    const std::vector<double> y{1, 2, 3, 4};
    const auto line = fit_line(x, y);
    ASSERT_TRUE(line);
    EXPECT_EQ(curvature(*line, x, y).error().code, ErrorCode::degenerate);
    EXPECT_TRUE(bend_weights(*line, x).empty());
}

TEST(Weights, give_slope_and_bend_as_sums) {
    Random random(3);
    std::vector<double> x;
    std::vector<double> y;
    for (int i = 0; i < 25; ++i) {
        x.push_back(10.0 * random.uniform());
        y.push_back(random.normal());
    }
    const auto line = fit_line(x, y);
    const auto bend = curvature(*line, x, y);
    ASSERT_TRUE(bend);
    double slope = 0;
    double curve = 0;
    const auto c = slope_weights(*line, x);
    const auto q = bend_weights(*line, x);
    for (std::size_t i = 0; i < x.size(); ++i) {
        slope += c[i] * y[i];
        curve += q[i] * y[i];
    }
    EXPECT_NEAR(slope, line->slope, 1e-13);
    EXPECT_NEAR(curve, bend->bend, 1e-13);
}

} // namespace
} // namespace backeddy::fit
