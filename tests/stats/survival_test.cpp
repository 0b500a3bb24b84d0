// Sources: R 4.2.2, survival 3.5-3 survfit, survdiff, quantile (reference/stats 09).

#include "stats/survival.hpp"

#include <cmath>
#include <limits>
#include <set>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/follow_ups.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

struct KmCase {
    const char* id;
    const char* time;
    const char* status;
    const char* event; ///< the status that is one
    const char* group;
};

const std::vector<KmCase>& km_cases() {
    static const std::vector<KmCase> all{{"km_aml", "time", "status", "1", "x"},
                                         {"km_lung", "time", "status", "2", "sex"},
                                         {"km_veteran", "time", "status", "1", "celltype"},
                                         {"km_fish", "day", "dead", "1", "group"}};
    return all;
}

/// R's missing (null) is nothing here.
double or_nan(const std::optional<double>& value) {
    return value.value_or(std::numeric_limits<double>::quiet_NaN());
}

TEST(KaplanMeier, agrees_with_r_at_every_event) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& [id, time, status, event, group] : km_cases()) {
        const auto& one = support::case_of(*cases, id);
        const auto data = support::data_of(one);
        const auto all = follow_ups(data, time, status, event);
        const auto& names = data.text(group);
        const auto& groups = one.at("expected").at("groups");
        ASSERT_EQ(groups.size(), std::set<std::string>(names.begin(), names.end()).size());
        for (std::size_t g = 0; g < groups.size(); ++g) {
            const std::string at = "/groups/" + std::to_string(g);
            std::vector<FollowUp> fish;
            for (std::size_t i = 0; i < all.size(); ++i) {
                if (names[i] == groups[g].at("group").get<std::string>()) {
                    fish.push_back(all[i]);
                }
            }
            for (const auto& [scale, key] :
                 {std::pair{LimitScale::log_minus_log, "/ci_loglog"}, std::pair{LimitScale::log, "/ci_log"},
                  std::pair{LimitScale::plain, "/ci_plain"}}) {
                const auto curve = kaplan_meier(fish, {.scale = scale});
                ASSERT_TRUE(curve) << curve.error().text();
                ASSERT_EQ(curve->steps.size(), groups[g].at("time").size());
                for (std::size_t k = 0; k < curve->steps.size(); ++k) {
                    const auto& step = curve->steps[k];
                    const std::string place = "/" + std::to_string(k);
                    support::expect_agrees(one, at + "/time" + place, step.time);
                    support::expect_agrees(one, at + "/n_risk" + place, static_cast<double>(step.at_risk));
                    support::expect_agrees(one, at + "/n_event" + place, static_cast<double>(step.events));
                    support::expect_agrees(one, at + "/surv" + place, step.survival);
                    support::expect_agrees(one, at + "/se" + place, or_nan(step.se));
                    support::expect_agrees(one, at + "/nelson_aalen" + place, step.cumulative_hazard);
                    constexpr double none = std::numeric_limits<double>::quiet_NaN();
                    const auto limits = step.limits.value_or(Interval{.lower = none, .upper = none});
                    support::expect_agrees(one, at + key + "/lower95" + place, limits.lower, 1e-3);
                    support::expect_agrees(one, at + key + "/upper95" + place, limits.upper, 1e-3);
                }
                const auto median = median_time(*curve);
                support::expect_agrees(one, at + key + "/median", or_nan(median.time));
                support::expect_agrees(one, at + key + "/median_lower95", or_nan(median.lower));
                support::expect_agrees(one, at + key + "/median_upper95", or_nan(median.upper));
            }
            const auto curve = kaplan_meier(fish);
            const auto& quantiles = groups[g].at("quantiles_loglog").at("p");
            for (std::size_t k = 0; k < quantiles.size(); ++k) {
                const auto q = survival_quantile(*curve, quantiles[k].get<double>());
                ASSERT_TRUE(q);
                const std::string from = at + "/quantiles_loglog";
                const std::string place = "/" + std::to_string(k);
                support::expect_agrees(one, from + "/time" + place, or_nan(q->time));
                support::expect_agrees(one, from + "/lower95" + place, or_nan(q->lower));
                support::expect_agrees(one, from + "/upper95" + place, or_nan(q->upper));
            }
            const auto& means = groups[g].at("restricted_mean");
            for (std::size_t k = 0; k < means.size(); ++k) {
                const auto mean = restricted_mean(*curve, means[k].at("tau").get<double>());
                ASSERT_TRUE(mean);
                const std::string from = at + "/restricted_mean/" + std::to_string(k);
                support::expect_agrees(one, from + "/rmst", mean->value, mean->se);
                support::expect_agrees(one, from + "/se", mean->se);
            }
        }
    }
}

TEST(LogRank, agrees_with_r_with_and_without_weights) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& [id, time, status, event, group] : km_cases()) {
        const auto& one = support::case_of(*cases, id);
        const auto data = support::data_of(one);
        const auto fish = follow_ups(data, time, status, event);
        const auto factor = factor_of(data.text(group));
        for (const auto& [rho, key] : {std::pair{0.0, "/logrank"}, std::pair{1.0, "/peto_peto"}}) {
            const auto test = log_rank(fish, factor, {.rho = rho});
            ASSERT_TRUE(test) << test.error().text();
            const std::string at = key;
            const std::size_t groups = test->groups.size();
            for (std::size_t g = 0; g < groups; ++g) {
                const std::string place = "/" + std::to_string(g);
                support::expect_agrees(one, at + "/observed" + place, test->groups[g].observed);
                support::expect_agrees(one, at + "/expected" + place, test->groups[g].expected);
                for (std::size_t h = 0; h < groups; ++h) {
                    support::expect_agrees(one, at + "/variance" + place + "/" + std::to_string(h),
                                           test->variance[(g * groups) + h], 1.0);
                }
            }
            support::expect_agrees(one, at + "/chisq", test->chi_squared);
            support::expect_agrees(one, at + "/df", test->freedom);
            support::expect_agrees(one, at + "/p", test->p, 1e-6);
        }
    }
}

TEST(KaplanMeier, without_censoring_is_the_share_alive_with_the_binomial_error) {
    std::vector<FollowUp> fish;
    for (const double t : {3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0}) {
        fish.push_back({.time = t, .is_event = true});
    }
    const auto curve = kaplan_meier(fish);
    ASSERT_TRUE(curve);
    for (const auto& step : curve->steps) {
        double alive = 0.0;
        for (const auto& one : fish) {
            alive += one.time > step.time ? 1.0 / 8.0 : 0.0;
        }
        EXPECT_NEAR(step.survival, alive, 1e-15);
        if (alive > 0.0) {
            EXPECT_NEAR(step.se.value(), std::sqrt(alive * (1.0 - alive) / 8.0), 1e-15);
        } else {
            EXPECT_FALSE(step.se.has_value());
        }
    }
    // Level at a half from 3 to 4.
    EXPECT_EQ(median_time(*curve).time, 3.5);
    // The mean of all times, and its error with divisor n.
    const auto mean = restricted_mean(*curve, 20.0);
    ASSERT_TRUE(mean);
    EXPECT_NEAR(mean->value, 31.0 / 8.0, 1e-14);
    EXPECT_FALSE(mean->is_held_level);
    EXPECT_NEAR(mean->se,
                std::sqrt(((9 + 1 + 16 + 1 + 25 + 81 + 4 + 36) / 8.0 - mean->value * mean->value) / 8.0),
                1e-14);
}

TEST(KaplanMeier, a_fish_that_enters_late_was_not_at_risk_before) {
    const std::vector<FollowUp> fish{{.time = 2.0, .is_event = true},
                                     {.time = 3.0, .is_event = true},
                                     {.time = 5.0, .is_event = true, .entry = 2.0},
                                     {.time = 6.0, .is_event = false, .entry = 2.5}};
    const auto curve = kaplan_meier(fish);
    ASSERT_TRUE(curve);
    ASSERT_EQ(curve->steps.size(), 3U);
    EXPECT_EQ(curve->steps[0].at_risk, 2U); // who enters at 2 is not at risk at 2
    EXPECT_EQ(curve->steps[1].at_risk, 3U);
    EXPECT_EQ(curve->steps[2].at_risk, 2U);
    EXPECT_NEAR(curve->steps[2].survival, 0.5 * (2.0 / 3.0) * 0.5, 1e-15);
    EXPECT_FALSE(curve->ran_empty.has_value());
    const auto emptied = kaplan_meier(std::vector<FollowUp>{{.time = 1.0, .is_event = true},
                                                            {.time = 5.0, .is_event = true, .entry = 2.0}});
    ASSERT_TRUE(emptied);
    EXPECT_EQ(emptied->ran_empty, 1.0);
}

TEST(KaplanMeier, a_mean_beyond_the_last_look_says_so) {
    const std::vector<FollowUp> fish{{.time = 2.0, .is_event = true}, {.time = 4.0}};
    const auto curve = kaplan_meier(fish);
    EXPECT_FALSE(restricted_mean(*curve, 4.0)->is_held_level);
    const auto mean = restricted_mean(*curve, 10.0);
    EXPECT_TRUE(mean->is_held_level);
    EXPECT_NEAR(mean->value, 2.0 + 0.5 * 8.0, 1e-14);
    EXPECT_FALSE(median_time(*curve).upper.has_value());
}

TEST(KaplanMeier, says_what_is_wrong_with_times) {
    const auto text = [](const std::vector<FollowUp>& fish) { return kaplan_meier(fish).error().text(); };
    EXPECT_EQ(text({{.time = 2.0}, {.time = 3.0}}),
              "no event among 2 fish; at least one; give the share of none with its exact limits");
    EXPECT_EQ(text({{.time = 2.0, .is_event = true}, {.time = 0.0, .is_event = true}}),
              "fish 2 has the time 0; a time above 0; a fish that was never followed is left out and counted "
              "apart; one that died at once gets the time at which it was first looked at");
    EXPECT_EQ(text({{.time = 2.0, .is_event = true, .entry = 3.0}}),
              "fish 1 enters at 3 and ends at 2; an end after the entry; are the two swapped?");
    EXPECT_EQ(
        text({{.time = std::numeric_limits<double>::infinity()}}),
        "fish 1 has a time that is infinite or not a number; finite times; for a fish without the event "
        "give the time to which it was followed");
    EXPECT_EQ(text({{.time = 2.0, .is_event = true, .entry = -1.0}}),
              "fish 1 enters at -1; an entry of 0 or later; count times from the same start for every fish");
    const std::vector<FollowUp> fish{{.time = 1.0, .is_event = true}, {.time = 2.0}};
    EXPECT_EQ(kaplan_meier(fish, {.level = 1.0}).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(survival_quantile(kaplan_meier(fish).value(), 0.0).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(restricted_mean(kaplan_meier(fish).value(), 0.0).error().code, ErrorCode::bad_setting);
}

TEST(LogRank, is_indifferent_to_the_order_of_fish_and_groups_and_to_the_unit_of_time) {
    Random random(7);
    std::vector<FollowUp> fish;
    Factor group{.levels = {"a", "b", "c"}, .codes = {}};
    for (std::size_t i = 0; i < 30; ++i) {
        fish.push_back(
            {.time = 1.0 + static_cast<double>(random.below(12)), .is_event = random.uniform() < 0.7});
        group.codes.push_back(i % 3);
    }
    auto turned = std::vector<FollowUp>(fish.rbegin(), fish.rend());
    Factor back{.levels = {"c", "b", "a"}, .codes = {}};
    for (std::size_t i = 0; i < 30; ++i) {
        turned[i].time *= 24.0;
        back.codes.push_back(2 - group.codes[29 - i]);
    }
    const auto test = log_rank(fish, group);
    const auto other = log_rank(turned, back);
    ASSERT_TRUE(test && other);
    EXPECT_NEAR(test->chi_squared, other->chi_squared, 1e-11);
    EXPECT_NEAR(test->groups[0].expected, other->groups[2].expected, 1e-12);
}

TEST(LogRank, strata_are_compared_within_and_added) {
    // Two copies of one set of fish, the second a thousand days later: within strata twice the excess and
    // twice the variance of one.
    const std::vector<FollowUp> half{
        {.time = 1.0, .is_event = true}, {.time = 2.0, .is_event = true}, {.time = 3.0},
        {.time = 2.0, .is_event = true}, {.time = 4.0, .is_event = true}, {.time = 6.0, .is_event = true}};
    const std::vector<std::size_t> codes{0, 0, 0, 1, 1, 1};
    std::vector<FollowUp> both = half;
    Factor group{.levels = {"a", "b"}, .codes = codes};
    Factor season{.levels = {"first", "second"}, .codes = std::vector<std::size_t>(6, 0)};
    for (std::size_t i = 0; i < half.size(); ++i) {
        both.push_back({.time = half[i].time + 1000.0, .is_event = half[i].is_event});
        group.codes.push_back(codes[i]);
        season.codes.push_back(1);
    }
    const auto one = log_rank(half, {.levels = {"a", "b"}, .codes = codes});
    const auto two = log_rank(both, group, {.strata = &season});
    ASSERT_TRUE(one && two);
    EXPECT_NEAR(two->groups[0].observed, 2.0 * one->groups[0].observed, 1e-14);
    EXPECT_NEAR(two->groups[0].expected, 2.0 * one->groups[0].expected, 1e-13);
    EXPECT_NEAR(two->chi_squared, 2.0 * one->chi_squared, 1e-12);
}

TEST(LogRank, names_a_group_without_events_and_refuses_one_group) {
    const std::vector<FollowUp> fish{
        {.time = 1.0, .is_event = true}, {.time = 2.0, .is_event = true}, {.time = 3.0}, {.time = 3.0}};
    const auto test = log_rank(fish, {.levels = {"air", "none"}, .codes = {0, 0, 1, 1}});
    ASSERT_TRUE(test);
    EXPECT_EQ(test->without_events, std::vector<std::string>{"none"});
    EXPECT_EQ(log_rank(fish, {.levels = {"air"}, .codes = {0, 0, 0, 0}}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(log_rank(fish, {.levels = {"a", "b"}, .codes = {0, 1}}).error().code, ErrorCode::bad_relation);
    // The only fish of the second group leaves before any event.
    const std::vector<FollowUp> apart{
        {.time = 5.0, .is_event = true}, {.time = 6.0, .is_event = true}, {.time = 1.0}};
    EXPECT_EQ(log_rank(apart, {.levels = {"a", "b"}, .codes = {0, 0, 1}}).error().text(),
              "at no event were fish of two groups at risk together; groups that were followed at the same "
              "times; look at the groups' entries and ends");
}

TEST(Survival, in_small_studies_limits_hold_the_truth_and_the_test_keeps_its_level) {
    // 20 fish a group, hazard 0.1 a day, followed to day 12 or lost at a hazard of 0.03.
    Rate survival;
    Rate median;
    Rate rejected;
    for (std::uint64_t run = 0; run < 2000; ++run) {
        Random random(20261128, run);
        std::vector<FollowUp> fish;
        Factor group{.levels = {"a", "b"}, .codes = {}};
        for (std::size_t i = 0; i < 40; ++i) {
            const double event = random.exponential() / 0.1;
            const double end = std::min(12.0, random.exponential() / 0.03);
            fish.push_back({.time = std::min(event, end), .is_event = event <= end});
            group.codes.push_back(i % 2);
        }
        const auto curve = kaplan_meier(std::span(fish).first(20));
        const auto test = log_rank(fish, group);
        ASSERT_TRUE(curve && test);
        // At day 5, exp(-0.5).
        std::optional<Interval> limits;
        for (const auto& step : curve->steps) {
            limits = step.time <= 5.0 ? step.limits : limits;
        }
        survival.add(limits && limits->holds(std::exp(-0.5)));
        const auto q = median_time(*curve);
        const double truth = std::log(2.0) / 0.1;
        median.add((!q.lower || *q.lower <= truth) && (!q.upper || truth <= *q.upper));
        rejected.add(test->p < 0.05);
    }
    EXPECT_TRUE(is_between(survival, 0.94, 0.97, "log-log limits of survival at day 5, 20 fish"));
    EXPECT_TRUE(is_between(median, 0.93, 0.97, "limits of the median, 20 fish"));
    EXPECT_TRUE(is_between(rejected, 0.04, 0.06, "log-rank at 5 %, 20 fish a group"));
}

} // namespace
} // namespace backeddy::stats
