#include "base/number_text.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

namespace backeddy {
namespace {

TEST(NumberText, reads_only_whole_numbers_of_the_plain_form) {
    EXPECT_EQ(parse_number("8.41"), 8.41);
    EXPECT_EQ(parse_number(" +3e-2 "), 0.03);
    EXPECT_EQ(parse_number("8,41"), std::nullopt);
    EXPECT_EQ(parse_number("8.41 mg"), std::nullopt);
    EXPECT_EQ(parse_number("nan"), std::nullopt);
    EXPECT_EQ(parse_number("inf"), std::nullopt);
    EXPECT_EQ(parse_number("+-3"), std::nullopt);
    EXPECT_EQ(parse_number(""), std::nullopt);
    EXPECT_EQ(parse_whole("12"), 12);
    EXPECT_EQ(parse_whole("12.0"), std::nullopt);
}

TEST(NumberText, exact_text_reads_back_as_the_same_double) {
    for (const double value : {0.1, 1.0 / 3.0, 1e-300, -2.5e17, 412.0}) {
        EXPECT_EQ(parse_number(exact_text(value)), value);
    }
    EXPECT_EQ(exact_text(-0.0), "0");
    EXPECT_EQ(exact_text(std::numeric_limits<double>::quiet_NaN()), "");
}

TEST(NumberText, rounds_to_places_and_to_significant_digits) {
    EXPECT_EQ(fixed_text(12.345, 1), "12.3");
    EXPECT_EQ(fixed_text(-0.001, 2), "0.00");
    EXPECT_EQ(significant_text(0.012345, 3), "0.0123");
    EXPECT_EQ(significant_text(9.996, 3), "10.0");
    EXPECT_EQ(significant_text(12345.0, 2), "12000");
    EXPECT_EQ(significant_text(0.0, 3), "0.00");
}

TEST(NumberText, short_text_keeps_whole_numbers_and_three_digits_of_others) {
    EXPECT_EQ(short_text(1234567.0), "1234567");
    EXPECT_EQ(short_text(0.69857), "0.699");
    EXPECT_EQ(short_text(0.5), "0.5");
    EXPECT_EQ(short_text(12345.6), "12300");
    EXPECT_EQ(short_text(99.96), "100");
    EXPECT_EQ(short_text(0.78125, 6), "0.78125");
    EXPECT_EQ(short_text(-0.0), "0");
    EXPECT_EQ(short_text(std::numeric_limits<double>::quiet_NaN()), "");
}

// JCGM 100:2008, 7.2.6: two significant digits of the uncertainty; its example 10,05762 ohm with 27 milliohm
// is 10,058.
TEST(NumberText, a_measured_value_shows_two_digits_of_its_uncertainty) {
    EXPECT_EQ(measured_text(10.05762, 0.027), "10.058 ± 0.027");
    EXPECT_EQ(measured_text(412.34, 18.2), "412 ± 18");
    EXPECT_EQ(measured_text(41234.0, 1820.0), "41200 ± 1800");
    EXPECT_EQ(measured_text(5.0, 0.0), "5.00000");
    EXPECT_EQ(measured_text(5.0, -1.0), "");
}

} // namespace
} // namespace backeddy
