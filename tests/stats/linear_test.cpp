// Sources: R 4.2.2 lm (reference/stats 01); NIST StRD's one-way sets (01); Yates 1934 by hand.

#include "stats/linear.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

Table numbers_table(const support::Table& from, const std::vector<std::string>& names) {
    std::vector<std::string> labels;
    for (std::size_t i = 0; i < from.rows(); ++i) {
        labels.push_back("row " + std::to_string(i + 1));
    }
    Table table(labels);
    for (const auto& name : names) {
        EXPECT_TRUE(table.add_numbers(name, from.numbers(name)));
    }
    return table;
}

TEST(Linear, agrees_with_r_on_every_number_it_gives) {
    const auto cases = support::reference_cases("stats/01_regression.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    struct Case {
        const char* id;
        const char* outcome;
        std::vector<std::string> columns;
    };
    for (const auto& [id, outcome, columns] :
         {Case{"ols_cars", "dist", {"speed"}},
          Case{"ols_stackloss", "stack.loss", {"Air.Flow", "Water.Temp", "Acid.Conc."}},
          Case{"ols_trace", "o2", {"t_s"}}}) {
        const auto& one = support::case_of(*cases, id);
        auto names = columns;
        names.emplace_back(outcome);
        const auto table = numbers_table(support::data_of(one), names);
        Terms terms;
        for (const auto& name : columns) {
            terms.terms.push_back({{name}});
        }
        const auto design = make_design(table, terms);
        ASSERT_TRUE(design) << design.error().text();
        const auto fit = fit_linear(*design, table.numbers(outcome));
        ASSERT_TRUE(fit) << fit.error().text();
        for (std::size_t k = 0; k < fit->coefficients.size(); ++k) {
            const auto& c = fit->coefficients[k];
            const std::string at = k == 0 ? "(Intercept)" : columns[k - 1];
            support::expect_agrees(one, "/estimate/" + at, c.value, c.se);
            support::expect_agrees(one, "/se/" + at, c.se);
            support::expect_agrees(one, "/stat/" + at, c.statistic);
            support::expect_agrees(one, "/p/" + at, c.p, 1e-6);
            support::expect_agrees(one, "/lower95/" + at, c.lower, c.se);
            support::expect_agrees(one, "/upper95/" + at, c.upper, c.se);
        }
        support::expect_agrees(one, "/df_residual", fit->freedom);
        support::expect_agrees(one, "/sigma", fit->residual_sd);
        support::expect_agrees(one, "/r2", fit->r_squared);
        support::expect_agrees(one, "/loglik", fit->log_likelihood, 1.0);
        support::expect_agrees(one, "/aic", fit->aic, 1.0);
        if (columns.size() == 1) {
            const auto tests = term_tests(*fit);
            support::expect_agrees(one, "/f", tests.at(0).f);
            support::expect_agrees(one, "/f_p", tests.at(0).p, 1e-6);
        }
    }
}

TEST(Linear, one_way_comparisons_meet_the_certified_f) {
    const auto cases = support::reference_cases("stats/01_regression.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const char* id : {"nist_SiRstv", "nist_AtmWtAg", "nist_SmLs01", "nist_SmLs04", "nist_SmLs07"}) {
        const auto& one = support::case_of(*cases, id);
        const auto data = support::data_of(one);
        Table table = numbers_table(data, {"y"});
        ASSERT_TRUE(table.add_factor("group", data.text("group")));
        const auto design = make_design(table, {.terms = {{{"group"}}}});
        ASSERT_TRUE(design);
        const auto fit = fit_linear(*design, table.numbers("y"));
        ASSERT_TRUE(fit);
        const auto tests = term_tests(*fit);
        support::expect_agrees(one, "/df_between", tests.at(0).numerator);
        support::expect_agrees(one, "/df_within", tests.at(0).denominator);
        support::expect_agrees(one, "/f", tests.at(0).f);
        support::expect_agrees(one, "/residual_sd", fit->residual_sd);
        support::expect_agrees(one, "/r2", fit->r_squared);
    }
}

/// Six fish, two rigs, two hooks, not balanced.
Table two_by_two() {
    Table table({"1", "2", "3", "4", "5", "6"});
    EXPECT_TRUE(table.add_factor("rig", {"a", "a", "a", "b", "b", "b"}));
    EXPECT_TRUE(table.add_factor("hook", {"j", "j", "k", "j", "k", "k"}));
    EXPECT_TRUE(table.add_numbers("y", {1.0, 2.0, 4.0, 3.0, 9.0, 10.0}));
    return table;
}

TEST(Linear, a_main_effect_beside_its_interaction_is_the_mean_over_the_other_factor) {
    // Cell means: aj 1.5, ak 4, bj 3, bk 9.5; unweighted: rig b - a is 6.25 - 2.75 = 3.5. Its variance is
    // (1/4) s2 (1/2 + 1 + 1 + 1/2) = 0.75 s2, s2 = (0.5 + 0.5) / 2: F = 3.5^2 / 0.375 = 32.6667.
    const auto table = two_by_two();
    const auto design = make_design(table, {.terms = crossed({"rig", "hook"})});
    ASSERT_TRUE(design) << design.error().text();
    const auto fit = fit_linear(*design, table.numbers("y"));
    ASSERT_TRUE(fit);
    const auto tests = term_tests(*fit);
    ASSERT_EQ(tests.size(), 3U);
    EXPECT_EQ(tests[0].term, "rig");
    EXPECT_NEAR(tests[0].f, 3.5 * 3.5 / 0.375, 1e-10);
    EXPECT_EQ(tests[2].term, "rig x hook");
    // The interaction is (9.5 - 3) - (4 - 1.5) = 4, its variance s2 (1/2 + 1 + 1 + 1/2) = 1.5.
    EXPECT_NEAR(tests[2].f, 16.0 / 1.5, 1e-10);
    EXPECT_NEAR(contrast(*fit, "interaction", std::vector<double>{0, 0, 0, 1}).value, 4.0, 1e-12);
}

TEST(Linear, weights_are_inverse_variances_up_to_a_factor) {
    const auto table = two_by_two();
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    ASSERT_TRUE(design);
    const std::vector<double> weights{1, 2, 1, 3, 1, 2};
    std::vector<double> tenfold;
    for (const double w : weights) {
        tenfold.push_back(10.0 * w);
    }
    const auto fit = fit_linear(*design, table.numbers("y"), {.weights = weights});
    const auto other = fit_linear(*design, table.numbers("y"), {.weights = tenfold});
    ASSERT_TRUE(fit && other);
    // Weighted means: a (1 + 4 + 4) / 4 = 2.25, b (9 + 9 + 20) / 6.
    EXPECT_NEAR(fit->coefficients[1].value, (38.0 / 6.0) - 2.25, 1e-12);
    EXPECT_NEAR(other->coefficients[1].se, fit->coefficients[1].se, 1e-12);
    EXPECT_NEAR(other->log_likelihood, fit->log_likelihood, 1e-10);
    double leverage = 0.0;
    for (const double h : fit->leverage) {
        leverage += h;
    }
    EXPECT_NEAR(leverage, 2.0, 1e-12); // the number of coefficients
}

TEST(Linear, refuses_a_constant_outcome_and_a_model_without_leftovers) {
    const auto table = two_by_two();
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    ASSERT_TRUE(design);
    const std::vector<double> same(6, 2.0);
    EXPECT_EQ(fit_linear(*design, same).error().text(),
              "the outcome is 2 in every row; an outcome that varies: nothing is left to explain");
    Table small({"1", "2"});
    ASSERT_TRUE(small.add_numbers("x", {1.0, 2.0}));
    const auto full = make_design(small, {.terms = {{{"x"}}}});
    ASSERT_TRUE(full);
    EXPECT_EQ(fit_linear(*full, std::vector<double>{1.0, 3.0}).error().code, ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::stats
