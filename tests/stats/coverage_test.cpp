// Recover the truth: simulated studies of twelve fish, whose answers are known.

#include <cmath>
#include <iostream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/small_sample.hpp"

namespace backeddy::stats {
namespace {

struct Study {
    Table table{{}};
    double between = 0.0; ///< true difference of the two rigs, each fish on one of them
    double within = 0.0;  ///< true difference of the two events, each fish through both
};

/// Twelve fish on two rigs, each measured one to three times after either of two events: not balanced.
Study twelve_fish(double fish_sd, std::uint64_t seed) {
    Random random(20260101, seed);
    std::vector<std::string> fish;
    std::vector<std::string> rig;
    std::vector<std::string> event;
    std::vector<double> y;
    Study study{.between = 0.5, .within = -0.3};
    for (int f = 0; f < 12; ++f) {
        const double own = fish_sd * random.normal();
        for (int e = 0; e < 2; ++e) {
            const std::uint64_t times = 1 + random.below(3);
            for (std::uint64_t k = 0; k < times; ++k) {
                fish.push_back("fish " + std::to_string(f));
                rig.emplace_back(f % 2 == 0 ? "circle" : "treble");
                event.emplace_back(e == 0 ? "capture" : "chase");
                y.push_back(5.0 + own + (f % 2 == 0 ? 0.0 : study.between) + (e == 0 ? 0.0 : study.within) +
                            random.normal());
            }
        }
    }
    study.table = Table(fish);
    EXPECT_TRUE(study.table.add_factor("fish", fish) && study.table.add_factor("rig", rig) &&
                study.table.add_factor("event", event) && study.table.add_numbers("y", y));
    return study;
}

struct Missed {
    int between = 0;
    int within = 0;
};

TEST(Coverage, intervals_of_twelve_fish_hold_the_truth_as_often_as_they_say) {
    constexpr int runs = 500;
    for (const double fish_sd : {1.0, 0.3}) {
        Missed satterthwaite;
        Missed kenward_roger;
        Missed normal;
        int singular = 0;
        for (int run = 0; run < runs; ++run) {
            const auto study = twelve_fish(fish_sd, static_cast<std::uint64_t>(run));
            const auto model = MixedModel::make(study.table, {.outcome = "y",
                                                              .fixed = {.terms = {{{"rig"}}, {{"event"}}}},
                                                              .random = {{.group = "fish"}}});
            ASSERT_TRUE(model) << model.error().text();
            const auto fit = fit_mixed(*model);
            ASSERT_TRUE(fit) << "run " << run << ": " << fit.error().text();
            singular += fit->is_singular ? 1 : 0;
            const auto count = [&](const std::vector<Estimate>& coefficients, Missed& missed) {
                const auto misses = [](const Estimate& e, double truth) {
                    return truth < e.lower || truth > e.upper ? 1 : 0;
                };
                missed.between += misses(coefficients[1], study.between);
                missed.within += misses(coefficients[2], study.within);
            };
            count(fit->coefficients, normal);
            const auto s = SmallSample::make(*model, *fit, FreedomMethod::satterthwaite);
            const auto k = SmallSample::make(*model, *fit, FreedomMethod::kenward_roger);
            ASSERT_TRUE(s && k) << "run " << run;
            count(s->coefficients(), satterthwaite);
            count(k->coefficients(), kenward_roger);
        }
        const auto share = [](int missed) { return static_cast<double>(missed) / runs; };
        std::cout << "sd between fish " << fish_sd << " of a residual of 1, " << runs << " studies, "
                  << singular << " singular; missed (between, within fish): normal " << share(normal.between)
                  << " " << share(normal.within) << ", Satterthwaite " << share(satterthwaite.between) << " "
                  << share(satterthwaite.within) << ", Kenward-Roger " << share(kenward_roger.between) << " "
                  << share(kenward_roger.within) << "\n";
        // 5 % of 500 has a Monte Carlo standard error of 1 %: three of them either way, and what a method
        // that is a little too narrow or wide at this size may do besides.
        for (const auto& missed : {satterthwaite, kenward_roger}) {
            EXPECT_LT(share(missed.between), 0.085);
            EXPECT_GT(share(missed.between), 0.015);
            EXPECT_LT(share(missed.within), 0.085);
            EXPECT_GT(share(missed.within), 0.015);
        }
    }
}

} // namespace
} // namespace backeddy::stats
