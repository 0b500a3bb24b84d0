// Sources: R 4.2.2 nls refined by Gauss-Newton (reference/stats 04); closed forms; simulation.

#include "fit/decay.hpp"

#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

using support::agrees;

TEST(Decay, agrees_with_r_in_one_phase_above_a_fitted_floor) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "onephase_floor");
    const auto table = support::data_of(one);
    const auto fit = fit_decay(table.numbers("t"), table.numbers("y"));
    ASSERT_TRUE(fit) << fit.error().text();
    support::expect_agrees(one, "/estimate/floor", fit->baseline, fit->baseline_se());
    support::expect_agrees(one, "/estimate/span", fit->phases[0].amplitude, fit->amplitude_se(0));
    support::expect_agrees(one, "/estimate/k", fit->phases[0].rate, fit->rate_se(0));
    support::expect_agrees(one, "/se/floor", fit->baseline_se());
    support::expect_agrees(one, "/se/span", fit->amplitude_se(0));
    support::expect_agrees(one, "/se/k", fit->rate_se(0));
    support::expect_agrees(one, "/rss", fit->residual_squares);
    support::expect_agrees(one, "/loglik", fit->log_likelihood, 1.0);
    for (std::size_t k = 0; k < 3; ++k) {
        const double t = one["expected"]["predict"]["at"]["t"][k];
        const auto got = value_at(*fit, t);
        support::expect_agrees(one, "/predict/fit/" + std::to_string(k), got.value, got.se);
        support::expect_agrees(one, "/predict/se_fit/" + std::to_string(k), got.se);
    }
    for (std::size_t i = 0; i < 3; ++i) {
        for (std::size_t j = 0; j < 3; ++j) {
            support::expect_agrees(one, "/vcov/" + std::to_string(i) + "/" + std::to_string(j),
                                   fit->covariance[(3 * i) + j],
                                   std::sqrt(fit->covariance[4 * i] * fit->covariance[4 * j]));
        }
    }
}

TEST(Decay, agrees_with_r_in_two_phases_and_prefers_them_there) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "twophase_floor");
    const auto table = support::data_of(one);
    const auto t = table.numbers("t");
    const auto y = table.numbers("y");
    const auto choice = choose_decay(t, y);
    ASSERT_TRUE(choice);
    EXPECT_GT(choice->aicc_gain, 0.0);
    const Decay& fit = choice->best;
    ASSERT_EQ(fit.phases.size(), 2U);
    EXPECT_GT(fit.phases[0].rate, fit.phases[1].rate);
    support::expect_agrees(one, "/estimate/floor", fit.baseline, fit.baseline_se());
    support::expect_agrees(one, "/estimate/s1", fit.phases[0].amplitude, fit.amplitude_se(0));
    support::expect_agrees(one, "/estimate/k1", fit.phases[0].rate, fit.rate_se(0));
    support::expect_agrees(one, "/estimate/s2", fit.phases[1].amplitude, fit.amplitude_se(1));
    support::expect_agrees(one, "/estimate/k2", fit.phases[1].rate, fit.rate_se(1));
    support::expect_agrees(one, "/se/floor", fit.baseline_se());
    support::expect_agrees(one, "/se/s1", fit.amplitude_se(0));
    support::expect_agrees(one, "/se/k1", fit.rate_se(0));
    support::expect_agrees(one, "/se/s2", fit.amplitude_se(1));
    support::expect_agrees(one, "/se/k2", fit.rate_se(1));
    support::expect_agrees(one, "/loglik", fit.log_likelihood, 1.0);
    // AICc from R's AIC: K = 6 with the variance, n = 45.
    EXPECT_TRUE(
        agrees(fit.aicc, one["expected"]["aic"].get<double>() + (2.0 * 6 * 7 / (45 - 7)), 1e-6, 1, "aicc"));
}

TEST(Decay, agrees_with_r_in_two_phases_to_a_baseline_of_zero) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "biexp_indometh1");
    const auto table = support::data_of(one);
    const auto fit = fit_decay(table.numbers("time"), table.numbers("conc"), {.phases = 2, .baseline = 0.0});
    ASSERT_TRUE(fit) << fit.error().text();
    support::expect_agrees(one, "/estimate/A1", fit->phases[0].amplitude, fit->amplitude_se(0));
    support::expect_agrees(one, "/estimate/A2", fit->phases[1].amplitude, fit->amplitude_se(1));
    support::expect_agrees(one, "/derived/k1/estimate", fit->phases[0].rate, fit->rate_se(0));
    support::expect_agrees(one, "/derived/k2/estimate", fit->phases[1].rate, fit->rate_se(1));
    support::expect_agrees(one, "/derived/k1/se_delta", fit->rate_se(0));
    support::expect_agrees(one, "/derived/k2/se_delta", fit->rate_se(1));
    support::expect_agrees(one, "/rss", fit->residual_squares);
}

Decay known() {
    return {.phases = {{.amplitude = 200, .rate = 2.0}, {.amplitude = 100, .rate = 0.25}},
            .baseline = 70,
            .covariance = std::vector<double>(16, 0.0),
            .n = 10,
            .freedom = 6};
}

TEST(Decay, areas_and_times_are_their_closed_forms) {
    const Decay decay = known();
    EXPECT_DOUBLE_EQ(decay.at(0), 370.0);
    EXPECT_NEAR(excess_area(decay).value, 100 + 400, 1e-12);
    EXPECT_NEAR(excess_area(decay, 0, 4).value, (100 * (1 - std::exp(-8.0))) + (400 * (1 - std::exp(-1.0))),
                1e-10);
    EXPECT_NEAR(excess_area(decay, 1, 4).value + excess_area(decay, 0, 1).value,
                excess_area(decay, 0, 4).value, 1e-10);
    // Long after, only the slow phase is left: 100 exp(-t/4) = 7.
    const auto late = time_to_level(decay, 77.0);
    ASSERT_TRUE(late);
    EXPECT_NEAR(late->value, 4 * std::log(100.0 / 7.0), 1e-6);
    EXPECT_NEAR(decay.at(late->value), 77.0, 1e-10);
    EXPECT_FALSE(time_to_level(decay, 70.0));
    EXPECT_FALSE(time_to_level(decay, 371.0));
}

TEST(Decay, finds_the_last_crossing_where_uptake_first_rises) {
    Decay decay = known();
    decay.phases[0].amplitude = -90; // starts at 80, rises, then falls
    const auto late = time_to_level(decay, 85.0);
    ASSERT_TRUE(late);
    EXPECT_NEAR(decay.at(late->value), 85.0, 1e-9);
    EXPECT_LT(decay.at(late->value + 0.1), 85.0);
    EXPECT_GT(decay.at(late->value - 0.1), 85.0);
}

TEST(Decay, errors_of_areas_and_times_are_those_of_repeated_experiments) {
    std::vector<double> t;
    for (int i = 0; i < 40; ++i) {
        t.push_back(0.25 * i);
    }
    const int runs = 400;
    double area_sum = 0;
    double area_squares = 0;
    double area_error = 0;
    double time_sum = 0;
    double time_squares = 0;
    double time_error = 0;
    for (int run = 0; run < runs; ++run) {
        Random random(5, static_cast<std::uint64_t>(run));
        std::vector<double> y;
        for (const double at : t) {
            y.push_back(70 + (100 * std::exp(-0.5 * at)) + (3 * random.normal()));
        }
        const auto fit = fit_decay(t, y);
        ASSERT_TRUE(fit);
        const auto area = excess_area(*fit, 0, 6);
        const auto time = time_to_level(*fit, 90);
        ASSERT_TRUE(time);
        area_sum += area.value / runs;
        area_squares += area.value * area.value / runs;
        area_error += area.se / runs;
        time_sum += time->value / runs;
        time_squares += time->value * time->value / runs;
        time_error += time->se / runs;
    }
    const double truth = 200 * (1 - std::exp(-3.0));
    const double area_sd = std::sqrt(area_squares - (area_sum * area_sum));
    const double time_sd = std::sqrt(time_squares - (time_sum * time_sum));
    EXPECT_NEAR(area_sum, truth, 5 * area_sd / std::sqrt(runs * 1.0));
    EXPECT_NEAR(time_sum, 2 * std::log(5.0), 5 * time_sd / std::sqrt(runs * 1.0));
    // The standard error of a standard deviation from 400 runs is 3.5 %.
    EXPECT_NEAR(area_error / area_sd, 1.0, 0.15);
    EXPECT_NEAR(time_error / time_sd, 1.0, 0.15);
}

TEST(Decay, weights_count_as_repeats) {
    Random random(8);
    std::vector<double> t;
    std::vector<double> y;
    for (int i = 0; i < 20; ++i) {
        t.push_back(i);
        y.push_back(10 + (50 * std::exp(-0.2 * i)) + random.normal());
    }
    auto twice_t = t;
    auto twice_y = y;
    std::vector<double> weights(20, 1.0);
    for (std::size_t i = 0; i < 5; ++i) {
        twice_t.push_back(t[i]);
        twice_y.push_back(y[i]);
        weights[i] = 2.0;
    }
    const auto weighted = fit_decay(t, y, {.weights = weights});
    const auto repeated = fit_decay(twice_t, twice_y);
    ASSERT_TRUE(weighted && repeated);
    EXPECT_NEAR(weighted->phases[0].rate, repeated->phases[0].rate, 1e-8);
    EXPECT_NEAR(weighted->residual_squares, repeated->residual_squares, 1e-8);
    EXPECT_EQ(weighted->freedom, 17U);
}

TEST(Decay, of_one_phase_is_chosen_where_there_is_but_one) {
    int one_phase = 0;
    for (std::uint64_t seed = 0; seed < 40; ++seed) {
        Random random(13, seed);
        std::vector<double> t;
        std::vector<double> y;
        for (int i = 0; i < 30; ++i) {
            t.push_back(0.3 * i);
            y.push_back(70 + (100 * std::exp(-0.5 * t.back())) + (4 * random.normal()));
        }
        const auto choice = choose_decay(t, y);
        ASSERT_TRUE(choice);
        one_phase += choice->best.phases.size() == 1 ? 1 : 0;
    }
    EXPECT_GE(one_phase, 32);
}

TEST(Decay, from_given_rates_is_the_fit_from_the_grid) {
    Random random(5);
    std::vector<double> t(60);
    std::vector<double> y(60);
    for (std::size_t i = 0; i < t.size(); ++i) {
        t[i] = 0.2 * static_cast<double>(i);
        y[i] = 80 + (300 * std::exp(-1.4 * t[i])) + (60 * std::exp(-0.2 * t[i])) + random.normal();
    }
    DecayOptions options{.phases = 2};
    const auto grid = fit_decay(t, y, options);
    options.start_rates = {2.0, 0.3};
    const auto near = fit_decay(t, y, options);
    ASSERT_TRUE(grid && near);
    for (std::size_t i = 0; i < 2; ++i) {
        EXPECT_NEAR(near->phases[i].rate, grid->phases[i].rate, 1e-6 * grid->phases[i].rate);
        EXPECT_NEAR(near->phases[i].amplitude, grid->phases[i].amplitude, 1e-6 * grid->phases[i].amplitude);
    }
    EXPECT_NEAR(near->residual_squares, grid->residual_squares, 1e-9 * grid->residual_squares);
    options.start_rates = {2.0};
    EXPECT_EQ(fit_decay(t, y, options).error().code, ErrorCode::out_of_range);
    options.start_rates = {2.0, -0.3};
    EXPECT_EQ(fit_decay(t, y, options).error().code, ErrorCode::out_of_range);
}

TEST(Decay, refuses_too_few_values_and_nonsense) {
    const std::vector<double> t{0, 1, 2};
    EXPECT_EQ(fit_decay(t, t).error().code, ErrorCode::too_few);
    EXPECT_EQ(fit_decay(t, t, {.phases = 3}).error().code, ErrorCode::out_of_range);
    const std::vector<double> same(6, 1.0);
    EXPECT_EQ(fit_decay(same, same).error().code, ErrorCode::degenerate);
}

} // namespace
} // namespace backeddy::fit
