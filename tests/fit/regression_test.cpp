// Sources: NIST StRD, all eleven linear sets (tests/reference/nist); R 4.2.2 lm and segmented
// (reference/stats 01, 02).

#include "fit/regression.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;

std::vector<std::span<const double>> spans(const std::vector<std::vector<double>>& columns) {
    return {columns.begin(), columns.end()};
}

struct NistSet {
    const char* name;
    int degree; ///< of a polynomial in x; 0: columns x1, x2 ...
    Intercept intercept;
    double tolerance;
};

// NOLINTNEXTLINE(readability-identifier-naming): the name by which GoogleTest finds it
void PrintTo(const NistSet& set, std::ostream* out) {
    *out << set.name;
}

class NistLinear : public ::testing::TestWithParam<NistSet> {};

TEST_P(NistLinear, certified_values_are_met) {
    const auto [name, degree, intercept, tolerance] = GetParam();
    const auto set = support::nist_sets().at(name);
    const auto table = support::read_table(support::nist_folder() / (std::string("nist_") + name + ".csv"));
    const auto y = table.numbers("y");
    std::vector<std::vector<double>> columns;
    if (degree == 0) {
        for (int k = 1; k <= 6; ++k) {
            columns.push_back(table.numbers("x" + std::to_string(k)));
        }
    }
    for (int k = 1; k <= degree; ++k) {
        auto column = table.numbers("x");
        for (auto& v : column) {
            v = static_cast<double>(std::pow(static_cast<long double>(v), k));
        }
        columns.push_back(column);
    }
    const auto fit = fit_regression(y, spans(columns), {.intercept = intercept});
    ASSERT_TRUE(fit) << fit.error().text();
    const bool is_exact = set["residual_sd"].get<double>() == 0.0;
    const int first = intercept == Intercept::fitted ? 0 : 1;
    for (std::size_t k = 0; k < fit->coefficients.size(); ++k) {
        const std::string b = "b" + std::to_string(static_cast<int>(k) + first);
        EXPECT_TRUE(agrees(fit->coefficients[k], set["coef"][b], tolerance,
                           is_exact ? 0.0 : set["se"][b].get<double>(), std::string(name) + " " + b));
        if (!is_exact) {
            EXPECT_TRUE(agrees(fit->se[k], set["se"][b], tolerance, 0, std::string(name) + " se " + b));
        }
    }
    EXPECT_EQ(fit->freedom, set["df"].get<std::size_t>());
    EXPECT_TRUE(agrees(fit->r_squared, set["r2"], tolerance, 0, std::string(name) + " r2"));
    if (is_exact) {
        EXPECT_LT(fit->residual_squares, 1e-10 * set["ss_regression"].get<double>());
    } else {
        EXPECT_TRUE(
            agrees(fit->residual_sd, set["residual_sd"], tolerance, 0, std::string(name) + " residual_sd"));
    }
}

INSTANTIATE_TEST_SUITE_P(
    All, NistLinear,
    ::testing::Values(
        NistSet{"Norris", 1, Intercept::fitted, 1e-10}, NistSet{"Pontius", 2, Intercept::fitted, 1e-10},
        NistSet{"NoInt1", 1, Intercept::none, 1e-10}, NistSet{"NoInt2", 1, Intercept::none, 1e-10},
        // Powers of x rounded to double are the data here, and limit what any method can reach.
        NistSet{"Filip", 10, Intercept::fitted, 1e-6}, NistSet{"Longley", 0, Intercept::fitted, 1e-8},
        NistSet{"Wampler1", 5, Intercept::fitted, 1e-9}, NistSet{"Wampler2", 5, Intercept::fitted, 1e-9},
        NistSet{"Wampler3", 5, Intercept::fitted, 1e-6}, NistSet{"Wampler4", 5, Intercept::fitted, 1e-6},
        NistSet{"Wampler5", 5, Intercept::fitted, 1e-5}),
    [](const auto& tested) { return std::string(tested.param.name); });

TEST(Regression, agrees_with_r_on_three_columns) {
    const auto cases = support::reference_cases("stats/01_regression.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "ols_stackloss");
    const auto table = support::data_of(one);
    const std::vector<std::string> names{"Air.Flow", "Water.Temp", "Acid.Conc."};
    std::vector<std::vector<double>> columns;
    for (const auto& name : names) {
        columns.push_back(table.numbers(name));
    }
    const auto fit = fit_regression(table.numbers("stack.loss"), spans(columns));
    ASSERT_TRUE(fit);
    for (std::size_t k = 0; k < 3; ++k) {
        support::expect_agrees(one, "/estimate/" + names[k], fit->coefficients[k + 1], fit->se[k + 1]);
        support::expect_agrees(one, "/se/" + names[k], fit->se[k + 1]);
    }
    support::expect_agrees(one, "/sigma", fit->residual_sd);
    support::expect_agrees(one, "/r2", fit->r_squared);
    for (std::size_t i = 0; i < 4; ++i) {
        for (std::size_t j = 0; j < 4; ++j) {
            support::expect_agrees(one, "/vcov/" + std::to_string(i) + "/" + std::to_string(j),
                                   fit->covariance_of(i, j), fit->se[i] * fit->se[j]);
        }
    }
}

TEST(Regression, degrees_of_freedom_come_from_the_model) {
    const std::vector<double> y{1, 3, 2, 5, 4};
    const std::vector<std::vector<double>> columns{{1, 2, 3, 4, 5}, {1, 4, 9, 16, 25}, {1, 8, 27, 64, 125}};
    const auto all = spans(columns);
    for (std::size_t p = 1; p <= 3; ++p) {
        const auto fit = fit_regression(y, std::span(all).first(p));
        ASSERT_TRUE(fit);
        EXPECT_EQ(fit->freedom, 5 - 1 - p);
    }
    const std::vector<std::vector<double>> four{
        {1, 2, 3, 4, 5}, {1, 4, 9, 16, 25}, {1, 8, 27, 64, 125}, {1, 16, 81, 256, 625}};
    const auto full = fit_regression(y, spans(four)); // n = p
    ASSERT_TRUE(full);
    EXPECT_EQ(full->freedom, 0U);
    EXPECT_EQ(full->residual_sd, 0.0);
    EXPECT_NEAR(full->residual_squares, 0.0, 1e-20);
}

TEST(Regression, weights_count_as_repeats) {
    const std::vector<double> y{1, 3, 2, 5};
    const std::vector<std::vector<double>> x{{1, 2, 3, 4}};
    const std::vector<double> weights{1, 2, 1, 3};
    const std::vector<double> long_y{1, 3, 3, 2, 5, 5, 5};
    const std::vector<std::vector<double>> long_x{{1, 2, 2, 3, 4, 4, 4}};
    const auto weighted = fit_regression(y, spans(x), {.weights = weights});
    const auto repeated = fit_regression(long_y, spans(long_x));
    ASSERT_TRUE(weighted && repeated);
    EXPECT_NEAR(weighted->coefficients[1], repeated->coefficients[1], 1e-14);
    EXPECT_NEAR(weighted->residual_squares, repeated->residual_squares, 1e-14);
    EXPECT_NEAR(weighted->r_squared, repeated->r_squared, 1e-14);
    EXPECT_EQ(weighted->freedom, 2U);
}

TEST(Regression, refuses_columns_that_follow_from_others_and_too_few_values) {
    const std::vector<double> y{1, 2, 4, 5};
    const std::vector<std::vector<double>> twice{{1, 2, 3, 5}, {2, 4, 6, 10}};
    EXPECT_EQ(fit_regression(y, spans(twice)).error().code, ErrorCode::degenerate);
    const std::vector<double> two{1, 2};
    const std::vector<std::vector<double>> wide{{1, 2}, {3, 5}};
    EXPECT_EQ(fit_regression(two, spans(wide)).error().code, ErrorCode::too_few);
    EXPECT_EQ(fit_regression(y, spans(wide)).error().code, ErrorCode::out_of_range);
    const std::vector<double> zero{1, 0, 1, 1};
    EXPECT_EQ(fit_regression(y, spans({twice[0]}), {.weights = zero}).error().code, ErrorCode::out_of_range);
}

TEST(BrokenStick, agrees_with_r) {
    const auto cases = support::reference_cases("stats/02_rolling.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "broken_stick");
    const auto table = support::data_of(one);
    const auto fit = fit_broken_stick(table.numbers("po2"), table.numbers("mo2"));
    ASSERT_TRUE(fit) << fit.error().text();
    support::expect_agrees(one, "/break_x", fit->break_x, fit->break_se);
    support::expect_agrees(one, "/break_y", fit->break_y);
    support::expect_agrees(one, "/rss", fit->residual_squares);
    support::expect_agrees(one, "/sigma", fit->residual_sd);
    support::expect_agrees(one, "/intercept_left", fit->intercept_left);
    support::expect_agrees(one, "/slope_left", fit->slope_left);
    support::expect_agrees(one, "/intercept_right", fit->intercept_right);
    support::expect_agrees(one, "/slope_right", fit->slope_right);
    support::expect_agrees(one, "/rss_one_line", fit->one_line_residual_squares);
    support::expect_agrees(one, "/se_break", fit->break_se);
    support::expect_agrees(one, "/se_slope_left", fit->slope_left_se);
    support::expect_agrees(one, "/se_slope_change", fit->slope_change_se);
}

TEST(BrokenStick, finds_an_exact_bend_and_refuses_too_few_values) {
    std::vector<double> x;
    std::vector<double> y;
    for (int i = 0; i < 20; ++i) {
        x.push_back(i);
        y.push_back(i < 7.3 ? 2.0 * i : (2.0 * 7.3) + (0.5 * (i - 7.3)));
    }
    const auto fit = fit_broken_stick(x, y);
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->break_x, 7.3, 1e-9);
    EXPECT_NEAR(fit->slope_right, 0.5, 1e-9);
    const std::vector<double> few{1, 2, 3};
    EXPECT_EQ(fit_broken_stick(few, few).error().code, ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::fit
