// Recover the truth: simulated plates whose concentrations are known. The tables are printed.

#include <cmath>
#include <iostream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "condition/plate.hpp"
#include "condition/plates.hpp"

namespace backeddy::condition {
namespace {

using plates::Noise;
using plates::Plate;

/// How often an interval was given, and how often it held the truth.
struct Held {
    int given = 0;
    int held = 0;

    void count(double lower, double truth, double upper) {
        ++given;
        held += lower <= truth && truth <= upper ? 1 : 0;
    }
    [[nodiscard]] double share() const { return static_cast<double>(held) / given; }
};

/// As a share of the way, on the logarithm, from the lowest standard to the highest.
const std::vector<double> ways{0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0};

/// Eleven samples and as many again in between, in duplicate, beside seven standards in duplicate.
std::vector<Held> coverage(const LogisticCurve& curve, Noise noise, int runs) {
    const double ends = std::pow(2.5, 3.0);
    const auto truth = [&](double way) { return std::pow(ends, (2.0 * way) - 1.0); };
    std::vector<Held> held(ways.size());
    for (int run = 0; run < runs; ++run) {
        Plate made(curve, noise, 20261129, static_cast<std::uint64_t>(run));
        made.standards(7);
        for (const double way : ways) {
            made.sample(std::to_string(way), truth(way));
        }
        for (int k = 0; k < 11; ++k) {
            made.sample("other " + std::to_string(k), truth(made.random().uniform()));
        }
        const auto plate = evaluate_plate(made.wells());
        EXPECT_TRUE(plate) << plate.error().text();
        for (std::size_t k = 0; plate && k < ways.size(); ++k) {
            if (const auto& c = plate->samples[k].concentration) {
                held[k].count(c->lower, truth(ways[k]), c->upper);
            }
        }
    }
    return held;
}

struct Case {
    std::string name;
    LogisticCurve curve;
    Noise noise;
};

// A power of the response for a noise with a floor held 88 % at the highest standard of the falling curve and
// 92 % a twentieth of the way before it, and 97 to 98 % at a third of the way of the rising one.
TEST(PlateCoverage, intervals_hold_the_truth_as_often_as_they_say) {
    constexpr int runs = 2000;
    const std::vector<Case> cases{
        {"falling, floor 0.01, 4 %", plates::falling, {.floor = 0.01, .share = 0.04}},
        {"rising,  floor 0.01, 4 %", plates::rising, {.floor = 0.01, .share = 0.04}},
        {"falling, floor 0.02, 2 %", plates::falling, {.floor = 0.02, .share = 0.02}}};
    std::cout << "way along the standards 0 .. 1; % held of those given a number\n";
    for (const auto& one : cases) {
        const auto held = coverage(one.curve, one.noise, runs);
        std::cout << one.name << ": ";
        for (std::size_t k = 0; k < ways.size(); ++k) {
            std::cout << std::round(1000.0 * held[k].share()) / 10.0 << (k + 1 < ways.size() ? ", " : "\n");
            // 93 to 97 %, and three errors of the binomial for how many were given a number: about half at
            // the ends.
            const double slack = 3.0 * std::sqrt(0.05 * 0.95 / held[k].given);
            EXPECT_GT(held[k].given, runs / 3) << one.name << " at " << ways[k];
            EXPECT_GT(held[k].share(), 0.93 - slack) << one.name << " at " << ways[k];
            EXPECT_LT(held[k].share(), 0.97 + slack) << one.name << " at " << ways[k];
        }
    }
}

TEST(PlateCoverage, dilutions_spikes_and_edges_hold_it_too) {
    constexpr int runs = 1000;
    Held series;
    Held parallel;
    Held spike;
    Held control;
    Held edge;
    int called_apart = 0;
    for (int run = 0; run < runs; ++run) {
        Plate made(plates::falling, {.floor = 0.01, .share = 0.03}, 7, static_cast<std::uint64_t>(run));
        made.standards(7);
        for (const double dilution : {4.0, 8.0, 16.0, 32.0}) {
            made.sample("series", 16.0, dilution);
        }
        made.sample("low", 0.5);
        made.add({.kind = WellKind::spiked, .label = "low", .added = 1.0}, 1.5);
        made.add({.kind = WellKind::control, .label = "pool", .expected = 2.0}, 2.0);
        for (int k = 0; k < 6; ++k) {
            made.sample("other " + std::to_string(k), 0.3 * (k + 1), 1.0, 4);
        }
        const auto plate = evaluate_plate(made.wells());
        ASSERT_TRUE(plate) << plate.error().text();
        const auto& first = plate->samples.front();
        if (first.parallelism && first.concentration) {
            series.count(first.concentration->lower, 16.0, first.concentration->upper);
            parallel.count(first.parallelism->lower, 0.0, first.parallelism->upper);
            called_apart += first.parallelism->verdict == Parallel::no ? 1 : 0;
        }
        const auto& spiked = plate->spikes.front().recovery;
        ASSERT_TRUE(spiked);
        spike.count(spiked->lower, 1.0, spiked->upper);
        control.count(plate->controls.front().recovery->lower, 1.0, plate->controls.front().recovery->upper);
        edge.count(plate->edge.difference->lower, 0.0, plate->edge.difference->upper);
    }
    std::cout << "held: four dilutions " << series.share() << ", their parallelism " << parallel.share()
              << ", spike " << spike.share() << ", control " << control.share() << ", edge " << edge.share()
              << "; called not parallel " << called_apart << " of " << parallel.given << '\n';
    for (const Held* held : {&series, &parallel, &spike, &control, &edge}) {
        EXPECT_GT(held->given, runs - 10);
        EXPECT_GT(held->share(), 0.92); // three binomial standard errors of 1000 are 2 %
        EXPECT_LT(held->share(), 0.985);
    }
    EXPECT_LT(called_apart, runs / 25);
}

} // namespace
} // namespace backeddy::condition
