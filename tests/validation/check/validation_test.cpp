// A first look at what script/validate shows in full: a few stays of every scenario, with seeds of its own so
// that the fixed grid stays unseen.

#include <cmath>
#include <cstdio>

#include <gtest/gtest.h>

#include "base/parallel.hpp"
#include "validation/judged.hpp"

namespace backeddy::validation {
namespace {

constexpr const char* grid = BACKEDDY_SOURCE_DIR "/tests/validation/scenarios.csv";

TEST(Validation, the_grid_is_the_one_that_was_fixed) {
    const auto scenarios = read_scenarios(grid);
    ASSERT_TRUE(scenarios) << scenarios.error().text();
    EXPECT_EQ(scenarios->size(), 24U);
    std::uint64_t stays = 0;
    for (const auto& scenario : *scenarios) {
        stays += scenario.stays;
    }
    EXPECT_GE(stays, 4000U);
    EXPECT_EQ(scenarios->front().seed, 20260901U);
    EXPECT_EQ(scenarios->back().seed, 20260924U);
}

TEST(Validation, the_same_stay_twice_is_the_same) {
    const auto scenario = read_scenarios(grid)->at(20);
    const auto a = simulate_stay(scenario, 3);
    const auto b = simulate_stay(scenario, 3);
    ASSERT_TRUE(a && b);
    EXPECT_EQ(a->trace.oxygen_mg_per_l, b->trace.oxygen_mg_per_l);
    EXPECT_NE(a->trace.oxygen_mg_per_l, simulate_stay(scenario, 4)->trace.oxygen_mg_per_l);
}

// 240 stays: 95 % +- 3.5 binomial standard deviations (1.4 % each) is 90-100 %; bias within 0.5 % and three
// errors.
TEST(Validation, uptake_holds_the_truth_about_as_often_as_it_says) {
    auto scenarios = *read_scenarios(grid);
    constexpr std::size_t each = 10;
    std::vector<Judged> all(scenarios.size() * each);
    parallel_for(all.size(), {}, [&](std::size_t i) {
        auto scenario = scenarios[i / each];
        scenario.seed += 77'000'000;
        const auto simulated = simulate_stay(scenario, i % each);
        all[i] = simulated ? judged(*simulated) : Judged{.failed = simulated.error().text()};
    });
    double covered = 0.0;
    double bias = 0.0;
    double squares = 0.0;
    for (const auto& stay : all) {
        ASSERT_EQ(stay.failed, "");
        ASSERT_TRUE(stay.spell);
        covered += stay.spell->is_covered() ? 1.0 : 0.0;
        bias += stay.spell->relative_error();
        squares += stay.spell->relative_error() * stay.spell->relative_error();
    }
    const auto n = static_cast<double>(all.size());
    bias /= n;
    const double bias_error = std::sqrt(((squares / n) - (bias * bias)) / n);
    EXPECT_GE(covered / n, 0.90);
    EXPECT_LT(covered / n, 0.995);
    EXPECT_LT(std::abs(bias), 0.005 + (3.0 * bias_error)) << bias << " +- " << bias_error;
}

// The curve in time against the fish of the same physics, point by point: 10 stays of each scenario. What it
// shows is in docs/methods.md; the bounds here are looser by three errors of such a sample.
TEST(Validation, the_curve_in_time_holds_the_truth_with_its_band) {
    const auto scenarios = *read_scenarios(grid);
    constexpr std::size_t each = 10;
    std::vector<JudgedCurve> all(scenarios.size() * each);
    parallel_for(all.size(), {}, [&](std::size_t i) {
        auto scenario = scenarios[i / each];
        scenario.seed += 78'000'000;
        const auto simulated = simulate_stay(scenario, i % each);
        all[i] = simulated ? judged_curve(*simulated) : JudgedCurve{.failed = simulated.error().text()};
    });
    for (const bool fast : {true, false}) {
        double points = 0.0;
        double band = 0.0;
        double with_scale = 0.0;
        double bias = 0.0;
        double rms = 0.0;
        double stays = 0.0;
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (uptake::is_fast(scenarios[i / each].role) != fast) {
                continue;
            }
            ASSERT_EQ(all[i].failed, "");
            points += all[i].points;
            band += all[i].held_by_band;
            with_scale += all[i].held_with_scale;
            bias += all[i].relative_error;
            rms += all[i].rms_error;
            stays += 1.0;
        }
        SCOPED_TRACE(fast ? "after capture" : "rest");
        std::printf("%s: %.0f stays, %.0f points; band holds %.1f %%, with scale %.1f %%; bias %.2f %%, rms "
                    "%.1f %%\n",
                    fast ? "after capture" : "rest", stays, points, 100.0 * band / points,
                    100.0 * with_scale / points, 100.0 * bias / stays, 100.0 * rms / stays);
        EXPECT_GT(with_scale / points, 0.90);
        EXPECT_LT(std::abs(bias / stays), 0.01);
    }
}

} // namespace
} // namespace backeddy::validation
