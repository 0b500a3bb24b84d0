#include "quantity/measured.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "quantity/quantity.hpp"

namespace backeddy {
namespace {

// JCGM 100:2008, H.1 (end gauge): contributions 25, 9.7, 2.9, 16.6 nm combine to 32 nm as printed there.
TEST(Measured, combines_the_end_gauge_example_of_the_guide) {
    const Measured length(
        50000838.0, {{"standard", 25.0}, {"difference", 9.7}, {"expansion", 2.9}, {"temperature", 16.6}});
    EXPECT_NEAR(length.standard_uncertainty(), 31.7, 0.05);
    EXPECT_NEAR(length.share("standard"), 625.0 / 1003.06, 1e-12);
}

// JCGM 100:2008, 5.2.2 example: ten resistors calibrated against one standard of u = 100 milliohm, all
// through the same source, in series: u = 1 ohm (and not 0.32 ohm).
TEST(Measured, ten_resistors_from_one_standard_add_linearly) {
    Measured sum;
    for (int i = 0; i < 10; ++i) {
        sum = sum + Measured(1000.0, 0.1, "standard");
    }
    EXPECT_DOUBLE_EQ(sum.value(), 10000.0);
    EXPECT_NEAR(sum.standard_uncertainty(), 1.0, 1e-12);
}

TEST(Measured, what_is_shared_cancels_in_a_difference_and_a_ratio) {
    const Measured volume(10.0, 0.1, "volume");
    const Measured a = Measured(3.0, 0.02, "slope a") * volume;
    const Measured b = Measured(2.0, 0.02, "slope b") * volume;
    const Measured ratio = a / b;
    EXPECT_NEAR(ratio.share("volume"), 0.0, 1e-24);
    EXPECT_NEAR(ratio.standard_uncertainty() / ratio.value(), std::hypot(0.02 / 3.0, 0.02 / 2.0), 1e-12);
    EXPECT_NEAR((a - b).share("volume"), 0.01 / (0.01 + 0.08), 1e-12);
    EXPECT_NEAR(covariance(a, b), 3.0 * 0.1 * 2.0 * 0.1, 1e-12);
}

TEST(Measured, logarithm_and_exponential_undo_each_other) {
    const Measured a(4.0, 0.2, "x");
    const Measured back = exp(log(a));
    EXPECT_NEAR(back.value(), 4.0, 1e-14);
    EXPECT_NEAR(back.standard_uncertainty(), 0.2, 1e-14);
}

template <typename A, typename B>
concept CanAdd = requires(A a, B b) { a + b; };
static_assert(!CanAdd<Pressure, OxygenPressure>, "both are kPa, and not the same kind");
static_assert(!CanAdd<Temperature, Temperature>, "a temperature is a point");
static_assert(!CanAdd<Oxygen, AirSaturation>);
static_assert(CanAdd<Temperature, TemperatureDifference>);

TEST(Quantity, units_round_trip) {
    EXPECT_NEAR(Oxygen::umol_per_l(1.0).mg_per_l(), 0.0319988, 1e-12);
    EXPECT_NEAR(Oxygen::ml_per_l(1.0).mg_per_l(), 1.42905, 5e-6);
    EXPECT_NEAR(Pressure::mmhg(760.0).kilopascals(), 101.325, 1e-12);
    EXPECT_NEAR(Temperature::fahrenheit(50.0).celsius(), 10.0, 1e-12);
    EXPECT_NEAR(Flow::l_per_h(60.0).l_per_min(), 1.0, 1e-15);
    EXPECT_NEAR((Mass::grams(500.0) / Density::kg_per_l(1.0)).millilitres(), 500.0, 1e-12);
}

} // namespace
} // namespace backeddy
