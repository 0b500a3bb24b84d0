// Source: a balanced layout, whose t is Student's.

#include "stats/mixed_bootstrap.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "stats/small_sample.hpp"

namespace backeddy::stats {
namespace {

/// Twelve tanks in two treatments, three fish in each.
MixedModel tanks(double tank_sd, double effect) {
    Random random(5);
    std::vector<std::string> tank;
    std::vector<std::string> treatment;
    std::vector<double> y;
    for (int t = 0; t < 12; ++t) {
        const double own = tank_sd * random.normal();
        for (int f = 0; f < 3; ++f) {
            tank.push_back("tank " + std::to_string(t));
            treatment.emplace_back(t % 2 == 0 ? "control" : "exposed");
            y.push_back(own + (t % 2 == 0 ? 0.0 : effect) + random.normal());
        }
    }
    Table table(tank);
    EXPECT_TRUE(table.add_factor("tank", tank) && table.add_factor("treatment", treatment) &&
                table.add_numbers("y", y));
    return MixedModel::make(
               table, {.outcome = "y", .fixed = {.terms = {{{"treatment"}}}}, .random = {{.group = "tank"}}})
        .value();
}

TEST(MixedBootstrap, a_balanced_layout_gives_the_interval_of_its_t) {
    const auto model = tanks(3.0, 2.0);
    const auto fit = fit_mixed(model);
    ASSERT_TRUE(fit);
    const auto draws = bootstrap_mixed(model, *fit, {.draws = 4000});
    ASSERT_TRUE(draws) << draws.error().text();
    EXPECT_EQ(draws->failed, 0U);
    const auto& b = draws->coefficients[1];
    const auto exact = SmallSample::make(model, *fit)->coefficients()[1];
    EXPECT_NEAR(exact.freedom, 10.0, 1e-6);
    // A 2.5 % quantile of 4,000 draws of t with 10 degrees of freedom: Monte Carlo standard error 0.05; 3 of
    // them.
    EXPECT_NEAR((b.upper - b.value) / exact.se, (exact.upper - exact.value) / exact.se, 0.15);
    EXPECT_NEAR((b.value - b.lower) / exact.se, (exact.value - exact.lower) / exact.se, 0.15);
    EXPECT_NEAR(b.p, exact.p, 3.0 * std::sqrt(exact.p * (1.0 - exact.p) / 4000.0) + 0.001);
    EXPECT_NEAR(b.se / exact.se, 1.0, 0.04);
    ASSERT_EQ(draws->sds.size(), 2U);
    EXPECT_EQ(draws->sds[0].group, "tank");
    EXPECT_LT(draws->sds[0].lower, fit->random[0].intercept_sd);
    EXPECT_GT(draws->sds[0].upper, fit->random[0].intercept_sd);
    // Residual: 24 degrees of freedom, sqrt(chi-squared / 24) between 0.7189 and 1.2809 (R: qchisq(c(.025,
    // .975), 24)).
    EXPECT_NEAR(draws->sds[1].lower / fit->residual_sd, 0.7188, 0.03);
    EXPECT_NEAR(draws->sds[1].upper / fit->residual_sd, 1.2807, 0.03);
}

TEST(MixedBootstrap, the_number_of_threads_changes_no_bit) {
    const auto model = tanks(0.3, 1.0);
    const auto fit = fit_mixed(model);
    ASSERT_TRUE(fit);
    const auto one = bootstrap_mixed(model, *fit, {.draws = 200, .threads = {.count = 1}});
    const auto two = bootstrap_mixed(model, *fit, {.draws = 200, .threads = {.count = 3}});
    ASSERT_TRUE(one && two);
    EXPECT_EQ(one->coefficients[1].lower, two->coefficients[1].lower);
    EXPECT_EQ(one->coefficients[1].p, two->coefficients[1].p);
    EXPECT_EQ(one->sds[0].upper, two->sds[0].upper);
    EXPECT_GT(one->sds[0].at_zero, 0.0);
    EXPECT_EQ(bootstrap_mixed(model, *fit, {.draws = 10}).error().code, ErrorCode::too_few);
    EXPECT_EQ(bootstrap_mixed(model, *fit, {.level = 1.0}).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::stats
