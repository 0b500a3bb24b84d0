// Sources: R 4.2.2, survival 3.5-3 survfit (Aalen-Johansen) (reference/stats 09).

#include "stats/competing.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/follow_ups.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

const std::vector<std::string> two_fates{"first", "second"};

std::vector<FateTime> fates_of(const support::Table& data) {
    std::vector<FateTime> out;
    const auto times = data.numbers("time");
    const auto status = data.numbers("status");
    for (std::size_t i = 0; i < times.size(); ++i) {
        out.push_back({.time = times[i]});
        if (status[i] > 0.0) {
            out.back().fate = static_cast<std::size_t>(status[i]) - 1;
        }
    }
    return out;
}

TEST(Competing, agrees_with_r_on_shares_and_variances) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "cif_pbc");
    const auto data = support::data_of(one);
    const auto all = fates_of(data);
    const auto group = factor_of(data.text("trt"));
    support::expect_agrees(one, "/n", static_cast<double>(all.size()));
    for (std::size_t g = 0; g < group.levels.size(); ++g) {
        std::vector<FateTime> fish;
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (group.codes[i] == g) {
                fish.push_back(all[i]);
            }
        }
        const auto shares = cumulative_incidence(fish, two_fates);
        ASSERT_TRUE(shares) << shares.error().text();
        const std::string at = "/groups/" + std::to_string(g);
        const auto times =
            support::numbers_of(one.at("expected").at(support::Json::json_pointer(at + "/time")));
        for (std::size_t f = 0; f < 2; ++f) {
            const std::string cause = at + "/cause" + std::to_string(f + 1);
            for (std::size_t k = 0; k < times.size(); ++k) {
                const auto step = at_time(shares->fates[f], times[k]).value_or(IncidenceStep{});
                support::expect_agrees(one, cause + "/cif/" + std::to_string(k), step.incidence);
                support::expect_agrees(one, cause + "/var_cuminc/" + std::to_string(k), step.se * step.se);
            }
        }
    }
}

std::vector<FateTime> random_fates(Random& random, std::size_t n) {
    std::vector<FateTime> out;
    for (std::size_t i = 0; i < n; ++i) {
        out.push_back({.time = 1.0 + static_cast<double>(random.below(15))});
        const double u = random.uniform();
        if (u < 0.7) {
            out.back().fate = u < 0.3 ? 0 : (u < 0.55 ? 1 : 2);
        }
    }
    return out;
}

TEST(Competing, shares_of_all_fates_and_of_none_add_up_to_one) {
    for (std::uint64_t seed = 0; seed < 50; ++seed) {
        Random random(3, seed);
        const auto shares = cumulative_incidence(random_fates(random, 12), {"died", "escaped", "recovered"});
        ASSERT_TRUE(shares);
        for (std::size_t k = 0; k < shares->times.size(); ++k) {
            double sum = shares->without[k];
            for (const auto& fate : shares->fates) {
                sum += at_time(fate, shares->times[k]).value_or(IncidenceStep{}).incidence;
            }
            EXPECT_NEAR(sum, 1.0, 1e-14) << "seed " << seed;
        }
    }
}

TEST(Competing, one_fate_alone_is_what_the_kaplan_meier_estimate_leaves) {
    Random random(4);
    std::vector<FateTime> fish;
    std::vector<FollowUp> same;
    for (std::size_t i = 0; i < 25; ++i) {
        const double time = random.exponential();
        const bool is_event = random.uniform() < 0.7;
        fish.push_back({.time = time});
        if (is_event) {
            fish.back().fate = 0;
        }
        same.push_back({.time = time, .is_event = is_event});
    }
    const auto shares = cumulative_incidence(fish, {"died"});
    const auto curve = kaplan_meier(same);
    ASSERT_TRUE(shares && curve);
    ASSERT_EQ(shares->fates[0].steps.size(), curve->steps.size());
    for (std::size_t k = 0; k < curve->steps.size(); ++k) {
        EXPECT_NEAR(shares->fates[0].steps[k].incidence, 1.0 - curve->steps[k].survival, 1e-14);
    }
}

TEST(Competing, with_every_fate_known_it_is_the_plain_share) {
    // 4 of 10 died by the end, without censoring: variance p (1 - p) / n but for the divisor n - 1 of ties.
    std::vector<FateTime> fish;
    for (std::size_t i = 0; i < 10; ++i) {
        fish.push_back({.time = 1.0 + static_cast<double>(i), .fate = i % 5 < 2 ? 0U : 1U});
    }
    const auto shares = cumulative_incidence(fish, two_fates);
    ASSERT_TRUE(shares);
    const auto last = shares->fates[0].steps.back();
    EXPECT_NEAR(last.incidence, 0.4, 1e-15);
    ASSERT_TRUE(last.limits.has_value());
    EXPECT_LT(last.limits->lower, 0.4);
    EXPECT_GT(last.limits->upper, 0.4);
    const auto second = shares->fates[1].steps.back();
    EXPECT_NEAR(second.incidence, 0.6, 1e-15);
}

TEST(Competing, says_what_is_wrong) {
    const std::vector<FateTime> fish{{.time = 1.0, .fate = 0}, {.time = 2.0}};
    EXPECT_EQ(
        cumulative_incidence(std::vector<FateTime>{{.time = 1.0}}, two_fates).error().text(),
        "no fate among 1 fish; at least one that met one; give the share of none with its exact limits");
    EXPECT_EQ(cumulative_incidence(std::vector<FateTime>{{.time = 0.0, .fate = 0}}, two_fates).error().text(),
              "fish 1 has the time 0; a finite time above 0; a fish that was never followed is left out and "
              "counted apart; one whose fate is open gets the time to which it was followed");
    EXPECT_EQ(cumulative_incidence(std::vector<FateTime>{{.time = 1.0, .fate = 2}}, two_fates).error().text(),
              "fish 1 has fate 2 of 2; one of the fates, counted from 0");
    EXPECT_EQ(cumulative_incidence(fish, two_fates, 0.0).error().code, ErrorCode::bad_setting);
}

TEST(Competing, in_small_studies_limits_hold_the_truth) {
    // 25 fish: death at 0.1 a day, escape at 0.05, followed to day 15.
    Rate holds;
    const double truth = (0.1 / 0.15) * (1.0 - std::exp(-0.15 * 8.0)); // died by day 8
    for (std::uint64_t run = 0; run < 1000; ++run) {
        Random random(6, run);
        std::vector<FateTime> fish;
        for (std::size_t i = 0; i < 25; ++i) {
            const double death = random.exponential() / 0.1;
            const double escape = random.exponential() / 0.05;
            const double first = std::min(death, escape);
            fish.push_back({.time = std::min(first, 15.0)});
            if (first <= 15.0) {
                fish.back().fate = death < escape ? 0 : 1;
            }
        }
        const auto shares = cumulative_incidence(fish, two_fates);
        ASSERT_TRUE(shares);
        const auto step = at_time(shares->fates[0], 8.0);
        holds.add(step && step->limits && step->limits->holds(truth));
    }
    EXPECT_TRUE(is_between(holds, 0.93, 0.97, "limits of a cumulative incidence, 25 fish"));
}

// R 4.2.2, cmprsk 2.2-11 cuminc. The first fate, of single times, to the digits printed. In the second three
// days have two of it each: the factor (n - d) / (n - 1) of such a tie counts n as all at risk here, where R
// counts those of the other group by the ratio of the two groups' shares still waiting, which can make the
// factor negative where one group is almost used up. With R's n the statistic is R's to 2e-15 (worked out by
// hand in Python); with ours it is another by 9e-8.
TEST(Gray, agrees_with_r) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "cif_pbc");
    const auto data = support::data_of(one);
    const auto group = factor_of(data.text("trt"));
    for (std::size_t fate = 0; fate < 2; ++fate) {
        const auto& want = one.at("expected").at("gray_test").at(fate);
        const auto test = gray_test(fates_of(data), two_fates, fate, group);
        ASSERT_TRUE(test) << test.error().text();
        const double of_ties = fate == 0 ? 1e-12 : 1e-7;
        EXPECT_NEAR(test->chi_squared, want.at("stat").get<double>(),
                    of_ties * want.at("stat").get<double>());
        EXPECT_NEAR(test->p, want.at("p").get<double>(), of_ties);
        EXPECT_EQ(test->freedom, want.at("df").get<double>());
    }
}

/// Fish in turn in so many groups; a fate of its own for each share of `u` below its bound.
struct Season {
    std::vector<FateTime> fish;
    Factor group;
};

Factor groups_in_turn(std::size_t groups, std::size_t fish) {
    Factor out;
    for (std::size_t g = 0; g < groups; ++g) {
        out.levels.push_back(std::string(1, static_cast<char>('a' + g)));
    }
    for (std::size_t i = 0; i < fish; ++i) {
        out.codes.push_back(i % groups);
    }
    return out;
}

// Without other fates R is the number at risk, and observed less expected is the log-rank test's.
TEST(Gray, of_one_fate_alone_expects_what_the_log_rank_test_does) {
    Random random(5);
    Season season{.fish = {}, .group = groups_in_turn(3, 60)};
    std::vector<FollowUp> same;
    for (std::size_t i = 0; i < 60; ++i) {
        const double time = std::ceil(4.0 * random.exponential());
        const bool is_event = random.uniform() < 0.8;
        season.fish.push_back({.time = time});
        if (is_event) {
            season.fish.back().fate = 0;
        }
        same.push_back({.time = time, .is_event = is_event});
    }
    const auto test = gray_test(season.fish, {"died"}, 0, season.group);
    const auto plain = log_rank(same, season.group);
    ASSERT_TRUE(test && plain);
    for (std::size_t g = 0; g < 3; ++g) {
        EXPECT_NEAR(test->groups[g].expected, plain->groups[g].expected, 1e-12);
        EXPECT_EQ(test->groups[g].observed, plain->groups[g].observed);
    }
    EXPECT_EQ(test->freedom, 2.0);
}

// 60 % meet the first fate at times alike in all groups; the others meet the second, in the second group far
// earlier. The shares of the first are the same by any time, though its rate among those who wait is not.
// Times in whole hours, so that many are tied; watched for 12 h at most, half of the fish for less.
Season fates_alike(Random& random, std::size_t groups, std::size_t fish) {
    Season out{.fish = {}, .group = groups_in_turn(groups, fish)};
    for (std::size_t i = 0; i < fish; ++i) {
        const bool is_first = random.uniform() < 0.6;
        const double mean = is_first || out.group.codes[i] != 1 ? 6.0 : 1.5;
        const double time = std::ceil(mean * random.exponential());
        const double watched = random.uniform() < 0.5 ? 12.0 : 3.0 + static_cast<double>(random.below(10));
        out.fish.push_back({.time = std::min(time, watched)});
        if (time <= watched) {
            out.fish.back().fate = is_first ? 0 : 1;
        }
    }
    return out;
}

TEST(Gray, rejects_at_its_level_where_shares_are_alike_and_rates_are_not) {
    for (const std::size_t groups : {2U, 3U}) {
        Rate rejected;
        Rate by_rates;
        for (std::uint64_t seed = 0; seed < runs(2000); ++seed) {
            Random random(groups, seed);
            const auto season = fates_alike(random, groups, 40 * groups);
            const auto test = gray_test(season.fish, two_fates, 0, season.group);
            ASSERT_TRUE(test) << test.error().text();
            rejected.add(test->p < 0.05);
            std::vector<FollowUp> waiting;
            for (const auto& one : season.fish) {
                waiting.push_back({.time = one.time, .is_event = one.fate == 0U});
            }
            by_rates.add(log_rank(waiting, season.group)->p < 0.05);
        }
        EXPECT_TRUE(
            is_between(rejected, 0.05, 0.06, std::to_string(groups) + " groups alike in their shares"));
        EXPECT_GT(by_rates.value(), 0.10) << "a log-rank test asks something else";
    }
}

TEST(Gray, sees_shares_that_differ) {
    Random random(9);
    auto season = fates_alike(random, 2, 160);
    for (std::size_t i = 0; i < season.fish.size(); ++i) {
        if (season.group.codes[i] == 1 && season.fish[i].fate == 0U && i % 3 != 0) {
            season.fish[i].fate = 1;
        }
    }
    EXPECT_LT(gray_test(season.fish, two_fates, 0, season.group)->p, 0.001);
}

TEST(Gray, refuses_what_cannot_be_compared) {
    const std::vector<FateTime> fish{{.time = 1.0, .fate = 0}, {.time = 2.0, .fate = 1}, {.time = 3.0}};
    const Factor group{.levels = {"a", "b"}, .codes = {0, 1, 1}};
    EXPECT_TRUE(gray_test(fish, two_fates, 0, group));
    EXPECT_EQ(gray_test(fish, two_fates, 2, group).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(gray_test(fish, {"first", "second", "third"}, 2, group).error().code, ErrorCode::degenerate);
    EXPECT_EQ(gray_test(fish, two_fates, 0, {.levels = {"a"}, .codes = {0, 0, 0}}).error().code,
              ErrorCode::degenerate);
    EXPECT_EQ(gray_test(fish, two_fates, 0, {.levels = {"a", "b"}, .codes = {0}}).error().code,
              ErrorCode::bad_relation);
    // The one of group a left before anybody met the second fate's time.
    EXPECT_EQ(gray_test(fish, two_fates, 1, group).error().code, ErrorCode::degenerate);
}

} // namespace
} // namespace backeddy::stats
