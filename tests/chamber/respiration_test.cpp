#include "chamber/respiration.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace backeddy::chamber {
namespace {

Respiration fish_with(std::vector<Phase> phases, double rise_s = 0.0) {
    return {Fish{.resting_mg_per_h = 80,
                 .excesses = {{.at_s = 0, .rise_s = rise_s, .phases = std::move(phases)}}},
            Swing{.mean = 13.0}};
}

// Closed forms of recovery: epoc_one_phase_to_infinity (500 mg), epoc_one_phase_first_hour (349.402894),
// epoc_two_phase (633.3333333), recovery_time_to_ten_percent_above (3.597906761 h).
TEST(Respiration, the_excess_is_the_closed_form_of_its_decay) {
    const auto one = fish_with({{.amplitude_mg_per_h = 600, .rate_per_h = 1.2}});
    EXPECT_NEAR(one.excess_mg(0, 3600), 349.402894, 1e-4);
    EXPECT_NEAR(one.excess_mg(0, 200 * 3600), 500.0, 1e-6);
    const auto two = fish_with(
        {{.amplitude_mg_per_h = 400, .rate_per_h = 3}, {.amplitude_mg_per_h = 200, .rate_per_h = 0.4}});
    EXPECT_NEAR(two.excess_mg(0, 500 * 3600), 633.3333333, 1e-4);
    EXPECT_NEAR(*one.recovered_at_s(0, 20 * 3600, 0.1), 3.597906761 * 3600, 0.02);
    EXPECT_EQ(one.recovered_at_s(0, 3 * 3600, 0.1), std::nullopt);
}

/// Trapezoids fine enough to show 1e-7 relative; independent of the closed forms.
double summed_mg(const Respiration& fish, double from_s, double to_s) {
    constexpr int n = 2000000;
    const double h = (to_s - from_s) / n;
    double sum = 0.5 * (fish.at(from_s) + fish.at(to_s));
    for (int i = 1; i < n; ++i) {
        sum += fish.at(from_s + (i * h));
    }
    return sum * h / 3600.0;
}

TEST(Respiration, its_integral_is_the_sum_of_its_values) {
    Fish fish{.resting_mg_per_h = 90,
              .rhythm_share = 0.15,
              .rhythm_high_at_s = 5000,
              .excesses = {{.at_s = 100,
                            .rise_s = 60,
                            .phases = {{.amplitude_mg_per_h = 250, .hold_s = 400, .rate_per_h = 5}}},
                           {.at_s = 3000, .rise_s = 30, .phases = {{120, 0, 8}}, .earlier = Earlier::ends}},
              .dies_at_s = 6000};
    EXPECT_NEAR(Respiration(fish, {}).taken_mg(0, 8000) / summed_mg(Respiration(fish, {}), 0, 8000), 1.0,
                1e-6);
    fish.q10 = 2.1;
    const Swing temperature{.mean = 12.5, .waves = {{.amplitude = 0.6, .period_s = tide_period_s}}};
    EXPECT_NEAR(Respiration(fish, temperature).taken_mg(0, 8000) /
                    summed_mg(Respiration(fish, temperature), 0, 8000),
                1.0, 1e-6);
}

TEST(Respiration, the_quadrature_meets_the_closed_form) {
    // A q10 just off 1 goes by quadrature and must give the closed form's number.
    Fish fish{.excesses = {{.at_s = 50, .rise_s = 20, .phases = {{300, 90, 6}, {50, 2000, 0.3}}}}};
    const double closed = Respiration(fish, Swing{.mean = 13.0}).taken_mg(0, 10000);
    fish.q10 = 1.0 + 1e-15;
    EXPECT_NEAR(Respiration(fish, Swing{.mean = 13.0}).taken_mg(0, 10000) / closed, 1.0, 1e-12);
}

TEST(Respiration, q10_is_the_ratio_over_ten_degrees) {
    // q10_two_rates: 50 at 10 degC and 90 at 18 degC have Q10 2.084925934 (definition).
    const Fish fish{.resting_mg_per_h = 50, .q10 = 2.084925934, .reference_celsius = 10};
    EXPECT_NEAR(Respiration(fish, Swing{.mean = 18}).at(0), 90.0, 1e-6);
}

TEST(Respiration, an_event_can_start_anew) {
    Fish fish{.resting_mg_per_h = 80,
              .excesses = {{.at_s = 0, .phases = {{100, 0, 0.1}}}, {.at_s = 600, .phases = {{40, 0, 1}}}}};
    EXPECT_NEAR(Respiration(fish, {}).at(600), 80 + (100 * std::exp(-0.1 / 6)) + 40, 1e-9);
    fish.excesses[1].earlier = Earlier::ends;
    EXPECT_NEAR(Respiration(fish, {}).at(600), 120, 1e-9);
    EXPECT_NEAR(Respiration(fish, {}).at(599.999), 80 + (100 * std::exp(-0.1 / 6)), 1e-3);
}

TEST(Respiration, a_dead_fish_takes_up_nothing_for_long) {
    const Fish fish{.resting_mg_per_h = 80, .dies_at_s = 1000, .fade_s = 100};
    const Respiration respiration(fish, {});
    EXPECT_DOUBLE_EQ(respiration.at(999), 80);
    EXPECT_NEAR(respiration.at(1100), 80 / std::exp(1.0), 1e-9);
    EXPECT_NEAR(respiration.taken_mg(1000, 1e6), 80.0 * 100 / 3600, 1e-9);
}

TEST(Respiration, bouts_come_as_often_as_asked) {
    Random random(11, 3);
    const auto bouts = draw_bouts(random, Unrest{.bouts_per_h = 2.0}, 0, 1000 * 3600.0);
    EXPECT_NEAR(static_cast<double>(bouts.size()), 2000, 4 * std::sqrt(2000.0)); // Poisson, four sd
    double mean = 0.0;
    for (const auto& bout : bouts) {
        mean += bout.phases[0].amplitude_mg_per_h / static_cast<double>(bouts.size());
    }
    EXPECT_NEAR(mean, 30.0, 4 * 30.0 / std::sqrt(2000.0));
}

TEST(Microbes, their_integral_is_the_sum_of_their_values) {
    for (const auto growth : {Growth::steady, Growth::straight, Growth::exponential, Growth::sigmoid}) {
        const Microbes microbes{.growth = growth,
                                .start_mg_per_h = 2,
                                .since_s = 1000,
                                .slope_mg_per_h_per_h = 0.4,
                                .rate_per_h = 0.35,
                                .ceiling_mg_per_h = 9};
        constexpr int n = 1000000;
        const double h = 40000.0 / n;
        double sum = 0.5 * (microbes.at(0) + microbes.at(40000));
        for (int i = 1; i < n; ++i) {
            sum += microbes.at(i * h);
        }
        EXPECT_NEAR(microbes.taken_mg(0, 40000) / (sum * h / 3600), 1.0, 1e-7) << static_cast<int>(growth);
    }
}

TEST(Microbes, grow_as_the_closed_form_between_two_blanks) {
    // background_growing_between and background_straight_between: 0.2 to 0.8 in 16 h, at 4 h.
    const Microbes growing{
        .growth = Growth::exponential, .start_mg_per_h = 0.2, .rate_per_h = std::log(4.0) / 16};
    EXPECT_NEAR(growing.at(4 * 3600.0), 0.2828427125, 1e-9);
    const Microbes straight{
        .growth = Growth::straight, .start_mg_per_h = 0.2, .slope_mg_per_h_per_h = 0.6 / 16};
    EXPECT_NEAR(straight.at(4 * 3600.0), 0.35, 1e-9);
}

} // namespace
} // namespace backeddy::chamber
