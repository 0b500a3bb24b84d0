// Source: NIST StRD, nonlinear regression: certified values of all 26 sets, from both of NIST's starts.

#include "fit/nonlinear.hpp"

#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;
using Parameters = std::span<const double>;
using Curve = std::function<double(double, Parameters)>;

const std::map<std::string, Curve>& curves() {
    using std::exp;
    using std::pow;
    static const Curve misra1a = [](double x, Parameters b) { return b[0] * (1 - exp(-b[1] * x)); };
    static const Curve chwirut = [](double x, Parameters b) { return exp(-b[0] * x) / (b[1] + (b[2] * x)); };
    static const Curve lanczos = [](double x, Parameters b) {
        return (b[0] * exp(-b[1] * x)) + (b[2] * exp(-b[3] * x)) + (b[4] * exp(-b[5] * x));
    };
    static const Curve gauss = [](double x, Parameters b) {
        return (b[0] * exp(-b[1] * x)) + (b[2] * exp(-pow(x - b[3], 2) / pow(b[4], 2))) +
               (b[5] * exp(-pow(x - b[6], 2) / pow(b[7], 2)));
    };
    static const Curve cubic_ratio = [](double x, Parameters b) {
        return (b[0] + (x * (b[1] + (x * (b[2] + (x * b[3])))))) /
               (1 + (x * (b[4] + (x * (b[5] + (x * b[6]))))));
    };
    static const std::map<std::string, Curve> all{
        {"Misra1a", misra1a},
        {"Misra1b", [](double x, Parameters b) { return b[0] * (1 - pow(1 + (b[1] * x / 2), -2)); }},
        {"Misra1c", [](double x, Parameters b) { return b[0] * (1 - pow(1 + (2 * b[1] * x), -0.5)); }},
        {"Misra1d", [](double x, Parameters b) { return b[0] * b[1] * x / (1 + (b[1] * x)); }},
        {"Chwirut1", chwirut},
        {"Chwirut2", chwirut},
        {"Lanczos1", lanczos},
        {"Lanczos2", lanczos},
        {"Lanczos3", lanczos},
        {"Gauss1", gauss},
        {"Gauss2", gauss},
        {"Gauss3", gauss},
        {"DanWood", [](double x, Parameters b) { return b[0] * pow(x, b[1]); }},
        {"Kirby2",
         [](double x, Parameters b) {
             return (b[0] + (x * (b[1] + (x * b[2])))) / (1 + (x * (b[3] + (x * b[4]))));
         }},
        {"Hahn1", cubic_ratio},
        {"MGH17",
         [](double x, Parameters b) { return b[0] + (b[1] * exp(-x * b[3])) + (b[2] * exp(-x * b[4])); }},
        {"Roszman1",
         [](double x, Parameters b) {
             return b[0] - (b[1] * x) - (std::atan(b[2] / (x - b[3])) / std::numbers::pi);
         }},
        {"ENSO",
         [](double x, Parameters b) {
             const double turn = 2 * std::numbers::pi * x;
             return b[0] + (b[1] * std::cos(turn / 12)) + (b[2] * std::sin(turn / 12)) +
                    (b[4] * std::cos(turn / b[3])) + (b[5] * std::sin(turn / b[3])) +
                    (b[7] * std::cos(turn / b[6])) + (b[8] * std::sin(turn / b[6]));
         }},
        {"MGH09", [](double x,
                     Parameters b) { return b[0] * ((x * x) + (x * b[1])) / ((x * x) + (x * b[2]) + b[3]); }},
        {"Thurber", cubic_ratio},
        {"BoxBOD", misra1a},
        {"Rat42", [](double x, Parameters b) { return b[0] / (1 + exp(b[1] - (b[2] * x))); }},
        {"MGH10", [](double x, Parameters b) { return b[0] * exp(b[1] / (x + b[2])); }},
        {"Eckerle4",
         [](double x, Parameters b) { return (b[0] / b[1]) * exp(-0.5 * pow((x - b[2]) / b[1], 2)); }},
        {"Rat43", [](double x, Parameters b) { return b[0] / pow(1 + exp(b[1] - (b[2] * x)), 1 / b[3]); }},
        {"Bennett5", [](double x, Parameters b) { return b[0] * pow(b[1] + x, -1 / b[2]); }},
    };
    return all;
}

/// The same curve with NIST's numbers as a least-squares problem.
NonlinearProblem problem_of(const Curve& curve, const std::vector<double>& x, const std::vector<double>& y,
                            const support::Json& start) {
    NonlinearProblem problem{.residuals = x.size()};
    for (std::size_t k = 1; k <= start.size(); ++k) {
        problem.start.push_back(start["b" + std::to_string(k)].get<double>());
    }
    problem.write_residuals = [&curve, &x, &y](Parameters b, std::span<double> r) {
        for (std::size_t i = 0; i < x.size(); ++i) {
            r[i] = y[i] - curve(x[i], b);
        }
    };
    return problem;
}

class Nist : public ::testing::TestWithParam<std::string> {};

TEST_P(Nist, certified_values_are_reached_from_both_starts) {
    const std::string name = GetParam();
    const auto set = support::nist_sets().at(name);
    const auto table = support::read_table(support::nist_folder() / ("nist_" + name + ".csv"));
    const auto x = table.numbers("x");
    const auto y = table.numbers("y");
    for (const auto* start : {"start1", "start2"}) {
        const auto problem = problem_of(curves().at(name), x, y, set[start]);
        // MGH10's first start lies at the far end of a long curved valley: more steps than the default
        // allows.
        const auto fit = fit_nonlinear(problem, {.most_iterations = name == "MGH10" ? 40000U : 2000U});
        ASSERT_TRUE(fit) << name << " from " << start << ": " << fit.error().text();
        const std::string what = name + " from " + start;
        for (std::size_t k = 0; k < fit->parameters.size(); ++k) {
            const std::string b = "b" + std::to_string(k + 1);
            EXPECT_TRUE(agrees(fit->parameters[k], set["coef"][b], 1e-6, set["se"][b], what + " " + b));
            if (name !=
                "Lanczos1") { // its residuals are rounding noise: no error to reach in double precision
                EXPECT_TRUE(agrees(fit->se[k], set["se"][b], 1e-6, 0, what + " se " + b));
            }
        }
        if (name != "Lanczos1") {
            EXPECT_TRUE(agrees(fit->residual_squares, set["rss"], 1e-6, 0, what + " rss"));
            EXPECT_TRUE(agrees(fit->residual_sd, set["residual_sd"], 1e-6, 0, what + " residual_sd"));
        }
        EXPECT_EQ(fit->freedom, set["df"].get<std::size_t>());
    }
}

INSTANTIATE_TEST_SUITE_P(All, Nist, ::testing::ValuesIn([] {
                             std::vector<std::string> names;
                             for (const auto& [name, curve] : curves()) {
                                 names.push_back(name);
                             }
                             return names;
                         }()),
                         [](const auto& tested) { return tested.param; });

TEST(Nonlinear, all_26_of_nists_sets_are_tested) {
    std::size_t sets = 0;
    const auto all = support::nist_sets();
    for (const auto& [name, set] : all.items()) {
        if (set["kind"] == "nonlinear") {
            EXPECT_TRUE(curves().contains(name)) << name;
            ++sets;
        }
    }
    EXPECT_EQ(sets, 26U);
    EXPECT_EQ(curves().size(), 26U);
}

NonlinearProblem decay_problem(const std::vector<double>& x, const std::vector<double>& y) {
    return {.residuals = x.size(),
            .start = {1.0, 1.0},
            .write_residuals = [&x, &y](Parameters b, std::span<double> r) {
                for (std::size_t i = 0; i < x.size(); ++i) {
                    r[i] = y[i] - (b[0] * std::exp(-b[1] * x[i]));
                }
            }};
}

TEST(Nonlinear, a_bound_holds_and_the_parameter_on_it_has_no_error) {
    const std::vector<double> x{0, 1, 2, 3, 4, 5};
    const std::vector<double> y{10.0, 6.1, 3.6, 2.3, 1.3, 0.8};
    auto problem = decay_problem(x, y);
    problem.lower = {0.0, 0.0};
    problem.upper = {100.0, 0.3};
    const auto fit = fit_nonlinear(problem);
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_EQ(fit->parameters[1], 0.3);
    EXPECT_TRUE(fit->is_on_bound[1]);
    EXPECT_EQ(fit->se[1], 0.0);
    // With the rate held, the height is a straight least-squares fit.
    double top = 0;
    double bottom = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        top += y[i] * std::exp(-0.3 * x[i]);
        bottom += std::exp(-0.6 * x[i]);
    }
    EXPECT_NEAR(fit->parameters[0], top / bottom, 1e-9);
}

TEST(Nonlinear, refuses_what_the_values_cannot_fix) {
    const std::vector<double> x{0, 1, 2, 3};
    const std::vector<double> y{4, 3, 2, 1};
    NonlinearProblem twins{
        .residuals = 4, .start = {1.0, 1.0}, .write_residuals = [&](Parameters b, std::span<double> r) {
            for (std::size_t i = 0; i < 4; ++i) {
                r[i] = y[i] - ((b[0] + b[1]) * x[i]);
            }
        }};
    const auto fit = fit_nonlinear(twins);
    ASSERT_FALSE(fit);
    EXPECT_EQ(fit.error().code, ErrorCode::degenerate);
    auto few = decay_problem(x, y);
    few.residuals = 2;
    EXPECT_EQ(fit_nonlinear(few).error().code, ErrorCode::too_few);
    auto lost = decay_problem(x, y);
    lost.start = {1.0, -1e6};
    EXPECT_EQ(fit_nonlinear(lost).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::fit
