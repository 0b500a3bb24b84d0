// Sources: Kaplan and Meier's curve where all is exact or beyond a limit; Finkelstein and Wolfe 1985
// (Biometrics 41:933), times to cosmetic deterioration after radiotherapy alone, as Klein and Moeschberger
// 2003 (Survival Analysis, table 1.18) print them, and the estimate of them in the literature (both from
// memory).

#include "stats/turnbull.hpp"

#include <array>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/survival.hpp"

namespace backeddy::stats {
namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

struct Wanted {
    double from;
    double to;
    double share;
};

TEST(Turnbull, cosmetic_deterioration_is_as_printed) {
    CensoredOutcome months{
        .lower = {0, 0, 0, 4, 5, 5, 6, 7, 7, 11, 11, 17, 17, 19, 18, 25, 26, 27, 36, 36, 37},
        .upper = {7, 8, 5, 11, 12, 11, 10, 16, 14, 15, 18, 25, 25, 35, 26, 37, 40, 34, 44, 48, 44}};
    for (const double last : {15, 17, 18, 22, 24, 24, 32, 33, 34, 36, 36, 37, 37,
                              37, 38, 40, 45, 46, 46, 46, 46, 46, 46, 46, 46}) {
        months.lower.push_back(last);
        months.upper.push_back(endless);
    }
    const auto curve = turnbull(months);
    ASSERT_TRUE(curve) << curve.error().text();
    EXPECT_EQ(curve->n, 46U);
    EXPECT_LT(curve->short_of_highest, 1e-8);
    constexpr std::array<Wanted, 8> wanted{{{4, 5, 0.0463},
                                            {6, 7, 0.0334},
                                            {7, 8, 0.0887},
                                            {11, 12, 0.0708},
                                            {24, 25, 0.0926},
                                            {33, 34, 0.0818},
                                            {38, 40, 0.1209},
                                            {46, 48, 0.4656}}};
    ASSERT_EQ(curve->intervals.size(), wanted.size());
    for (std::size_t j = 0; j < wanted.size(); ++j) {
        EXPECT_EQ(curve->intervals[j].from, wanted[j].from);
        EXPECT_EQ(curve->intervals[j].to, wanted[j].to);
        EXPECT_NEAR(curve->intervals[j].share, wanted[j].share, 6e-5);
    }
    const auto at = share_beyond(*curve, 39.0);
    EXPECT_NEAR(at.lower, 0.4656, 6e-5);
    EXPECT_NEAR(at.upper, 0.4656 + 0.1209, 1.2e-4);
}

TEST(Turnbull, of_exact_and_open_times_is_kaplan_and_meier_s) {
    for (std::uint64_t seed = 0; seed < 30; ++seed) {
        Random random(91, seed);
        std::vector<FollowUp> fish;
        CensoredOutcome times;
        for (int i = 0; i < 25; ++i) {
            const double time = 1.0 + static_cast<double>(random.below(12)); // ties
            const bool is_event = random.uniform() < 0.6;
            fish.push_back({.time = time, .is_event = is_event});
            times.lower.push_back(time);
            times.upper.push_back(is_event ? time : endless);
        }
        const auto curve = turnbull(times);
        const auto km = kaplan_meier(fish);
        ASSERT_TRUE(curve && km);
        for (const auto& step : km->steps) {
            const auto got = share_beyond(*curve, step.time);
            EXPECT_NEAR(got.lower, got.upper, 1e-9);
            EXPECT_NEAR(got.upper, step.survival, 1e-7) << seed << " at " << step.time;
        }
    }
}

// (0, 1], (0, 2], (1, 2]: likelihood s (1 - s), highest at a half; with the first twice, at two thirds.
TEST(Turnbull, small_cases_have_their_closed_form) {
    const auto half = turnbull({.lower = {0, 0, 1}, .upper = {1, 2, 2}});
    ASSERT_TRUE(half);
    EXPECT_NEAR(half->intervals[0].share, 0.5, 1e-8);
    const auto more = turnbull({.lower = {0, 0, 0, 1}, .upper = {1, 1, 2, 2}});
    EXPECT_NEAR(more->intervals[0].share, 2.0 / 3.0, 1e-8);
    const auto exact = turnbull({.lower = {2, 1}, .upper = {2, 2}});
    ASSERT_TRUE(exact);
    ASSERT_EQ(exact->intervals.size(), 1U); // (1, 2] holds the 2 that was seen
    EXPECT_EQ(exact->intervals[0].from, 2.0);
    EXPECT_EQ(share_beyond(*exact, 2.0).upper, 0.0);
    EXPECT_EQ(share_beyond(*exact, 1.9).lower, 1.0);
    const auto after = turnbull({.lower = {2, 2}, .upper = {2, endless}});
    ASSERT_TRUE(after);
    EXPECT_NEAR(share_beyond(*after, 2.0).lower, 0.5, 1e-9); // beyond 2 is not at 2
}

// No other shares are as likely: tried at random.
TEST(Turnbull, nothing_tried_at_random_is_likelier) {
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        Random random(92, seed);
        CensoredOutcome times;
        for (int i = 0; i < 40; ++i) {
            const double from = static_cast<double>(random.below(20));
            times.lower.push_back(from);
            times.upper.push_back(random.uniform() < 0.2 ? endless
                                                         : from + 1.0 + static_cast<double>(random.below(8)));
        }
        const auto curve = turnbull(times);
        ASSERT_TRUE(curve) << curve.error().text();
        EXPECT_LT(curve->short_of_highest, 1e-8);
        double whole = 0.0;
        for (const auto& one : curve->intervals) {
            whole += one.share;
        }
        EXPECT_NEAR(whole, 1.0, 1e-12);
        for (int trial = 0; trial < 200; ++trial) {
            auto other = *curve;
            double sum = 0.0;
            for (auto& one : other.intervals) {
                one.share *= std::exp(0.2 * random.normal());
                sum += one.share;
            }
            double log_likelihood = 0.0;
            for (std::size_t i = 0; i < times.lower.size(); ++i) {
                double seen = 0.0;
                for (const auto& one : other.intervals) {
                    if (one.from >= times.lower[i] && one.to <= times.upper[i]) {
                        seen += one.share / sum;
                    }
                }
                log_likelihood += std::log(seen);
            }
            EXPECT_LE(log_likelihood, curve->log_likelihood + 1e-8);
        }
    }
}

TEST(Turnbull, bad_input_is_named) {
    EXPECT_EQ(turnbull({.lower = {3}, .upper = {2}}).error().text(),
              "row 1 lies between 3 and 2; the lower limit first, not above the upper; are the two swapped?");
    EXPECT_EQ(turnbull({.lower = {3, 1}, .upper = {4}}).error().code, ErrorCode::bad_relation);
    EXPECT_EQ(turnbull({}).error().code, ErrorCode::too_few);
    EXPECT_EQ(turnbull({.lower = {-endless}, .upper = {endless}}).error().code, ErrorCode::out_of_range);
}

} // namespace
} // namespace backeddy::stats
