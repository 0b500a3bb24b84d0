#include "report/results.hpp"

#include <cmath>
#include <limits>

#include <gmock/gmock.h>

namespace backeddy::report {
namespace {

TEST(Number, is_printed_to_its_uncertainty_with_its_unit) {
    EXPECT_EQ(text_of(number(Measured(412.34, 17.6, "slope"), "mg/kg/h")), "412 ± 18 mg/kg/h");
}

TEST(Number, without_a_value_prints_the_reason_and_no_unit) {
    EXPECT_EQ(text_of(no_number("the fish was never weighed", "mg/kg/h")), "the fish was never weighed");
}

TEST(Number, that_is_censored_says_at_least) {
    Number excess = number(Measured(310.0, 12.0, "slope"), "mg/kg");
    excess.is_at_least = true;
    EXPECT_EQ(text_of(excess), "at least 310 ± 12 mg/kg");
}

TEST(Number, with_an_interval_and_no_uncertainty_shows_both_ends_or_that_one_is_open) {
    auto hours = number(8.0712, "h");
    hours.interval = Interval{.low = 6.2349, .high = 12.4081};
    EXPECT_EQ(text_of(hours), "8.1 (6.2 to 12.4) h");
    hours.interval->high = std::numeric_limits<double>::infinity();
    EXPECT_EQ(text_of(hours), "8.1 (6.2 or more) h");
    hours.interval->low = *hours.value; // nothing below it: hundredths
    EXPECT_EQ(text_of(hours), "8.07 (8.07 or more) h");
}

TEST(Number, that_is_not_finite_becomes_no_number_and_says_so) {
    EXPECT_FALSE(number(std::nan(""), "h").has_value());
    EXPECT_FALSE(number(Measured(INFINITY, 1.0, "slope"), "h").reason.empty());
}

TEST(Number, that_is_a_count_keeps_all_its_digits) {
    EXPECT_EQ(text_of(number(1234567.0, "")), "1234567");
}

// A CV stood on the page as 0.6986 %: nobody knows its fourth digit.
TEST(Number, without_uncertainty_shows_three_digits_at_most) {
    EXPECT_EQ(text_of(number(0.69857, "%")), "0.699 %");
    EXPECT_EQ(text_of(number(12.3456, "min")), "12.3 min");
    EXPECT_EQ(text_of(number(0.5, "mL")), "0.5 mL");
    EXPECT_EQ(text_of(number(1234.5, "")), "1230");
    EXPECT_EQ(number(0.69857, "%").value, 0.69857) << "tables and document keep what was computed";
}

TEST(Number, that_somebody_wrote_down_keeps_the_digits_it_was_written_with) {
    EXPECT_EQ(text_of(as_written(number(1.125, "mL/kg"))), "1.125 mL/kg");
    EXPECT_EQ(text_of(as_written(number(0.78125, "ng/mL"))), "0.78125 ng/mL");
    EXPECT_EQ(text_of(as_written(number(0.1 + 0.2, "mL"))), "0.3 mL") << "no noise of the arithmetic";
    EXPECT_EQ(text_of(as_written(number(Measured(101.34, 0.25, "barometer"), "kPa"))), "101.34 ± 0.25 kPa");
}

TEST(Number, keeps_the_contributions_of_its_measured_value) {
    const Number kept = number(Measured(1.0, {{"mass", 0.3}, {"volume", -0.4}}), "mg/h");
    ASSERT_EQ(kept.contributions.size(), 2U);
    EXPECT_DOUBLE_EQ(*kept.standard_uncertainty, 0.5);
}

} // namespace
} // namespace backeddy::report
