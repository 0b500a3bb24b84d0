// Sources: R 4.2.2 lmerTest 3.1-3 and pbkrtest 0.5.2 (reference/stats 06); the split plot's exact degrees of
// freedom.

#include "stats/small_sample.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "mixed_cases.hpp"

namespace backeddy::stats {
namespace {

using support::expect_agrees;

class SmallSampleCase : public ::testing::TestWithParam<MixedCaseInput> {};

void expect_coefficients(const support::Json& one, const std::string& at, const SmallSample& exact) {
    const auto names = coefficient_names(one);
    const auto coefficients = exact.coefficients();
    for (std::size_t k = 0; k < names.size(); ++k) {
        const auto& c = coefficients.at(k);
        expect_agrees(one, at + "/df/" + names[k], c.freedom);
        expect_agrees(one, at + "/t/" + names[k], c.statistic);
        expect_agrees(one, at + "/p/" + names[k], c.p, 1e-6);
        expect_agrees(one, at + "/lower95/" + names[k], c.lower, c.se);
        expect_agrees(one, at + "/upper95/" + names[k], c.upper, c.se);
    }
}

void expect_terms(const support::Json& one, const std::string& at, const SmallSample& exact) {
    const auto& want = one.at("expected");
    if (!want.contains(at)) {
        return;
    }
    const auto tests = exact.term_tests();
    ASSERT_EQ(tests.size(), want[at]["term"].size());
    for (std::size_t t = 0; t < tests.size(); ++t) {
        const std::string place = "/" + at + "/";
        expect_agrees(one, place + "num_df/" + std::to_string(t), tests[t].numerator);
        expect_agrees(one, place + "den_df/" + std::to_string(t), tests[t].denominator);
        expect_agrees(one, place + "F/" + std::to_string(t), tests[t].f);
        expect_agrees(one, place + "p/" + std::to_string(t), tests[t].p, 1e-6);
    }
}

TEST_P(SmallSampleCase, agrees_with_r) {
    const auto cases = support::reference_cases("stats/06_mixed.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& input = GetParam();
    const auto& one = support::case_of(*cases, input.id);
    if (!one["expected"].contains("satterthwaite")) {
        GTEST_SKIP() << "the reference has no degrees of freedom for a singular fit";
    }
    const auto model = MixedModel::make(table_of(one, input), input.terms);
    ASSERT_TRUE(model) << model.error().text();
    const auto fit = fit_mixed(*model);
    ASSERT_TRUE(fit);
    const auto satterthwaite = SmallSample::make(*model, *fit, FreedomMethod::satterthwaite);
    ASSERT_TRUE(satterthwaite) << satterthwaite.error().text();
    expect_coefficients(one, "/satterthwaite", *satterthwaite);
    expect_terms(one, "anova3_satterthwaite", *satterthwaite);
    const auto kenward_roger = SmallSample::make(*model, *fit, FreedomMethod::kenward_roger);
    ASSERT_TRUE(kenward_roger) << kenward_roger.error().text();
    expect_coefficients(one, "/kenward_roger", *kenward_roger);
    expect_terms(one, "anova3_kenward_roger", *kenward_roger);
    const auto names = coefficient_names(one);
    const auto adjusted = kenward_roger->coefficients();
    for (std::size_t i = 0; i < names.size(); ++i) {
        expect_agrees(one, "/kenward_roger/se/" + names[i], adjusted[i].se);
        for (std::size_t j = 0; j < names.size(); ++j) {
            expect_agrees(one, "/kenward_roger/vcov_adjusted/" + std::to_string(i) + "/" + std::to_string(j),
                          kenward_roger->covariance()[(i * names.size()) + j],
                          adjusted[i].se * adjusted[j].se);
        }
    }
    if (one["expected"].contains("lrt_fixed")) {
        // The last columns are those of the term that the smaller model lacks.
        const auto& reduced = one["expected"]["lrt_fixed"][0];
        const auto rows = reduced["df"].get<std::size_t>();
        std::vector<std::vector<double>> l(rows, std::vector<double>(names.size(), 0.0));
        for (std::size_t i = 0; i < rows; ++i) {
            l[i][names.size() - rows + i] = 1.0;
        }
        const auto test = kenward_roger->test("reduced", l);
        // kr_* fields have no tolerance of their own: Kenward and Roger's is meant.
        const auto meant = [&](const char* field, double got) {
            EXPECT_TRUE(support::agrees(got, reduced[field].get<double>(), 1e-5, 1e-6, input.id + field));
        };
        meant("kr_F", test.f);
        meant("kr_den_df", test.denominator);
        meant("kr_scaling", test.scaling);
        meant("kr_p", test.p);
        auto smaller_terms = input.terms;
        smaller_terms.fixed.terms.pop_back();
        const auto smaller = MixedModel::make(table_of(one, input), smaller_terms);
        ASSERT_TRUE(smaller);
        const auto large_fit = fit_mixed(*model, Criterion::ml);
        const auto small_fit = fit_mixed(*smaller, Criterion::ml);
        ASSERT_TRUE(large_fit && small_fit);
        const auto ratio = likelihood_ratio(*large_fit, *small_fit);
        ASSERT_TRUE(ratio);
        expect_agrees(one, "/lrt_fixed/0/chisq", ratio->chi_squared);
        expect_agrees(one, "/lrt_fixed/0/p", ratio->p, 1e-6);
        EXPECT_FALSE(likelihood_ratio(*fit, *small_fit)); // REML beside ML
    }
}

INSTANTIATE_TEST_SUITE_P(All, SmallSampleCase, ::testing::ValuesIn(mixed_cases()),
                         [](const auto& tested) { return std::string(tested.param.id); });

/// Twelve tanks in two treatments, three fish in each, the outcomes drawn.
Table tanks(double tank_sd, std::uint64_t seed, std::size_t fish_in_tank = 3) {
    Random random(seed);
    std::vector<std::string> tank;
    std::vector<std::string> treatment;
    std::vector<double> y;
    for (int t = 0; t < 12; ++t) {
        const double own = tank_sd * random.normal();
        for (std::size_t f = 0; f < fish_in_tank; ++f) {
            tank.push_back("tank " + std::to_string(t));
            treatment.emplace_back(t % 2 == 0 ? "control" : "exposed");
            y.push_back(10.0 + own + random.normal());
        }
    }
    Table table(tank);
    EXPECT_TRUE(table.add_factor("tank", tank) && table.add_factor("treatment", treatment) &&
                table.add_numbers("y", y) && table.add_numbers("same", std::vector<double>(y.size(), 0.25)));
    return table;
}

const MixedTerms treatment_by_tank{
    .outcome = "y", .fixed = {.terms = {{{"treatment"}}}}, .random = {{.group = "tank"}}};

TEST(SmallSample, a_balanced_split_plot_has_the_degrees_of_freedom_of_its_tanks) {
    // Means of tanks are all that speaks of the treatment: a t test of six against six, 10 degrees of
    // freedom.
    const auto model = MixedModel::make(tanks(2.0, 3), treatment_by_tank);
    const auto fit = fit_mixed(*model);
    ASSERT_TRUE(fit);
    for (const auto method : {FreedomMethod::satterthwaite, FreedomMethod::kenward_roger}) {
        const auto exact = SmallSample::make(*model, *fit, method);
        ASSERT_TRUE(exact);
        EXPECT_NEAR(exact->coefficients()[1].freedom, 10.0, 1e-6);
        const auto test = exact->term_tests().at(0);
        EXPECT_NEAR(test.denominator, 10.0, 1e-6);
        EXPECT_NEAR(test.f, std::pow(exact->coefficients()[1].statistic, 2), 1e-9);
        EXPECT_NEAR(test.p, exact->coefficients()[1].p, 1e-12);
    }
}

TEST(SmallSample, three_tanks_leave_one_degree_of_freedom) {
    // Two against one. Seen: below two degrees of freedom F has no mean, and infinitely many were given.
    std::vector<std::string> tank;
    std::vector<std::string> treatment;
    for (int i = 0; i < 12; ++i) {
        tank.push_back("tank " + std::to_string(i / 4));
        treatment.emplace_back(i < 8 ? "control" : "exposed");
    }
    Table table(tank);
    ASSERT_TRUE(table.add_factor("tank", tank) && table.add_factor("treatment", treatment) &&
                table.add_numbers("y", {1, 2, 1, 3, 6, 7, 6, 8, 14, 12, 13, 12}));
    const auto model = MixedModel::make(table, treatment_by_tank);
    ASSERT_TRUE(model) << model.error().text();
    const auto fit = fit_mixed(*model);
    ASSERT_TRUE(fit);
    for (const auto method : {FreedomMethod::satterthwaite, FreedomMethod::kenward_roger}) {
        const auto exact = SmallSample::make(*model, *fit, method);
        ASSERT_TRUE(exact);
        EXPECT_NEAR(exact->coefficients()[1].freedom, 1.0, 1e-6);
        EXPECT_NEAR(exact->term_tests()[0].p, exact->coefficients()[1].p, 1e-9);
    }
}

TEST(SmallSample, a_variance_of_nothing_counts_as_known_by_satterthwaite) {
    // Tanks that differ less than chance: the rows are then 36 of their own, less 2 coefficients.
    const auto model = MixedModel::make(tanks(0.0, 5), treatment_by_tank);
    const auto fit = fit_mixed(*model);
    ASSERT_TRUE(fit);
    ASSERT_EQ(fit->random[0].intercept_sd, 0.0);
    const auto satterthwaite = SmallSample::make(*model, *fit);
    ASSERT_TRUE(satterthwaite);
    EXPECT_NEAR(satterthwaite->coefficients()[1].freedom, 34.0, 1e-6);
    // Kenward and Roger's stay with the tanks.
    const auto kenward_roger = SmallSample::make(*model, *fit, FreedomMethod::kenward_roger);
    ASSERT_TRUE(kenward_roger);
    EXPECT_NEAR(kenward_roger->coefficients()[1].freedom, 10.0, 1e-6);
}

TEST(SmallSample, known_variances_that_are_all_the_same_change_nothing) {
    const auto table = tanks(1.0, 7, 2);
    auto terms = treatment_by_tank;
    const auto plain = MixedModel::make(table, terms);
    terms.known_variance = "same";
    const auto known = MixedModel::make(table, terms);
    ASSERT_TRUE(plain && known);
    const auto plain_fit = fit_mixed(*plain);
    const auto known_fit = fit_mixed(*known);
    ASSERT_TRUE(plain_fit && known_fit);
    ASSERT_GT(known_fit->residual_sd, 0.1);
    for (const auto method : {FreedomMethod::satterthwaite, FreedomMethod::kenward_roger}) {
        const auto one = SmallSample::make(*plain, *plain_fit, method);
        const auto other = SmallSample::make(*known, *known_fit, method);
        ASSERT_TRUE(one && other);
        for (std::size_t k = 0; k < 2; ++k) {
            EXPECT_NEAR(one->coefficients()[k].freedom, other->coefficients()[k].freedom, 1e-4);
            EXPECT_NEAR(one->coefficients()[k].se, other->coefficients()[k].se, 1e-7);
        }
    }
}

TEST(SmallSample, known_variances_that_differ_enter_as_they_are) {
    // Where nothing but the known variances is left over they are known exactly, and so is the answer:
    // normal.
    auto table = tanks(0.0, 5);
    std::vector<double> large;
    for (std::size_t i = 0; i < table.rows(); ++i) {
        large.push_back(20.0 + static_cast<double>(i % 5));
    }
    ASSERT_TRUE(table.add_numbers("large", large));
    auto terms = treatment_by_tank;
    terms.known_variance = "large";
    const auto model = MixedModel::make(table, terms);
    const auto fit = fit_mixed(*model);
    ASSERT_TRUE(fit);
    ASSERT_EQ(fit->residual_sd, 0.0);
    const auto exact = SmallSample::make(*model, *fit);
    ASSERT_TRUE(exact) << exact.error().text();
    EXPECT_TRUE(std::isinf(exact->coefficients()[1].freedom));
}

TEST(SmallSample, kenward_and_roger_want_reml) {
    const auto model = MixedModel::make(tanks(1.0, 1), treatment_by_tank);
    const auto fit = fit_mixed(*model, Criterion::ml);
    ASSERT_TRUE(fit);
    EXPECT_EQ(SmallSample::make(*model, *fit, FreedomMethod::kenward_roger).error().text(),
              "Kenward and Roger's degrees of freedom for a fit by maximum likelihood; a fit by restricted "
              "likelihood (REML); fit by REML, or take Satterthwaite's");
    EXPECT_TRUE(SmallSample::make(*model, *fit, FreedomMethod::satterthwaite));
}

} // namespace
} // namespace backeddy::stats
