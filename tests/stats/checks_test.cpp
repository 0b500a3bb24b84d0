// Sources: Blom's positions (1958) and the beta distribution of order statistics by hand; R 4.2.2 rstandard.

#include "stats/checks.hpp"

#include <cmath>
#include <span>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::stats {
namespace {

TEST(Quantiles, stand_where_a_normal_sample_would) {
    const std::vector<double> values{3.0, -1.0, 0.5};
    const std::vector<std::string> labels{"a", "b", "c"};
    const auto points = normal_quantile_points(values, labels);
    ASSERT_EQ(points.size(), 3U);
    EXPECT_EQ(points[0].label, "b");
    EXPECT_EQ(points[2].value, 3.0);
    // Positions 0.625 / 3.25, 1.625 / 3.25, 2.625 / 3.25; R: qnorm(0.625 / 3.25) = -0.869423773288888
    EXPECT_NEAR(points[0].normal, -0.869423773288888, 1e-12);
    EXPECT_NEAR(points[1].normal, 0.0, 1e-12);
    // The smallest of three is below p with probability 1 - (1 - p)^3: R qnorm(1 - 0.975^(1/3))
    EXPECT_NEAR(points[0].lower, -2.390891537617271, 1e-12);
    EXPECT_NEAR(points[0].upper, -points[2].lower, 1e-12);
    EXPECT_TRUE(normal_quantile_points({}, {}).empty());
}

Table spread_table() {
    Table table({"1", "2", "3", "4", "5", "6", "7", "8"});
    EXPECT_TRUE(table.add_numbers("x", {1, 2, 3, 4, 5, 6, 7, 20}) &&
                table.add_numbers("y", {1.1, 1.9, 3.3, 3.6, 5.6, 5.2, 8.1, 18.0}));
    return table;
}

// By hand: two series 1 2 -1 -2 1 2 -1 (neighbours 2 - 2 + 2 - 2 + 2 - 2 = 0) and 1 1 1 1 1 (4); 10 pairs, 12
// rows, squares 16 + 5: (4 / 10) / (21 / 12). The two rows of the third series tell nothing.
TEST(SerialCorrelation, is_that_of_neighbours_within_series_by_hand) {
    const std::vector<double> residuals{1, 1, 2, 1, -1, 1, -2, 1, 1, 1, 2, -1, 9, 9, 50};
    const std::vector<std::string> series{"a", "b", "a", "b", "a", "b", "a", "b",
                                          "a", "b", "a", "a", "c", "c", ""};
    const auto found = serial_correlation(residuals, series);
    ASSERT_TRUE(found);
    EXPECT_EQ(found->pairs, 10U);
    EXPECT_NEAR(found->lag_one, (4.0 / 10.0) / (21.0 / 12.0), 1e-12);
    EXPECT_NEAR(found->bound, 1.96 / std::sqrt(10.0), 1e-12);
    const double r = found->lag_one;
    EXPECT_NEAR(found->widening(), std::sqrt((1.0 + r) / (1.0 - r)), 1e-12);
    EXPECT_FALSE(serial_correlation(std::span(residuals).first(12), std::vector<std::string>(12, "")));
}

// An autoregression of 0.6 over many series is found again.
TEST(SerialCorrelation, finds_what_the_rows_were_made_with) {
    Random random(3);
    std::vector<double> residuals;
    std::vector<std::string> series;
    for (int i = 0; i < 200; ++i) {
        double left = random.normal();
        for (int j = 0; j < 30; ++j) {
            left = 0.6 * left + 0.8 * random.normal();
            residuals.push_back(left);
            series.push_back(std::to_string(i));
        }
    }
    const auto found = serial_correlation(residuals, series);
    ASSERT_TRUE(found);
    // Standard error root of (1 - 0.36) / 5800, about 0.0105; four of them.
    EXPECT_NEAR(found->lag_one, 0.6, 0.042);
}

TEST(Checks, linear_residuals_are_standardised_by_their_leverage) {
    // R 4.2.2: rstandard(lm(y ~ x))
    const std::vector<double> want{-0.46180666124514, -0.58728844198424, 0.17818619948497, -0.68819161100547,
                                   0.93111586680271,  -0.94340076219519, 1.97826043120451, -1.35462673545976};
    const auto table = spread_table();
    const auto design = make_design(table, {.terms = {{{"x"}}}});
    const auto fit = fit_linear(*design, table.numbers("y"));
    ASSERT_TRUE(fit);
    const auto checks = check_model(*fit);
    for (std::size_t i = 0; i < 8; ++i) {
        EXPECT_NEAR(checks.rows[i].standardised, want[i], 1e-10);
        EXPECT_EQ(checks.rows[i].row, std::to_string(i + 1));
    }
    EXPECT_EQ(checks.residuals.size(), 8U);
    EXPECT_TRUE(checks.groups.empty());
}

TEST(Checks, a_spread_that_grows_with_the_level_is_seen_and_one_that_does_not_is_not) {
    Random random(11);
    std::vector<std::string> fish;
    std::vector<double> x;
    std::vector<double> even;
    std::vector<double> growing;
    for (int f = 0; f < 40; ++f) {
        const double own = random.normal();
        for (int k = 0; k < 3; ++k) {
            fish.push_back("fish " + std::to_string(f));
            x.push_back(random.uniform());
            const double e = random.normal();
            even.push_back(10.0 + own + (10.0 * x.back()) + e);
            growing.push_back(10.0 + own + (10.0 * x.back()) + (3.0 * x.back() * e));
        }
    }
    Table table(fish);
    ASSERT_TRUE(table.add_factor("fish", fish) && table.add_numbers("x", x) &&
                table.add_numbers("even", even) && table.add_numbers("growing", growing));
    for (const char* outcome : {"even", "growing"}) {
        const auto model = MixedModel::make(
            table, {.outcome = outcome, .fixed = {.terms = {{{"x"}}}}, .random = {{.group = "fish"}}});
        ASSERT_TRUE(model);
        const auto fit = fit_mixed(*model);
        ASSERT_TRUE(fit);
        const auto checks = check_model(*model, *fit);
        EXPECT_EQ(checks.spread.lower > 0.0, std::string(outcome) == "growing")
            << checks.spread.lower << " " << checks.spread.upper;
        ASSERT_EQ(checks.groups.size(), 1U);
        EXPECT_EQ(checks.groups[0].levels.size(), 40U);
        double squares = 0.0;
        for (const auto& level : checks.groups[0].levels) {
            squares += level.value * level.value / 40.0;
        }
        EXPECT_LT(squares, 1.0); // drawn towards 0
        EXPECT_GT(squares, 0.3);
    }
}

} // namespace
} // namespace backeddy::stats
