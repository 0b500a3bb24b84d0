// Sources: R 4.2.2 t.test, wilcox.test, exactRankTests, binom.test (reference/stats 05); metafor 3.8-1 rma
// and confint on Colditz et al. 1994 (J Am Med Assoc 271:698), 13 trials; coin 1.4-2 wilcoxsign_test.

#include "stats/paired.hpp"

#include <array>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

struct PairedCase {
    const char* id;
    const char* first;
    const char* second;
};
constexpr std::array paired_cases{
    PairedCase{"paired_sleep", "drug1", "drug2"}, PairedCase{"paired_shoes", "A", "B"},
    PairedCase{"paired_immer", "Y1", "Y2"}, PairedCase{"paired_methods_ties", "method_a", "method_b"},
    PairedCase{"paired_methods_noties", "method_a", "method_b"}};

Differences pairs_of(const support::Json& one, const PairedCase& of) {
    const auto data = support::data_of(one);
    auto pairs = differences_of(data.numbers(of.first), data.numbers(of.second));
    EXPECT_TRUE(pairs);
    return *std::move(pairs);
}

TEST(PairedT, agrees_with_r_on_five_sets) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : paired_cases) {
        const auto& one = support::case_of(*cases, of.id);
        const auto t = paired_t(pairs_of(one, of));
        ASSERT_TRUE(t) << t.error().text();
        const double se = t->difference.se;
        support::expect_agrees(one, "/n", static_cast<double>(t->n));
        support::expect_agrees(one, "/t/mean", t->difference.value, se);
        support::expect_agrees(one, "/t/sd", t->sd);
        support::expect_agrees(one, "/t/se", se);
        support::expect_agrees(one, "/t/t", t->difference.statistic);
        support::expect_agrees(one, "/t/df", t->difference.freedom);
        support::expect_agrees(one, "/t/p", t->difference.p, 1e-6);
        support::expect_agrees(one, "/t/lower95", t->difference.lower, se);
        support::expect_agrees(one, "/t/upper95", t->difference.upper, se);
        support::expect_agrees(one, "/t/p_greater", t->p.greater, 1e-6);
        support::expect_agrees(one, "/t/p_less", t->p.less, 1e-6);
        support::expect_agrees(one, "/t/cohen_dz", t->effect_size);
    }
}

// Sleep, ten pairs: uniroot on pt(t, 9, ncp) in R 4.2.2.
TEST(PairedT, effect_size_has_the_interval_of_the_noncentral_t) {
    const std::vector<double> first{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
    const std::vector<double> second{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    const auto t = paired_t(*differences_of(first, second));
    ASSERT_TRUE(t);
    EXPECT_NEAR(t->effect_size_interval.lower, -2.118016513977067, 1e-7);
    EXPECT_NEAR(t->effect_size_interval.upper, -0.414627756380144, 1e-7);
    const auto turned = paired_t(*differences_of(second, first));
    EXPECT_NEAR(turned->effect_size_interval.upper, 2.118016513977067, 1e-7);
    EXPECT_NEAR(turned->p.greater, t->p.less, 1e-15);
}

TEST(PairedT, a_huge_effect_still_has_an_interval) {
    std::vector<double> d;
    for (int i = 0; i < 24; ++i) {
        d.push_back(100.0 + (0.1 * i)); // t some 700
    }
    const auto t = paired_t({.values = d});
    ASSERT_TRUE(t);
    // Large noncentrality: d / sqrt(chi-squared quantiles of the spread), within the error of the mean.
    EXPECT_GT(t->effect_size_interval.lower, 0.6 * t->effect_size);
    EXPECT_LT(t->effect_size_interval.lower, 0.8 * t->effect_size);
    EXPECT_GT(t->effect_size_interval.upper, 1.2 * t->effect_size);
    EXPECT_LT(t->effect_size_interval.upper, 1.4 * t->effect_size);
}

TEST(PairedT, an_effect_beyond_all_measure_still_has_an_interval) {
    // d_z some 1e7. What is uncertain of it is the sd alone: d_z times sqrt(chi-squared of 4, 2.5 and 97.5 %,
    // over 4); the quantiles from tables (0.484419, 11.143287).
    constexpr double s = 1e-7;
    const auto t = paired_t({.values = {1, 1 + s, 1 - s, 1 + (2 * s), 1 + (s / 2)}});
    ASSERT_TRUE(t);
    EXPECT_NEAR(t->effect_size_interval.lower / t->effect_size, std::sqrt(0.484419 / 4.0), 1e-6);
    EXPECT_NEAR(t->effect_size_interval.upper / t->effect_size, std::sqrt(11.143287 / 4.0), 1e-6);
}

TEST(SignedRank, agrees_with_r_on_five_sets_ties_and_zeros_among_them) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : paired_cases) {
        const auto& one = support::case_of(*cases, of.id);
        const auto pairs = pairs_of(one, of);
        const auto test = signed_rank(pairs);
        const auto plain = signed_rank(pairs, {.continuity = Continuity::none});
        ASSERT_TRUE(test && plain);
        const std::string at = "/wilcoxon_signed_rank";
        support::expect_agrees(one, at + "/n_nonzero", static_cast<double>(test->n));
        support::expect_agrees(one, at + "/V", test->sum_positive);
        support::expect_agrees(one, at + "/p_exact", test->p.two_sided, 1e-6);
        support::expect_agrees(one, at + "/p_normal_corrected", test->normal.two_sided, 1e-6);
        support::expect_agrees(one, at + "/p_normal_uncorrected", plain->normal.two_sided, 1e-6);
        EXPECT_EQ(test->has_ties || test->zeros > 0,
                  one["expected"]["wilcoxon_signed_rank"]["ties_or_zeros"].get<bool>());
        EXPECT_TRUE(test->is_exact);
        const auto shift = hodges_lehmann(pairs);
        ASSERT_TRUE(shift);
        support::expect_agrees(one, at + "/walsh_median", shift->value, 1e-3);
        if (one["expected"]["wilcoxon_signed_rank"].contains("hodges_lehmann")) {
            support::expect_agrees(one, at + "/exact_lower95", shift->interval.lower);
            support::expect_agrees(one, at + "/exact_upper95", shift->interval.upper);
        }
        const auto sign = sign_test(pairs);
        ASSERT_TRUE(sign);
        support::expect_agrees(one, "/sign_test/positive", static_cast<double>(sign->positive));
        support::expect_agrees(one, "/sign_test/nonzero",
                               static_cast<double>(sign->positive + sign->negative));
        support::expect_agrees(one, "/sign_test/p", sign->p.two_sided, 1e-6);
    }
}

// coin 1.4-2, wilcoxsign_test, distribution "exact" and "asymptotic".
TEST(SignedRank, zeros_are_dropped_or_ranked_as_asked) {
    const Differences pairs{.values = {0, 0, 1, -2, 3, 3, -4, 5, 6, 7, 0, 2}};
    const auto dropped = signed_rank(pairs);
    const auto ranked = signed_rank(pairs, {.zeros = Zeros::ranked, .continuity = Continuity::none});
    ASSERT_TRUE(dropped && ranked);
    EXPECT_EQ(dropped->zeros, 3U);
    EXPECT_EQ(ranked->n, 9U);
    EXPECT_NEAR(dropped->p.two_sided, 0.10546875, 1e-14);
    EXPECT_NEAR(ranked->p.two_sided, 0.08984375, 1e-14);
    EXPECT_NEAR(ranked->normal.two_sided, 0.0879330819709931, 1e-12);
}

TEST(SignedRank, the_shift_algorithm_counts_what_all_signs_give) {
    Random random(11);
    for (int round = 0; round < 20; ++round) {
        std::vector<double> d;
        for (int i = 0; i < 9; ++i) {
            d.push_back(static_cast<double>(random.below(9)) - 4.0); // ties and zeros
        }
        const auto test = signed_rank({.values = d}, {.zeros = Zeros::ranked});
        if (!test) {
            continue; // all zero
        }
        // Brute force: every pattern of signs of the differences as they are.
        int above = 0;
        int all = 0;
        for (unsigned pattern = 0; pattern < 512; ++pattern) {
            auto turned = d;
            for (unsigned i = 0; i < 9; ++i) {
                turned[i] = std::abs(d[i]) * ((pattern >> i) & 1U ? 1.0 : -1.0);
            }
            ++all;
            above += signed_rank({.values = turned}, {.zeros = Zeros::ranked})->sum_positive >=
                             test->sum_positive - 1e-9
                         ? 1
                         : 0;
        }
        EXPECT_NEAR(test->p.greater, static_cast<double>(above) / all, 1e-12);
    }
}

TEST(SignedRank, beyond_the_exact_the_normal_is_near_it) {
    Random random(12);
    std::vector<double> d;
    for (int i = 0; i < 150; ++i) {
        d.push_back(random.normal() + 0.15);
    }
    const auto exact = signed_rank({.values = d});
    const auto normal = signed_rank({.values = d}, {.exact_up_to = 100});
    ASSERT_TRUE(exact && normal);
    EXPECT_TRUE(exact->is_exact);
    EXPECT_FALSE(normal->is_exact);
    EXPECT_EQ(normal->p.two_sided, normal->normal.two_sided);
    EXPECT_NEAR(normal->p.two_sided, exact->p.two_sided, 0.002);
}

TEST(SignedRank, numbers_that_part_in_their_last_digit_are_tied) {
    // Three pairs 0.6 apart, which binary numbers tell apart, and one not apart at all.
    const auto pairs = differences_of(std::vector{8.8, 13.8, 0.7, 0.3}, std::vector{8.2, 13.2, 0.1, 0.3});
    ASSERT_TRUE(pairs);
    const auto test = signed_rank(*pairs);
    ASSERT_TRUE(test);
    EXPECT_TRUE(test->has_ties);
    EXPECT_EQ(test->zeros, 1U);
    EXPECT_EQ(test->sum_positive, 6.0);
    EXPECT_NEAR(test->p.greater, 0.125, 1e-15);
    const auto same = differences_of(std::vector{1.1, 2.2, 3.3}, std::vector{1.0, 2.1, 3.2});
    EXPECT_EQ(paired_t(*same).error().code, ErrorCode::degenerate);
}

TEST(HodgesLehmann, says_which_level_so_few_pairs_reach) {
    const auto shift = hodges_lehmann({.values = {1, 2, 4, 8, 16}});
    ASSERT_TRUE(shift);
    EXPECT_EQ(shift->interval.lower, 1.0); // the whole span
    EXPECT_EQ(shift->interval.upper, 16.0);
    EXPECT_NEAR(shift->level_reached, 1.0 - (2.0 / 32.0), 1e-15);
    EXPECT_EQ(shift->value, 5.0); // 1 1.5 2 2.5 3 4 4.5 [5] 6 8 8.5 9 10 12 16
}

struct Trial {
    double effect;
    double variance;
};
// ln risk ratios and variances of the 13 trials (12 digits by metafor's escalc from the printed counts).
constexpr std::array<Trial, 13> colditz{{{-0.8893113339202, 0.32558476500396},
                                         {-1.5853886572014, 0.19458112139814},
                                         {-1.3480731482997, 0.41536796536797},
                                         {-1.4415511900213, 0.02001003190225},
                                         {-0.2175473222113, 0.05121017216963},
                                         {-0.7861155858189, 0.00690561845591},
                                         {-1.6208982235984, 0.22301724757232},
                                         {0.0119523335238, 0.00396157929782},
                                         {-0.4694176487381, 0.05643421046325},
                                         {-1.3713448034728, 0.07302479361303},
                                         {-0.3393588283384, 0.01241221397156},
                                         {0.4459134005714, 0.53250584520015},
                                         {-0.0173139482169, 0.07140465968399}}};

TEST(WeightedDifference, agrees_with_metafor_on_thirteen_trials) {
    Differences d;
    std::vector<double> u;
    for (const auto& one : colditz) {
        d.values.push_back(one.effect);
        u.push_back(std::sqrt(one.variance));
    }
    const auto got = weighted_difference(d, u, {.error = WeightedError::as_scattered});
    ASSERT_TRUE(got) << got.error().text();
    EXPECT_NEAR(got->between_sd * got->between_sd, 3.132432581364809e-01, 1e-9);
    EXPECT_NEAR(got->difference.value, -7.145323421581394e-01, 1e-9);
    EXPECT_NEAR(got->difference.se, 1.807917440928479e-01, 1e-9);
    EXPECT_NEAR(got->difference.lower, -1.108443713685551e+00, 1e-9);
    EXPECT_NEAR(got->difference.upper, -3.206209706307280e-01, 1e-9);
    EXPECT_NEAR(got->difference.p, 1.920015096057292e-03, 1e-9);
    EXPECT_NEAR(got->scatter, 1.522330080823733e+02, 1e-8);
    EXPECT_NEAR(got->scatter_p / 1.996764590845974e-26, 1.0, 1e-8);
    EXPECT_NEAR(std::pow(got->between_sd_interval.lower, 2), 0.11971836114126, 1e-7);
    EXPECT_NEAR(std::pow(got->between_sd_interval.upper, 2), 1.1114790840609, 1e-7);
    double sum = 0.0;
    for (const double w : got->weights) {
        sum += w;
    }
    EXPECT_NEAR(sum, 1.0, 1e-14);
}

// metafor 3.8-1: rma(test = "knha") and rma(test = "adhoc").
TEST(WeightedDifference, little_scatter_needs_no_variance_between_pairs) {
    const Differences d{.values = {1.1, 1.2, 0.9, 1.05, 1.0}};
    const std::vector<double> u{0.2, 0.3, 0.4, 0.2, 0.1};
    const auto plain = weighted_difference(d, u, {.error = WeightedError::as_scattered});
    const auto wide = weighted_difference(d, u);
    ASSERT_TRUE(plain && wide);
    EXPECT_EQ(plain->between_sd, 0.0);
    EXPECT_EQ(plain->between_sd_interval.lower, 0.0);
    EXPECT_NEAR(plain->between_sd_interval.upper, 0.123022703925716, 1e-9);
    EXPECT_NEAR(plain->difference.value, 1.03195020746887955, 1e-12);
    EXPECT_NEAR(plain->difference.se, 0.03112655539431532, 1e-12);
    EXPECT_NEAR(plain->difference.lower, 0.94552903510266484, 1e-11);
    EXPECT_NEAR(wide->difference.se, 0.07729879516809969, 1e-12);
    EXPECT_NEAR(wide->difference.upper, 1.24656606895103694, 1e-11);
    EXPECT_LT(plain->error_factor, 1.0);
}

TEST(WeightedDifference, equal_uncertainties_give_the_paired_t) {
    Random random(5);
    for (int round = 0; round < 50; ++round) {
        Differences d;
        for (int i = 0; i < 8; ++i) {
            d.values.push_back(random.normal() + 0.3);
        }
        const std::vector<double> u(8, 0.2 * (1 + (round % 10))); // below and above the scatter
        const auto weighted = weighted_difference(d, u, {.error = WeightedError::as_scattered});
        const auto plain = paired_t(d);
        ASSERT_TRUE(weighted && plain);
        const auto careful = weighted_difference(d, u);
        EXPECT_NEAR(careful->difference.se, std::max(plain->difference.se, u[0] / std::sqrt(8.0)), 1e-9);
        EXPECT_NEAR(weighted->difference.lower, plain->difference.lower, 1e-9);
        EXPECT_NEAR(weighted->difference.p, plain->difference.p, 1e-9);
        EXPECT_NEAR(weighted->p.greater, plain->p.greater, 1e-9);
    }
}

TEST(WeightedDifference, does_not_depend_on_the_unit) {
    Differences d;
    Differences large;
    std::vector<double> u;
    std::vector<double> large_u;
    for (const auto& one : colditz) {
        d.values.push_back(one.effect);
        u.push_back(std::sqrt(one.variance));
        large.values.push_back(1e6 * one.effect);
        large_u.push_back(1e6 * u.back());
    }
    const auto got = weighted_difference(d, u);
    const auto other = weighted_difference(large, large_u);
    ASSERT_TRUE(got && other);
    EXPECT_NEAR(other->difference.value / 1e6, got->difference.value, 1e-9);
    EXPECT_NEAR(other->between_sd / 1e6, got->between_sd, 1e-9);
}

TEST(PairedBootstrap, is_the_same_for_any_number_of_threads) {
    const Differences d{.values = {1.2, 0.4, 2.2, -0.3, 0.8, 1.9, 0.1, 1.4}};
    for (const auto kind :
         {BootstrapKind::studentised, BootstrapKind::accelerated, BootstrapKind::percentile}) {
        const auto one = paired_bootstrap(d, {.kind = kind, .threads = {1}});
        const auto four = paired_bootstrap(d, {.kind = kind, .threads = {4}});
        ASSERT_TRUE(one && four);
        EXPECT_EQ(one->interval.lower, four->interval.lower);
        EXPECT_EQ(one->interval.upper, four->interval.upper);
        EXPECT_TRUE(one->interval.holds(one->estimate));
        // The draws' sd on paper: sd / sqrt(n) with divisor n, within four errors of an sd from 9999 draws.
        EXPECT_NEAR(one->se / (0.8095 / std::sqrt(8.0)), 1.0, 0.03);
    }
}

TEST(PairedBootstrap, skewed_pairs_move_the_accelerated_interval_to_the_long_side) {
    const Differences d{.values = {0.1, 0.2, 0.2, 0.3, 0.3, 0.4, 0.5, 0.7, 1.2, 4.0}};
    const auto plain = paired_bootstrap(d, {.kind = BootstrapKind::percentile});
    const auto moved = paired_bootstrap(d, {.kind = BootstrapKind::accelerated});
    const auto studentised = paired_bootstrap(d);
    ASSERT_TRUE(plain && moved && studentised);
    EXPECT_GT(moved->interval.lower, plain->interval.lower);
    EXPECT_GT(moved->interval.upper, plain->interval.upper);
    EXPECT_GT(studentised->interval.upper, moved->interval.upper);
}

TEST(Paired, bad_input_is_named) {
    const double inf = std::numeric_limits<double>::infinity();
    EXPECT_EQ(differences_of(std::vector{1.0, 2.0}, std::vector{1.0}).error().text(),
              "2 first values and 1 second; a first and a second value of each pair");
    EXPECT_EQ(
        differences_of(std::vector{1.0, 2.0}, std::vector{1.0, -inf}).error().text(),
        "pair 2 is infinite; finite numbers (the logarithm of zero and a division by zero are not); mend "
        "the value, or leave it out and say so");
    EXPECT_EQ(paired_t({.values = {1.0}}).error().text(), "1 complete pairs; at least 2");
    EXPECT_EQ(paired_t({.values = {0.0, 0.0, 0.0}}).error().text(),
              "all differences are 0; differences that vary: errors are judged by their spread; look at the "
              "columns: is one a copy of the other, or rounded too far?");
    EXPECT_EQ(paired_t({.values = {0.5, 0.5}}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(paired_t({.values = {0.5, 0.7}}, 95.0).error().text(),
              "a level of confidence of 95; a share between 0 and 1; say 0.95 for 95 %");
    EXPECT_EQ(signed_rank({.values = {0.0, 0.0}}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(sign_test({.values = {0.0, 0.0}}).error().code, ErrorCode::degenerate);
    EXPECT_EQ(sign_test({.values = {}}).error().code, ErrorCode::too_few);
    EXPECT_EQ(hodges_lehmann({.values = std::vector<double>(4001, 1.0)}).error().code,
              ErrorCode::out_of_range);
    EXPECT_EQ(paired_bootstrap({.values = {1.0, 2.0, 3.0}}).error().code, ErrorCode::too_few);
    EXPECT_EQ(paired_bootstrap({.values = {1.0, 1.0, 1.0, 1.0}}).error().code, ErrorCode::degenerate);
    const Differences two{.values = {1.0, 2.0}};
    EXPECT_EQ(weighted_difference(two, std::vector{0.1}).error().code, ErrorCode::bad_row);
    EXPECT_EQ(weighted_difference(two, std::vector{0.1, 0.0}).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(weighted_difference({.values = {1.0, 1.0}}, std::vector{0.1, 0.2}).error().code,
              ErrorCode::degenerate);
}

struct Drawn {
    Differences pairs;
    std::vector<double> uncertainties;
};
/// Uncertainties 0.2 to 1.5, as sealed slopes of good and doubtful quality have them.
Drawn draw_pairs(Random& random, int n, double mean, double between) {
    Drawn out;
    for (int i = 0; i < n; ++i) {
        const double u = 0.2 + (1.3 * random.uniform());
        out.uncertainties.push_back(u);
        out.pairs.values.push_back(mean + (between * random.normal()) + (u * random.normal()));
    }
    return out;
}

TEST(Paired, intervals_cover_and_tests_hold_their_level_at_few_pairs) {
    for (const int n : {8, 12, 24}) {
        Rate t_covers;
        Rate d_covers;
        Rate weighted_covers;
        Rate ranks_cover;
        Rate ranks_reject;
        Rate alike_covers;
        Rate between_covers;
        for (std::uint64_t run = 0; run < runs(2000); ++run) {
            Random random(20'000 + static_cast<std::uint64_t>(n), run);
            const auto drawn = draw_pairs(random, n, 0.7, 1.0);
            const auto weighted = weighted_difference(drawn.pairs, drawn.uncertainties);
            weighted_covers.add(weighted->difference.lower <= 0.7 && weighted->difference.upper >= 0.7);
            between_covers.add(weighted->between_sd_interval.holds(1.0));
            Differences plain;
            for (int i = 0; i < n; ++i) {
                plain.values.push_back(0.7 + random.normal());
            }
            const auto t = paired_t(plain);
            t_covers.add(t->difference.lower <= 0.7 && t->difference.upper >= 0.7);
            d_covers.add(t->effect_size_interval.holds(0.7));
            ranks_cover.add(hodges_lehmann(plain)->interval.holds(0.7));
            for (double& d : plain.values) {
                d -= 0.7;
            }
            ranks_reject.add(signed_rank(plain)->p.two_sided <= 0.05);
            const auto alike = draw_pairs(random, n, 0.7, 0.0);
            const auto of_alike = weighted_difference(alike.pairs, alike.uncertainties);
            alike_covers.add(of_alike->difference.lower <= 0.7 && of_alike->difference.upper >= 0.7);
        }
        const std::string at = ", n = " + std::to_string(n);
        EXPECT_TRUE(is_about(t_covers, 0.95, "paired t covers" + at));
        EXPECT_TRUE(is_about(d_covers, 0.95, "d_z covers" + at));
        EXPECT_TRUE(is_between(weighted_covers, 0.94, 0.96, "weighted interval covers" + at));
        EXPECT_TRUE(is_between(alike_covers, 0.95, 0.99, "weighted interval covers, pairs alike" + at));
        EXPECT_TRUE(is_about(between_covers, 0.95, "sd between pairs covers" + at));
        EXPECT_TRUE(is_between(ranks_cover, 0.95, 0.97, "Hodges-Lehmann covers" + at));
        EXPECT_TRUE(is_between(ranks_reject, 0.035, 0.05, "signed rank rejects nothing" + at));
    }
}

TEST(PairedBootstrap, studentised_covers_at_few_pairs_and_percentile_does_not) {
    for (const int n : {8, 24}) {
        Rate normal;
        Rate skewed;
        Rate percentile;
        for (std::uint64_t run = 0; run < runs(500); ++run) {
            Random random(31'000 + static_cast<std::uint64_t>(n), run);
            Differences plain;
            Differences skew;
            for (int i = 0; i < n; ++i) {
                plain.values.push_back(random.normal());
                skew.values.push_back(random.exponential());
            }
            normal.add(paired_bootstrap(plain, {.draws = 999})->interval.holds(0.0));
            skewed.add(paired_bootstrap(skew, {.draws = 999})->interval.holds(1.0));
            percentile.add(paired_bootstrap(plain, {.kind = BootstrapKind::percentile, .draws = 999})
                               ->interval.holds(0.0));
        }
        const std::string at = ", n = " + std::to_string(n);
        EXPECT_TRUE(is_between(normal, 0.94, 0.97, "studentised bootstrap covers" + at));
        EXPECT_TRUE(is_between(skewed, 0.90, 0.96, "studentised bootstrap covers, exponential" + at));
        EXPECT_TRUE(is_between(percentile, 0.86, 0.95, "percentile bootstrap covers" + at));
    }
}

} // namespace
} // namespace backeddy::stats
