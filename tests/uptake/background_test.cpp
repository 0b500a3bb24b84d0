// Background between blanks: closed forms, what cuts it, and how its uncertainty is carried.

#include "uptake/background.hpp"

#include <cmath>
#include <map>

#include <gtest/gtest.h>

#include "support/check_rows.hpp"

namespace backeddy::uptake {
namespace {

const Instant start = Instant::unix_nanoseconds(1'780'000'000'000'000'000);

Instant hour(double h) {
    return start + Duration::hours(h);
}

Blank blank(const std::string& id, double at_h, double slope, double error = 0.01,
            const std::string& assembly = "c1") {
    return {.id = id,
            .assembly = assembly,
            .at = hour(at_h),
            .slope_mg_per_l_h = Measured(slope, error, "blank:" + id),
            .spells = 1};
}

BackgroundAt between(BetweenBlanks how, double at_h, std::vector<Blank> blanks) {
    return background_at(blanks, "c1", hour(at_h), {}, {.between_blanks = how});
}

bool says(const BackgroundAt& background, const std::string& word) {
    return std::any_of(background.reasons.begin(), background.reasons.end(),
                       [&](const Reason& r) { return r.word == word; });
}

TEST(Background, between_two_blanks_follows_the_setting) {
    // Closed forms of the three; the outside rows below hold the first two.
    const std::vector<Blank> two{blank("b0", 0, -0.2), blank("b1", 16, -0.8)};
    EXPECT_NEAR(between(BetweenBlanks::steady, 4, two).slope_mg_per_l_h.value(), -0.5, 1e-12);
    EXPECT_NEAR(between(BetweenBlanks::straight, 4, two).slope_mg_per_l_h.value(), -0.35, 1e-12);
    EXPECT_NEAR(between(BetweenBlanks::growing, 4, two).slope_mg_per_l_h.value(), -0.2 * std::pow(4.0, 0.25),
                1e-12);
    EXPECT_TRUE(between(BetweenBlanks::straight, 4, two).reasons.empty());
}

TEST(Background, outside_values) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    std::map<std::string, double> expected;
    for (const auto& row : test::check_rows(*path)) {
        expected[row.at("id")] = std::strtod(row.at("expected").c_str(), nullptr);
    }
    const std::vector<Blank> two{blank("b0", 0, -0.2), blank("b1", 16, -0.8)};
    EXPECT_NEAR(-between(BetweenBlanks::straight, 4, two).slope_mg_per_l_h.value(),
                expected.at("background_straight_between"), 1e-9);
    EXPECT_NEAR(-between(BetweenBlanks::growing, 4, two).slope_mg_per_l_h.value(),
                expected.at("background_growing_between"), 1e-9);
}

TEST(Background, weights_of_the_two_blanks_are_in_its_uncertainty) {
    const auto here =
        between(BetweenBlanks::straight, 4, {blank("b0", 0, -0.2, 0.01), blank("b1", 16, -0.8, 0.02)});
    ASSERT_EQ(here.slope_mg_per_l_h.contributions().size(), 2U);
    EXPECT_NEAR(here.slope_mg_per_l_h.contributions()[0].effect, 0.75 * 0.01, 1e-15);
    EXPECT_NEAR(here.slope_mg_per_l_h.contributions()[1].effect, 0.25 * 0.02, 1e-15);
}

TEST(Background, growing_carries_what_moving_a_blank_does) {
    const auto value = [](double b0, double b1) {
        return between(BetweenBlanks::growing, 4, {blank("b0", 0, b0), blank("b1", 16, b1)})
            .slope_mg_per_l_h.value();
    };
    const auto here =
        between(BetweenBlanks::growing, 4, {blank("b0", 0, -0.2, 0.001), blank("b1", 16, -0.8, 0.001)});
    const auto effects = here.slope_mg_per_l_h.contributions();
    EXPECT_NEAR(effects[0].effect, (value(-0.199, -0.8) - value(-0.201, -0.8)) / 2.0, 1e-8);
    EXPECT_NEAR(effects[1].effect, (value(-0.2, -0.799) - value(-0.2, -0.801)) / 2.0, 1e-8);
}

TEST(Background, growing_between_blanks_of_two_signs_is_straight_and_says_so) {
    const auto here = between(BetweenBlanks::growing, 8, {blank("b0", 0, 0.1), blank("b1", 16, -0.5)});
    EXPECT_NEAR(here.slope_mg_per_l_h.value(), -0.2, 1e-12);
    EXPECT_TRUE(says(here, "straight_instead"));
}

TEST(Background, sigmoid_goes_through_blanks_of_a_logistic) {
    const auto truth = [](double h) { return -0.9 / (1.0 + std::exp(-0.5 * (h - 9.0))); };
    std::vector<Blank> blanks;
    for (const double h : {0.0, 5.0, 10.0, 15.0, 20.0}) {
        blanks.push_back(blank("b" + std::to_string(static_cast<int>(h)), h, truth(h)));
    }
    for (const double h : {2.0, 8.0, 13.0}) {
        const auto here = between(BetweenBlanks::sigmoid, h, blanks);
        EXPECT_NEAR(here.slope_mg_per_l_h.value(), truth(h), 1e-6) << h;
        EXPECT_FALSE(says(here, "straight_instead"));
        EXPECT_EQ(here.blanks.size(), 5U);
    }
}

TEST(Background, sigmoid_carries_what_moving_a_blank_does) {
    const std::vector<double> hours{0.0, 5.0, 10.0, 15.0, 20.0};
    const auto made = [&](std::size_t moved, double by) {
        std::vector<Blank> blanks;
        for (std::size_t i = 0; i < hours.size(); ++i) {
            const double slope = -0.9 / (1.0 + std::exp(-0.5 * (hours[i] - 9.0)));
            blanks.push_back(
                blank("b" + std::to_string(i), hours[i], slope + (i == moved ? by : 0.0), 0.001));
        }
        return between(BetweenBlanks::sigmoid, 7.0, blanks).slope_mg_per_l_h;
    };
    const auto here = made(9, 0.0);
    ASSERT_EQ(here.contributions().size(), 5U);
    for (std::size_t i = 0; i < hours.size(); ++i) {
        const double effect = (made(i, 0.001).value() - made(i, -0.001).value()) / 2.0;
        EXPECT_NEAR(here.contributions()[i].effect, effect, 2e-6) << i;
    }
}

TEST(Background, sigmoid_of_three_blanks_is_straight_and_says_so) {
    const auto here =
        between(BetweenBlanks::sigmoid, 4, {blank("a", 0, -0.2), blank("b", 8, -0.6), blank("c", 16, -0.7)});
    EXPECT_NEAR(here.slope_mg_per_l_h.value(), -0.4, 1e-12);
    EXPECT_TRUE(says(here, "straight_instead"));
}

TEST(Background, one_fish_s_after_blank_is_the_next_one_s_before_blank) {
    const std::vector<Blank> blanks{blank("a", 0, -0.1), blank("b", 10, -0.3), blank("c", 20, -0.5)};
    EXPECT_EQ(between(BetweenBlanks::straight, 5, blanks).blanks, (std::vector<std::string>{"a", "b"}));
    EXPECT_EQ(between(BetweenBlanks::straight, 15, blanks).blanks, (std::vector<std::string>{"b", "c"}));
}

TEST(Background, is_never_interpolated_across_a_cleaning) {
    const std::vector<Blank> blanks{blank("a", 0, -0.1), blank("b", 10, -0.5)};
    const std::vector<Instant> cleaning{hour(4)};
    const auto early = background_at(blanks, "c1", hour(2), cleaning, {});
    const auto late = background_at(blanks, "c1", hour(8), cleaning, {});
    EXPECT_EQ(early.slope_mg_per_l_h.value(), -0.1);
    EXPECT_EQ(late.slope_mg_per_l_h.value(), -0.5);
    EXPECT_TRUE(says(early, "one_blank"));
    EXPECT_TRUE(says(late, "one_blank"));
    const std::vector<Instant> twice{hour(1), hour(9)};
    const auto none = background_at(blanks, "c1", hour(5), twice, {});
    EXPECT_EQ(none.slope_mg_per_l_h.value(), 0.0);
    EXPECT_TRUE(says(none, "no_blank"));
}

TEST(Background, before_and_after_take_one_and_none_takes_nothing) {
    const std::vector<Blank> blanks{blank("a", 0, -0.1), blank("b", 10, -0.5)};
    const auto with = [&](BlanksUsed used) {
        return background_at(blanks, "c1", hour(5), {}, {.blanks_used = used}).slope_mg_per_l_h.value();
    };
    EXPECT_EQ(with(BlanksUsed::before), -0.1);
    EXPECT_EQ(with(BlanksUsed::after), -0.5);
    EXPECT_EQ(with(BlanksUsed::none), 0.0);
    EXPECT_TRUE(
        says(background_at(blanks, "c1", hour(12), {}, {.blanks_used = BlanksUsed::after}), "no_blank"));
}

TEST(Background, side_by_side_uses_the_other_chamber) {
    const std::vector<Blank> blanks{blank("own", 0, -9.0), blank("x/1", 1, -0.2, 0.01, "c2"),
                                    blank("x/2", 5, -0.6, 0.01, "c2"), blank("far", 70, -7.0, 0.01, "c3")};
    const auto here = background_at(blanks, "c1", hour(2), {}, {.blanks_used = BlanksUsed::side_by_side});
    EXPECT_NEAR(here.slope_mg_per_l_h.value(), -0.3, 1e-12);
    EXPECT_NE(here.how.find("scaled by volume"), std::string::npos);
}

TEST(Background, a_rising_blank_is_carried_or_set_to_zero_never_silently) {
    const std::vector<Blank> blanks{blank("a", 0, 0.2, 0.01)};
    const auto carried = background_at(blanks, "c1", hour(1), {}, {});
    EXPECT_EQ(carried.slope_mg_per_l_h.value(), 0.2);
    EXPECT_TRUE(says(carried, "rising_blank"));
    const auto zero = background_at(blanks, "c1", hour(1), {}, {.wrong_sign = WrongSign::set_to_zero});
    EXPECT_EQ(zero.slope_mg_per_l_h.value(), 0.0);
    EXPECT_GT(zero.slope_mg_per_l_h.standard_uncertainty(), 0.0);
    EXPECT_TRUE(says(zero, "rising_blank"));
}

TEST(Background, a_blank_out_of_reach_does_not_serve) {
    const auto here = background_at(std::vector{blank("a", 0, -0.2)}, "c1", hour(100), {}, {});
    EXPECT_TRUE(says(here, "no_blank"));
}

} // namespace
} // namespace backeddy::uptake
