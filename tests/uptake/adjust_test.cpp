#include "uptake/adjust.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

namespace backeddy::uptake {
namespace {

Temperature degrees(double v) {
    return Temperature::celsius(v);
}

UptakeRate rate(double mg_per_h, double u, double mass_kg, double mass_u) {
    const Measured whole(mg_per_h, u, "slope");
    return {.mg_per_h = whole, .mg_per_kg_h = whole / Measured(mass_kg, mass_u, "mass of fish")};
}

// Definition Q10 = (R2/R1)^(10/(T2-T1)): 50 and 90 at 10 and 18 degC give 1.8^1.25.
TEST(Adjust, q10_of_two_rates_is_its_definition) {
    EXPECT_NEAR(q10_of(50.0, degrees(10.0), 90.0, degrees(18.0)).value(), 2.084925934, 1e-9);
}

// Clarke and Johnston 1999, J Anim Ecol 68:893, abstract: ln R = 15.7 - 5.02 (1000/T) for a 50 g teleost; a
// Q10 of 1.83 over 0-30 degC ("resting metabolic rate ... about six times").
TEST(Adjust, arrhenius_line_of_resting_teleosts_gives_its_printed_q10) {
    const double energy = activation_energy_ev(5.02);
    EXPECT_NEAR(energy, 0.4325901166, 1e-7);
    const double factor = arrhenius_factor(energy, degrees(0.0), degrees(30.0));
    EXPECT_NEAR(factor, 6.163972606, 1e-6);
    EXPECT_NEAR(q10_of(1.0, degrees(0.0), factor, degrees(30.0)).value(), 1.83, 0.005);
}

TEST(Adjust, there_and_back_by_q10_is_where_one_began) {
    const Measured q10(2.4, 0.4, "Q10");
    const auto there = q10_factor(q10, degrees(8.0), degrees(13.0)).value();
    const auto back = q10_factor(q10, degrees(13.0), degrees(8.0)).value();
    const Measured round = there * back;
    EXPECT_NEAR(round.value(), 1.0, 1e-14);
    EXPECT_NEAR(round.standard_uncertainty(), 0.0, 1e-14) << "the same Q10's uncertainty cancels";
    EXPECT_NEAR(q10_factor(q10, degrees(8.0), degrees(18.0)).value().value(), 2.4, 1e-14);
    EXPECT_NEAR(q10_factor(q10, degrees(8.0), degrees(18.0)).value().standard_uncertainty(), 0.4, 1e-14);
}

// Norin and others 2019, PeerJ, table 2 (PMC6777481): haddock, SMR 84.3 mg/kg/h at 63.0 g printed as 76.9 at
// 100 g with exponent 0.80.
TEST(Adjust, haddock_at_a_hundred_grams_is_as_printed) {
    const auto factor = mass_factor_specific(Measured(0.0630), Mass::grams(100.0), Measured(0.80));
    EXPECT_NEAR(84.3 * factor.value().value(), 76.9, 0.05);
}

// Jerde and others 2019, Front Physiol 10:1166: exponent 0.89. A 0.3 kg fish against one of 1 kg:
// 0.3^(-0.11).
TEST(Adjust, small_fish_use_more_per_kilogram) {
    const auto factor = mass_factor_specific(Measured(1.0), Mass::kilograms(0.3), Measured(0.89));
    EXPECT_NEAR(factor.value().value(), 1.141607102, 1e-9);
}

TEST(Adjust, whole_and_specific_adjustment_agree) {
    const Measured mass(0.63, 0.01, "mass of fish");
    const auto both = to_standard_mass(rate(55.0, 2.0, 0.63, 0.01), mass).value();
    const auto& adjusted = both.by_exponent.adjusted;
    const Measured specific =
        Measured(55.0, 2.0, "slope") / mass *
        mass_factor_specific(mass, Mass::kilograms(1.0), Measured(0.89, 0.043, "mass exponent")).value();
    EXPECT_NEAR(adjusted.mg_per_kg_h->value(), specific.value(), 1e-10);
    EXPECT_NEAR(adjusted.mg_per_kg_h->standard_uncertainty(), specific.standard_uncertainty(), 1e-10);
    EXPECT_NE(both.by_check_exponent.adjusted.mg_per_h.value(), adjusted.mg_per_h.value());
}

TEST(Adjust, a_long_step_is_marked_as_a_model) {
    const auto near = to_temperature(rate(50.0, 1.0, 1.0, 0.0), degrees(10.0), degrees(11.5)).value();
    EXPECT_TRUE(near.reasons.empty());
    const auto far = to_temperature(rate(50.0, 1.0, 1.0, 0.0), degrees(10.0), degrees(14.0)).value();
    ASSERT_EQ(far.reasons.size(), 1U);
    EXPECT_EQ(far.reasons[0].text, "adjusted over 4.00 degC by a borrowed Q10: a model, not a correction");
    EXPECT_EQ(far.as_measured.mg_per_h.value(), 50.0);
    EXPECT_EQ(far.how, "from 10.0 to 14.0 degC with Q10 = 2.40");
}

TEST(Adjust, what_cannot_be_adjusted_is_refused_in_words) {
    EXPECT_FALSE(q10_of(0.0, degrees(10.0), 90.0, degrees(18.0)));
    EXPECT_FALSE(q10_of(50.0, degrees(10.0), std::nan(""), degrees(18.0)));
    EXPECT_FALSE(q10_of(50.0, degrees(10.0), 90.0, degrees(10.0)));
    EXPECT_FALSE(q10_factor(Measured(-2.0), degrees(10.0), degrees(12.0)));
    const auto massless = mass_factor_whole(Measured(0.0), Mass::kilograms(1.0), Measured(0.89));
    ASSERT_FALSE(massless);
    EXPECT_EQ(massless.error().text(),
              "the fish's mass in kg is 0.00000; it must be above 0; look at the rows it comes from");
}

TEST(Adjust, published_salmonids_raise_no_flag_and_slips_of_unit_do) {
    // Zhang and others 2020 (rainbow trout peak 663-707), Brett 1964 (young sockeye, active 895; standard
    // 75-90).
    EXPECT_TRUE(implausible(80.0, 895.0, 11.0).empty());
    EXPECT_TRUE(implausible(std::nullopt, 663.0, std::nullopt).empty());
    EXPECT_EQ(implausible(80000.0, 663.0, 0.008).size(), 2U);
    EXPECT_EQ(implausible(std::numeric_limits<double>::quiet_NaN(), std::nullopt, std::nullopt).size(), 1U);
    EXPECT_EQ(implausible(-3.0, std::nullopt, std::nullopt)[0].word, "implausible_rest");
}

} // namespace
} // namespace backeddy::uptake
