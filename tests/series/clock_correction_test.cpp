#include "series/clock_correction.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace backeddy {
namespace {

Instant at(double s) {
    return Instant::unix_seconds(s);
}

TEST(ClockCorrection, goes_straight_between_checks_and_holds_outside) {
    // Closed form: 10 s slow at 0, 30 s slow at 10000 s -> 20 s in the middle.
    const auto clock = ClockCorrection::from({{at(0), at(10), 1.0}, {at(10000), at(10030), 1.0}}, {}).value();
    EXPECT_EQ(clock.corrected(at(5000)), at(5020));
    EXPECT_EQ(clock.corrected(at(-100)), at(-90));
    EXPECT_EQ(clock.corrected(at(20000)), at(20030));
    EXPECT_NEAR(clock.uncertainty_s(at(5000), 60.0), std::sqrt(0.5), 1e-12);
    EXPECT_NEAR(clock.uncertainty_s(at(20000), 60.0), std::hypot(1.0, 20.0), 1e-9);
}

TEST(ClockCorrection, a_reset_carries_no_offset_across) {
    const auto clock =
        ClockCorrection::from({{at(0), at(3600), 1.0}, {at(10000), at(10001), 1.0}}, {at(5000)}).value();
    EXPECT_EQ(clock.corrected(at(4999)), at(8599));
    EXPECT_EQ(clock.corrected(at(5000)), at(5001));
}

TEST(ClockCorrection, an_unchecked_clock_stands_and_says_so) {
    const ClockCorrection clock;
    EXPECT_EQ(clock.corrected(at(5)), at(5));
    EXPECT_FALSE(clock.is_checked(at(5)));
    EXPECT_DOUBLE_EQ(clock.uncertainty_s(at(5), 60.0), 60.0);
}

TEST(ClockCorrection, swapped_times_are_refused_with_the_way_out) {
    const auto clock = ClockCorrection::from({{at(0), at(10), 1.0}, {at(10000), at(-500), 1.0}}, {});
    ASSERT_FALSE(clock);
    EXPECT_NE(clock.error().remedy.find("reset"), std::string::npos);
}

} // namespace
} // namespace backeddy
