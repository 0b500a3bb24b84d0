// Sources: R 4.2.2 binom.test, prop.test, fisher.test with odds ratios solved to full precision,
// mcnemar.test, poisson.test, Newcombe's, Katz' and Woolf's limits by formula (reference/stats 07); Koopman
// 1984, 36 of 40 against 16 of 80; his chi-squared by R's optimize and uniroot.

#include "stats/counts.hpp"

#include <array>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

void expect_interval(const support::Json& one, const std::string& at, const Interval& got) {
    support::expect_agrees(one, at + "/0", got.lower);
    support::expect_agrees(one, at + "/1", got.upper);
}

Share share_of(const support::Json& row) {
    return {.count = row.at(0).get<std::uint64_t>(),
            .of = row.at(0).get<std::uint64_t>() + row.at(1).get<std::uint64_t>()};
}

TEST(Proportion, intervals_agree_with_r_at_three_levels) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "binomial_intervals");
    const auto& rows = one["expected"]["rows"];
    ASSERT_EQ(rows.size(), 10U);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const Share share{.count = rows[i]["x"].get<std::uint64_t>(),
                          .of = rows[i]["n"].get<std::uint64_t>()};
        const std::string at = "/rows/" + std::to_string(i);
        for (const auto& [key, level] :
             {std::pair{"/level_0.9", 0.9}, std::pair{"/level_0.95", 0.95}, std::pair{"/level_0.99", 0.99}}) {
            const auto got = proportion(share, level);
            ASSERT_TRUE(got);
            expect_interval(one, at + key + "/clopper_pearson", got->exact);
            expect_interval(one, at + key + "/wilson", got->score);
        }
        support::expect_agrees(one, at + "/p_two_sided_vs_half", binomial_test(share, 0.5)->two_sided, 1e-6);
        support::expect_agrees(one, at + "/p_two_sided_vs_0.2", binomial_test(share, 0.2)->two_sided, 1e-6);
    }
}

TEST(TwoShares, agree_with_r) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const char* id : {"two_by_two_1", "two_by_two_2", "two_by_two_zero", "two_by_two_large"}) {
        const auto& one = support::case_of(*cases, id);
        const auto& expected = one["expected"];
        const Share first = share_of(expected["table"][0]);
        const Share second = share_of(expected["table"][1]);
        const auto difference = difference_of_shares(first, second);
        const auto ratio = ratio_of_shares(first, second);
        const auto odds = odds_ratio(first, second);
        ASSERT_TRUE(difference && ratio && odds);
        support::expect_agrees(one, "/difference/estimate", difference->value);
        expect_interval(one, "/difference/newcombe_ci95", difference->interval);
        support::expect_agrees(one, "/fisher/p", odds->p.two_sided, 1e-6);
        support::expect_agrees(one, "/fisher/p_greater", odds->p.greater, 1e-6);
        support::expect_agrees(one, "/fisher/p_less", odds->p.less, 1e-6);
        support::expect_agrees(one, "/fisher/conditional_or", odds->conditional);
        support::expect_agrees(one, "/fisher/lower95", odds->exact.lower);
        support::expect_agrees(one, "/fisher/upper95", odds->exact.upper);
        EXPECT_EQ(expected.contains("odds_ratio_ci95"), odds->log_interval.has_value());
        EXPECT_EQ(expected.contains("risk_ratio_ci95"), ratio->log_interval.has_value());
        if (odds->log_interval) {
            support::expect_agrees(one, "/odds_ratio", odds->value);
            expect_interval(one, "/odds_ratio_ci95", *odds->log_interval);
            support::expect_agrees(one, "/risk_ratio", ratio->value);
            expect_interval(one, "/risk_ratio_ci95", *ratio->log_interval);
        }
    }
}

struct LimitsRow {
    Share first;
    Share second;
    Interval limits;
};

// The first as Koopman 1984 prints it to two decimals (2.94, 7.15); all by R's uniroot on Pearson's
// chi-squared of the table whose likelihood was maximised under the ratio.
TEST(TwoShares, score_limits_of_the_ratio) {
    for (const auto& row : {LimitsRow{{36, 40}, {16, 80}, {2.939569192214995, 7.152223434866029}},
                            LimitsRow{{18, 30}, {7, 32}, {1.403855922627315, 5.711396261518871}},
                            LimitsRow{{0, 12}, {6, 15}, {0.0, 0.6568268290129037}},
                            LimitsRow{{3, 4}, {1, 4}, {0.6852164353654795, 17.2641967943374084}}}) {
        const auto got = ratio_of_shares(row.first, row.second);
        ASSERT_TRUE(got);
        EXPECT_NEAR(got->interval.lower, row.limits.lower, 1e-8 * row.limits.lower);
        EXPECT_NEAR(got->interval.upper, row.limits.upper, 1e-8 * row.limits.upper);
        const auto turned = ratio_of_shares(row.second, row.first);
        EXPECT_NEAR(turned->interval.lower, 1.0 / row.limits.upper, 1e-8 / row.limits.upper);
    }
    const auto all = ratio_of_shares({10, 10}, {8, 8});
    ASSERT_TRUE(all);
    EXPECT_EQ(all->value, 1.0);
    EXPECT_LT(all->interval.lower, 1.0);
    EXPECT_GT(all->interval.upper, 1.0);
}

// Score of Miettinen and Nurminen by R's uniroot, the shares fitted by uniroot on the likelihood's slope.
TEST(TwoShares, score_limits_of_the_difference) {
    for (const auto& row : {LimitsRow{{18, 30}, {7, 32}, {0.1376377153963566, 0.5833757481405021}},
                            LimitsRow{{3, 4}, {1, 4}, {-0.2222664380453259, 0.8679360029786384}},
                            LimitsRow{{0, 12}, {6, 15}, {-0.6465292719148602, -0.1094180643215022}},
                            LimitsRow{{120, 500}, {95, 500}, {-9.541073877851973e-04, 0.1009315234777049}},
                            LimitsRow{{6, 10}, {6, 10}, {-0.4059166087661347, 0.4059166087661347}}}) {
        const auto got = difference_of_shares(row.first, row.second);
        ASSERT_TRUE(got);
        EXPECT_NEAR(got->score.lower, row.limits.lower, 1e-9);
        EXPECT_NEAR(got->score.upper, row.limits.upper, 1e-9);
    }
    const auto ends = difference_of_shares({8, 8}, {0, 9});
    ASSERT_TRUE(ends);
    EXPECT_EQ(ends->score.upper, 1.0);
    EXPECT_GT(ends->score.lower, 0.5);
    const auto nothing = difference_of_shares({0, 8}, {0, 9});
    EXPECT_LT(nothing->score.lower, 0.0);
    EXPECT_GT(nothing->score.upper, 0.0);
}

TEST(McNemar, agrees_with_r) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const char* id : {"mcnemar_1", "mcnemar_2", "mcnemar_equal", "mcnemar_zero"}) {
        const auto& one = support::case_of(*cases, id);
        const auto got =
            mcnemar(one["expected"]["b"].get<std::uint64_t>(), one["expected"]["c"].get<std::uint64_t>());
        ASSERT_TRUE(got);
        support::expect_agrees(one, "/exact_p", got->p.two_sided, 1e-6);
        support::expect_agrees(one, "/mid_p", got->mid_p, 1e-6);
        support::expect_agrees(one, "/odds_ratio", got->odds_ratio);
        expect_interval(one, "/odds_ratio_exact_ci95", got->interval);
    }
}

TEST(Rates, agree_with_r) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const char* id : {"rates_1", "rates_2", "rates_zero", "rates_equal", "rates_null2"}) {
        const auto& one = support::case_of(*cases, id);
        const auto& e = one["expected"];
        const Counted first{.count = e["x"][0].get<std::uint64_t>(), .exposure = e["T"][0].get<double>()};
        const Counted second{.count = e["x"][1].get<std::uint64_t>(), .exposure = e["T"][1].get<double>()};
        const auto got = ratio_of_rates(first, second, e["r"].get<double>());
        ASSERT_TRUE(got) << got.error().text();
        support::expect_agrees(one, "/ratio", got->value);
        support::expect_agrees(one, "/p_two_sided", got->p.two_sided, 1e-6);
        support::expect_agrees(one, "/p_greater", got->p.greater, 1e-6);
        support::expect_agrees(one, "/p_less", got->p.less, 1e-6);
        support::expect_agrees(one, "/p_twice_smaller_tail", got->twice_smaller, 1e-6);
        support::expect_agrees(one, "/p_mid_twice", got->mid_p, 1e-6);
        support::expect_agrees(one, "/exact_lower95", got->interval.lower);
        support::expect_agrees(one, "/exact_upper95", got->interval.upper);
        EXPECT_EQ(got->log_interval.has_value(), !e["log_wald_lower95"].is_null());
        if (got->log_interval) {
            support::expect_agrees(one, "/log_wald_lower95", got->log_interval->lower);
            support::expect_agrees(one, "/log_wald_upper95", got->log_interval->upper);
        }
        expect_interval(one, "/rate1_exact_ci95", rate_of(first)->interval);
        expect_interval(one, "/rate2_exact_ci95", rate_of(second)->interval);
    }
}

TEST(Counts, turned_round_they_say_the_opposite) {
    Random random(71);
    for (int round = 0; round < 200; ++round) {
        const Share a{.count = random.below(9), .of = 8 + random.below(5)};
        const Share b{.count = 1 + random.below(8), .of = 9 + random.below(30)};
        const auto one = odds_ratio(a, b);
        const auto other = odds_ratio(b, a);
        ASSERT_TRUE(one && other);
        EXPECT_NEAR(one->p.two_sided, other->p.two_sided, 1e-12);
        EXPECT_NEAR(one->p.greater, other->p.less, 1e-12);
        if (one->exact.lower > 0.0) {
            EXPECT_NEAR(one->exact.lower * other->exact.upper, 1.0, 1e-9);
        } else {
            EXPECT_EQ(other->exact.upper, infinite);
        }
        EXPECT_TRUE(one->exact.holds(one->conditional));
        const auto d = difference_of_shares(a, b);
        EXPECT_NEAR(d->interval.lower, -difference_of_shares(b, a)->interval.upper, 1e-14);
        EXPECT_GE(d->interval.lower, -1.0);
        EXPECT_LE(d->interval.upper, 1.0);
        EXPECT_TRUE(ratio_of_shares(a, b)->interval.holds(ratio_of_shares(a, b)->value));
    }
}

TEST(Counts, many_are_no_trouble) {
    const auto odds = odds_ratio({120'000, 500'000}, {121'000, 500'000});
    ASSERT_TRUE(odds);
    EXPECT_NEAR(odds->conditional, odds->value, 1e-6);
    EXPECT_NEAR(odds->exact.lower, odds->log_interval->lower, 1e-4);
    EXPECT_NEAR(odds->exact.upper, odds->log_interval->upper, 1e-4);
    EXPECT_NEAR(binomial_test({500'000, 1'000'000}, 0.5)->two_sided, 1.0, 1e-9);
}

TEST(Counts, bad_input_is_named) {
    EXPECT_EQ(proportion({.count = 0, .of = 0}).error().text(), "0 of 0; a share of at least one");
    EXPECT_EQ(proportion({.count = 5, .of = 4}).error().text(),
              "5 of 4; a count within its whole, the whole at most 1000000");
    EXPECT_EQ(ratio_of_shares({0, 8}, {0, 9}).error().text(),
              "0 of 8 and 0 of 9; a count above 0 in one of them: nothing has no ratio to nothing; give the "
              "difference, or each share's exact upper limit");
    EXPECT_EQ(odds_ratio({8, 8}, {9, 9}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(mcnemar(0, 0).error().text(),
              "no pair changed; pairs that differ: those that do not say nothing about which way");
    EXPECT_EQ(rate_of({3, 0.0}).error().text(),
              "a count of 3 in 0; a count up to 1000000 in an effort above 0");
    EXPECT_EQ(rate_of({3, infinite}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(ratio_of_rates({0, 1.0}, {0, 2.0}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(ratio_of_rates({1, 1.0}, {0, 2.0}, 0.0).error().code, ErrorCode::bad_setting);
    EXPECT_EQ(binomial_test({1, 2}, 1.0).error().code, ErrorCode::bad_setting);
}

TEST(NonInferiority, says_what_is_shown_and_what_is_not) {
    const auto words = [](Share a, Share b, const Margin& margin) {
        const auto got = judge_shares(a, b, margin);
        return got ? got->words : got.error().text();
    };
    const Margin margin{.value = 0.15};
    EXPECT_EQ(
        words({290, 300}, {200, 300}, margin),
        "The difference is 0.300, with 97.5 % confidence above 0.244: better is shown, and one of -0.150 or "
        "lower is excluded.");
    EXPECT_EQ(
        words({180, 300}, {180, 300}, margin),
        "The difference is 0.00, with 97.5 % confidence above -0.0783: one of -0.150 or lower is excluded; "
        "neither better nor worse is shown.");
    EXPECT_EQ(
        words({1700, 3000}, {1800, 3000}, margin),
        "The difference is -0.0333, with 97.5 % confidence above -0.0582 and as surely below -0.00838: worse "
        "is shown, but one of -0.150 or lower is excluded.");
    EXPECT_EQ(
        words({10, 300}, {180, 300}, margin),
        "The difference is -0.567, with 97.5 % confidence below -0.506: worse by more than the margin is "
        "shown.");
    EXPECT_EQ(words({6, 10}, {6, 10}, margin),
              "The difference is 0.00, and may be anything from -0.406 to 0.406, each limit with 97.5 % "
              "confidence: one of -0.150 or lower is neither excluded nor shown; more fish would tell.");
    // Deaths: lower is better.
    const auto deaths = judge_shares({3, 120}, {4, 120}, {.value = 0.05, .better = Better::lower});
    ASSERT_TRUE(deaths);
    EXPECT_TRUE(deaths->is_non_inferior());
    EXPECT_EQ(deaths->bound, 0.05);
    EXPECT_EQ(deaths->limit, difference_of_shares({3, 120}, {4, 120})->score.upper);
    EXPECT_EQ(
        words({6, 10}, {6, 10}, {.value = -0.1}),
        "a margin of -0.1; the largest acceptable loss, above 0; declare it before the results are seen");
    EXPECT_EQ(
        judge_rates({6, 10.0}, {6, 10.0}, {.value = 1.25}).error().text(),
        "a margin of 1.25; the lowest acceptable ratio, between 0 and 1 as higher is better; declare it "
        "before the results are seen");
    EXPECT_EQ(judge_share_ratio({6, 10}, {6, 10}, {.value = 0.8, .level = 0.4}).error().code,
              ErrorCode::bad_setting);
}

TEST(NonInferiority, of_rates_and_means_uses_their_own_limits) {
    const auto rates = judge_rates({0, 4.0}, {7, 5.0}, {.value = 0.9});
    ASSERT_TRUE(rates);
    EXPECT_EQ(rates->shown, Shown::worse);
    EXPECT_NEAR(rates->other_limit, 0.867267475120566, 1e-9); // poisson.test, reference/stats 07 rates_zero
    const auto endless = judge_rates({7, 5.0}, {0, 4.0}, {.value = 0.9});
    ASSERT_TRUE(endless);
    EXPECT_EQ(endless->shown, Shown::better);
    EXPECT_EQ(endless->words.substr(0, 28), "The ratio is any number, wit");
    const auto means = judge_difference(make_estimate("d", -0.5, 0.2, 9.0), {.value = 1.0});
    ASSERT_TRUE(means);
    EXPECT_NEAR(means->limit, -0.5 - (2.262157162740992 * 0.2), 1e-9); // t of 9, 97.5 %: tables
    EXPECT_EQ(means->shown, Shown::little_worse);
    const auto again = judge_interval(-0.5, {means->limit, means->other_limit}, {.value = 1.0});
    ASSERT_TRUE(again);
    EXPECT_EQ(again->words, means->words);
    EXPECT_EQ(judge_interval(-0.5, {-std::numeric_limits<double>::infinity(), 0.2}, {.value = 1.0})->shown,
              Shown::nothing);
    EXPECT_EQ(judge_interval(-0.5, {-0.4, 0.2}, {.value = 1.0}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(
        judge_difference({.value = std::nan(""), .se = 1.0, .freedom = 3.0}, {.value = 1.0}).error().code,
        ErrorCode::out_of_range);
}

/// How often a new way that is worse by exactly the margin is called non-inferior: summed over all outcomes.
template <typename Judge>
double wrongly_cleared(int n, double of_new, double of_reference, const Judge& judge) {
    const auto probability = [&](int x, double p) {
        return std::exp(std::lgamma(n + 1.0) - std::lgamma(x + 1.0) - std::lgamma(n - x + 1.0) +
                        (x * std::log(p)) + ((n - x) * std::log(1.0 - p)));
    };
    double sum = 0.0;
    for (int a = 0; a <= n; ++a) {
        for (int b = 0; b <= n; ++b) {
            const auto whole = static_cast<std::uint64_t>(n);
            const auto got = judge(Share{static_cast<std::uint64_t>(a), whole},
                                   Share{static_cast<std::uint64_t>(b), whole});
            if (got && got->is_non_inferior()) {
                sum += probability(a, of_new) * probability(b, of_reference);
            }
        }
    }
    return sum;
}

TEST(NonInferiority, at_the_margin_is_seldom_claimed) {
    for (const int n : {8, 12, 24, 60}) {
        double by_difference = 0.0;
        double by_ratio = 0.0;
        for (const double of_reference : {0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9}) {
            by_difference = std::max(
                by_difference, wrongly_cleared(n, of_reference - 0.2, of_reference, [](Share a, Share b) {
                    return judge_shares(a, b, {.value = 0.2});
                }));
            by_ratio = std::max(by_ratio,
                                wrongly_cleared(n, 0.75 * of_reference, of_reference, [](Share a, Share b) {
                                    return judge_share_ratio(a, b, {.value = 0.75});
                                }));
        }
        std::printf("    non-inferior at the margin, n = %d a group: difference at most %.4f, ratio %.4f\n",
                    n, by_difference, by_ratio);
        // What the header says, to its last digit.
        EXPECT_LE(by_difference, n < 60 ? 0.0335 : 0.0265);
        EXPECT_LE(by_ratio, n < 60 ? 0.0415 : 0.0285);
    }
}

TEST(Counts, intervals_cover_and_tests_hold_their_level_at_few_fish) {
    for (const int n : {8, 12, 24}) { // in each group
        Rate exact;
        Rate score;
        Rate newcombe;
        Rate koopman;
        Rate conditional;
        Rate fisher;
        Rate by_score;
        Rate rates;
        for (std::uint64_t run = 0; run < runs(4000); ++run) {
            Random random(81'000 + static_cast<std::uint64_t>(n), run);
            const auto draw = [&](double p) {
                Share out{.count = 0, .of = static_cast<std::uint64_t>(n)};
                for (int i = 0; i < n; ++i) {
                    out.count += random.uniform() < p ? 1 : 0;
                }
                return out;
            };
            const auto poisson = [&](double mean) {
                std::uint64_t count = 0;
                for (double t = random.exponential(); t < mean; t += random.exponential()) {
                    ++count;
                }
                return count;
            };
            const Share a = draw(0.7);
            const Share b = draw(0.4);
            const Share same = draw(0.4);
            exact.add(proportion(a)->exact.holds(0.7));
            score.add(proportion(a)->score.holds(0.7));
            newcombe.add(difference_of_shares(a, b)->interval.holds(0.3));
            const auto ratio = ratio_of_shares(a, b);
            koopman.add(!ratio || ratio->interval.holds(0.7 / 0.4));
            const auto odds = odds_ratio(a, b);
            conditional.add(!odds || odds->exact.holds((0.7 * 0.6) / (0.3 * 0.4)));
            const auto none = odds_ratio(same, b);
            fisher.add(none && none->p.two_sided <= 0.05);
            by_score.add(difference_of_shares(a, b)->score.holds(0.3));
            const Counted first{.count = poisson(0.5 * n), .exposure = 0.5 * n};
            const Counted second{.count = poisson(0.4 * n), .exposure = 0.2 * n};
            const auto by_rates = ratio_of_rates(first, second);
            rates.add(!by_rates || by_rates->interval.holds(0.5));
        }
        const std::string at = ", n = " + std::to_string(n) + " a group";
        EXPECT_TRUE(is_between(exact, 0.95, 0.995, "Clopper-Pearson covers" + at));
        EXPECT_TRUE(is_between(score, 0.92, 0.98, "Wilson covers" + at));
        EXPECT_TRUE(is_between(newcombe, 0.94, 0.98, "Newcombe's difference covers" + at));
        EXPECT_TRUE(is_between(koopman, 0.93, 0.98, "Koopman's ratio covers" + at));
        EXPECT_TRUE(is_between(conditional, 0.95, 0.995, "exact odds ratio covers" + at));
        EXPECT_TRUE(is_between(fisher, 0.0, 0.05, "Fisher rejects" + at));
        EXPECT_TRUE(is_between(by_score, 0.94, 0.98, "score of the difference covers" + at));
        EXPECT_TRUE(is_between(rates, 0.95, 0.995, "exact ratio of rates covers" + at));
    }
}

} // namespace
} // namespace backeddy::stats
