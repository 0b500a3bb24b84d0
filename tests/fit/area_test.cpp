// Sources: R 4.2.2 splinefun(method = "natural") and exact piecewise integrals (reference/stats 10); closed
// forms.

#include "fit/area.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

TEST(Area, agrees_with_r_by_trapezoids_and_by_natural_splines) {
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
         {Set{"theoph1", "Time", "conc"}, Set{"recovery", "hour", "mo2"}, Set{"trace_bend", "t_s", "o2"}}) {
        const auto& one = support::case_of(*cases, set.id);
        const auto table = support::data_of(one);
        const auto x = table.numbers(set.x);
        const auto y = table.numbers(set.y);
        const auto between = support::numbers_of(one["expected"]["trapezoid"]["between"]);
        support::expect_agrees(one, "/trapezoid/auc", *trapezoid_area(x, y));
        support::expect_agrees(one, "/trapezoid/auc_between", *trapezoid_area(x, y, between[0], between[1]));
        const auto spline = NaturalSpline::through(x, y);
        ASSERT_TRUE(spline);
        support::expect_agrees(one, "/natural_interpolating/auc", spline->area(x.front(), x.back()));
        support::expect_agrees(one, "/natural_interpolating/auc_between",
                               spline->area(between[0], between[1]));
        const auto at = support::numbers_of(one["expected"]["natural_interpolating"]["at"]);
        for (std::size_t k = 0; k < at.size(); ++k) {
            support::expect_agrees(one, "/natural_interpolating/value/" + std::to_string(k),
                                   spline->at(at[k]));
            support::expect_agrees(one, "/natural_interpolating/slope/" + std::to_string(k),
                                   spline->slope_at(at[k]), 1e-3);
        }
    }
}

TEST(Area, of_trapezoids_is_exact_on_straight_lines_and_signed) {
    const std::vector<double> x{0, 1, 3};
    const std::vector<double> y{0, 2, 6};
    EXPECT_DOUBLE_EQ(*trapezoid_area(x, y), 9.0);
    EXPECT_DOUBLE_EQ(*trapezoid_area(x, y, 0.5, 2.5), 6.0);
    EXPECT_DOUBLE_EQ(*trapezoid_area(x, y, 2.5, 0.5), -6.0);
    EXPECT_EQ(trapezoid_area(x, y, -1, 1).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(trapezoid_area(std::vector<double>{1}, std::vector<double>{1}).error().code,
              ErrorCode::too_few);
    EXPECT_EQ(trapezoid_area(std::vector<double>{1, 1}, std::vector<double>{1, 2}).error().code,
              ErrorCode::out_of_range);
}

TEST(NaturalSpline, is_straight_beyond_its_ends_and_its_area_is_the_integral_of_its_values) {
    const std::vector<double> x{0, 1, 2.5, 4, 7};
    const std::vector<double> y{3, 1, 4, 1, 5};
    const auto spline = NaturalSpline::through(x, y);
    ASSERT_TRUE(spline);
    EXPECT_NEAR(spline->at(9), spline->at(7) + (2 * spline->slope_at(7)), 1e-12);
    EXPECT_NEAR(spline->at(-1), spline->at(0) - spline->slope_at(0), 1e-12);
    for (const auto& [from, to] : {std::pair(-1.5, 8.5), std::pair(0.3, 3.9), std::pair(5.0, 1.0)}) {
        double sum = 0; // midpoints
        const int steps = 200000;
        for (int i = 0; i < steps; ++i) {
            sum += spline->at(from + ((to - from) * (i + 0.5) / steps)) * (to - from) / steps;
        }
        EXPECT_NEAR(spline->area(from, to), sum, 1e-8);
    }
    const auto two = NaturalSpline::through(std::vector<double>{0, 2}, std::vector<double>{1, 5});
    ASSERT_TRUE(two);
    EXPECT_DOUBLE_EQ(two->at(0.5), 2.0);
}

} // namespace
} // namespace backeddy::fit
