// Sources: R 4.2.2 with epiR 2.0.57 epi.ccc, Bland-Altman limits by formula and noncentral t (reference/stats
// 05); Bland and Altman 1999, section 2; vcd 1.4-11 Kappa; Fleiss, Levin and Paik 2003, table 18.1.

#include "stats/agreement.hpp"

#include <array>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

struct TwoColumns {
    const char* id;
    const char* first;
    const char* second;
};
constexpr std::array sets{TwoColumns{"paired_sleep", "drug1", "drug2"}, TwoColumns{"paired_shoes", "A", "B"},
                          TwoColumns{"paired_immer", "Y1", "Y2"},
                          TwoColumns{"paired_methods_ties", "method_a", "method_b"},
                          TwoColumns{"paired_methods_noties", "method_a", "method_b"}};

void expect_interval(const support::Json& one, const std::string& at, const Interval& got, double scale) {
    support::expect_agrees(one, at + "/0", got.lower, scale);
    support::expect_agrees(one, at + "/1", got.upper, scale);
}

TEST(LimitsOfAgreement, agree_with_r_in_all_three_intervals) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& set : sets) {
        const auto& one = support::case_of(*cases, set.id);
        const auto data = support::data_of(one);
        for (const auto& [name, z] : {std::pair{"z_1_96", 1.96}, std::pair{"z_qnorm", 1.959963984540054}}) {
            for (const auto& [kind, key] :
                 {std::pair{LimitInterval::exact, "exact"}, std::pair{LimitInterval::approximate, "approx"},
                  std::pair{LimitInterval::simple, "simple"}}) {
                const auto got = limits_of_agreement(data.numbers(set.first), data.numbers(set.second),
                                                     {.multiplier = z, .limit_interval = kind});
                ASSERT_TRUE(got) << got.error().text();
                const std::string at = std::string("/bland_altman/") + name;
                const double se = got->bias.se;
                support::expect_agrees(one, at + "/bias", got->bias.value, se);
                support::expect_agrees(one, at + "/bias_lower95", got->bias.lower, se);
                support::expect_agrees(one, at + "/bias_upper95", got->bias.upper, se);
                support::expect_agrees(one, at + "/loa_lower", got->lower.value, se);
                support::expect_agrees(one, at + "/loa_upper", got->upper.value, se);
                expect_interval(one, at + "/" + key + "/lower_ci", got->lower.interval, se);
                expect_interval(one, at + "/" + key + "/upper_ci", got->upper.interval, se);
            }
        }
    }
}

TEST(LimitsOfAgreement, trends_agree_with_r) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& set : sets) {
        const auto& one = support::case_of(*cases, set.id);
        const auto data = support::data_of(one);
        const auto got = limits_of_agreement(data.numbers(set.first), data.numbers(set.second));
        ASSERT_TRUE(got && got->trend && got->spread);
        support::expect_agrees(one, "/proportional_bias/slope", got->trend->slope.value,
                               got->trend->slope.se);
        support::expect_agrees(one, "/proportional_bias/se", got->trend->slope.se);
        support::expect_agrees(one, "/proportional_bias/p", got->trend->slope.p, 1e-6);
        support::expect_agrees(one, "/proportional_bias/intercept", got->trend->intercept, got->bias.se);
        support::expect_agrees(one, "/spread_vs_size/r_abs_difference_with_mean", got->spread->correlation);
        support::expect_agrees(one, "/spread_vs_size/p", got->spread->p, 1e-6);
    }
}

TEST(LimitsOfAgreement, without_different_sizes_there_is_no_trend_to_speak_of) {
    const auto got = limits_of_agreement(std::vector{1.0, 2.0, 3.0, 4.0}, std::vector{4.0, 3.0, 2.0, 1.0});
    ASSERT_TRUE(got) << got.error().text();
    EXPECT_FALSE(got->trend.has_value());
    EXPECT_FALSE(got->spread.has_value());
}

TEST(Concordance, agrees_with_r) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& set : sets) {
        const auto& one = support::case_of(*cases, set.id);
        const auto data = support::data_of(one);
        const auto got = concordance(data.numbers(set.first), data.numbers(set.second));
        ASSERT_TRUE(got) << got.error().text();
        const auto turned = concordance(data.numbers(set.second), data.numbers(set.first));
        support::expect_agrees(one, "/lin_ccc/ccc_divisor_n", got->value);
        support::expect_agrees(one, "/lin_ccc/fisher_z_lower95", got->interval.lower);
        support::expect_agrees(one, "/lin_ccc/fisher_z_upper95", got->interval.upper);
        support::expect_agrees(one, "/lin_ccc/asymptotic_lower95",
                               got->value - (1.959963984540054 * got->se));
        support::expect_agrees(one, "/lin_ccc/pearson_r", got->correlation);
        support::expect_agrees(one, "/lin_ccc/bias_correction", got->bias_correction);
        // The package has second over first, and second less first.
        support::expect_agrees(one, "/lin_ccc/scale_shift", turned->scale_shift);
        support::expect_agrees(one, "/lin_ccc/location_shift", turned->location_shift);
        EXPECT_NEAR(turned->value, got->value, 1e-14);
        EXPECT_NEAR(turned->interval.lower, got->interval.lower, 1e-12);
    }
}

TEST(Concordance, without_correlation_there_is_still_an_error) {
    const auto got = concordance(std::vector{1.0, -1.0, 1.0, -1.0}, std::vector{1.0, 1.0, -1.0, -1.0});
    ASSERT_TRUE(got);
    EXPECT_EQ(got->value, 0.0);
    EXPECT_NEAR(got->se, std::sqrt(0.5), 1e-12); // b = 1, r = 0: 1 / (n - 2)
}

struct Scores {
    std::vector<std::size_t> first;
    std::vector<std::size_t> second;
};
Scores scores_of(const std::vector<std::vector<int>>& table) {
    Scores out;
    for (std::size_t a = 0; a < table.size(); ++a) {
        for (std::size_t b = 0; b < table.size(); ++b) {
            for (int i = 0; i < table[a][b]; ++i) {
                out.first.push_back(a);
                out.second.push_back(b);
            }
        }
    }
    return out;
}

struct KappaRow {
    std::vector<std::vector<int>> table;
    KappaWeights weights;
    double value;
    double se;
};

// vcd 1.4-11, Kappa(table, weights = "Equal-Spacing" | "Fleiss-Cohen"). The first table is 18.1 of Fleiss,
// Levin and Paik 2003 (Statistical Methods for Rates and Proportions), who print 0.68 and 0.088.
TEST(Kappa, agrees_with_vcd) {
    const std::vector<std::vector<int>> diagnoses{{75, 1, 4}, {5, 4, 1}, {0, 0, 10}};
    const std::vector<std::vector<int>> steps{{11, 4, 0, 0}, {3, 9, 3, 1}, {1, 4, 8, 2}, {0, 1, 2, 6}};
    for (const auto& row :
         {KappaRow{diagnoses, KappaWeights::none, 0.67647058823529405, 0.08770295347521254},
          KappaRow{diagnoses, KappaWeights::linear, 0.72222222222222232, 0.08430095392318858},
          KappaRow{diagnoses, KappaWeights::quadratic, 0.75531914893617014, 0.08670713249380718},
          KappaRow{steps, KappaWeights::none, 0.48345259391771017, 0.08947676820268709},
          KappaRow{steps, KappaWeights::linear, 0.62307252998286677, 0.07478140757069254},
          KappaRow{steps, KappaWeights::quadratic, 0.7490112564648613, 0.0655094178893270}}) {
        const auto scores = scores_of(row.table);
        const auto got =
            weighted_kappa(scores.first, scores.second, row.table.size(), {.weights = row.weights});
        ASSERT_TRUE(got) << got.error().text();
        EXPECT_NEAR(got->value, row.value, 1e-12);
        EXPECT_NEAR(got->se, row.se, 1e-12);
        ASSERT_TRUE(got->interval);
        EXPECT_NEAR(got->interval->lower, row.value - (1.959963984540054 * row.se), 1e-11);
    }
}

TEST(Kappa, of_perfect_agreement_has_no_interval) {
    const std::vector<std::size_t> scores{0, 1, 2, 1, 0, 2};
    const auto got = weighted_kappa(scores, scores, 3);
    ASSERT_TRUE(got);
    EXPECT_NEAR(got->value, 1.0, 1e-15);
    EXPECT_FALSE(got->interval.has_value());
    EXPECT_LT(got->p, 0.05);
}

TEST(Agreement, bad_input_is_named) {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const std::vector<double> x{1, 2, 3, 4};
    EXPECT_EQ(
        limits_of_agreement(x, std::vector{1.0, 2.0, nan, 3.0}).error().text(),
        "pair 3 is not a number; finite numbers (the logarithm of zero and a division by zero are not); "
        "mend the value, or leave it out and say so");
    EXPECT_EQ(limits_of_agreement(std::vector{1.0, 2.0}, std::vector{1.1, 2.0}).error().text(),
              "2 complete pairs; at least 3");
    EXPECT_EQ(limits_of_agreement(x, x).error().code, ErrorCode::degenerate);
    EXPECT_EQ(limits_of_agreement(x, std::vector{1.0, 2.0, 4.0, 3.0}, {.multiplier = 0.0}).error().code,
              ErrorCode::bad_setting);
    EXPECT_EQ(concordance(x, std::vector<double>(4, 3.0)).error().text(),
              "the second values are all 3; values that vary: how they go together cannot be seen otherwise");
    EXPECT_EQ(concordance(x, x).error().code, ErrorCode::degenerate);
    EXPECT_EQ(
        weighted_kappa(std::vector<std::size_t>{0, 3}, std::vector<std::size_t>{0, 1}, 3).error().text(),
        "a score of 3 for subject 2; 0 to 2");
    EXPECT_EQ(
        weighted_kappa(std::vector<std::size_t>{1, 1}, std::vector<std::size_t>{1, 1}, 3).error().text(),
        "both gave 1 to every subject; scores that vary: agreement by chance would be as good");
    EXPECT_EQ(weighted_kappa(std::vector<std::size_t>{1}, std::vector<std::size_t>{1}, 3).error().code,
              ErrorCode::too_few);
}

TEST(Agreement, intervals_cover) {
    constexpr double z = 1.959963984540054;
    for (const int n : {8, 12, 24}) {
        Rate exact;
        Rate approximate;
        Rate concordant;
        // First is size + error, second 0.3 higher with as much error; differences have sd 0.5 sqrt 2.
        const double upper_limit = -0.3 + (z * 0.5 * std::sqrt(2.0));
        const double truth = 2.0 / (1.25 + 1.25 + 0.09);
        for (std::uint64_t run = 0; run < runs(2000); ++run) {
            Random random(41'000 + static_cast<std::uint64_t>(n), run);
            std::vector<double> first;
            std::vector<double> second;
            for (int i = 0; i < n; ++i) {
                const double size = random.normal();
                first.push_back(size + (0.5 * random.normal()));
                second.push_back(size + 0.3 + (0.5 * random.normal()));
            }
            exact.add(limits_of_agreement(first, second)->upper.interval.holds(upper_limit));
            approximate.add(limits_of_agreement(first, second, {.limit_interval = LimitInterval::approximate})
                                ->upper.interval.holds(upper_limit));
            concordant.add(concordance(first, second)->interval.holds(truth));
        }
        const std::string at = ", n = " + std::to_string(n);
        EXPECT_TRUE(is_about(exact, 0.95, "exact interval of a limit covers" + at));
        EXPECT_TRUE(is_between(approximate, 0.91, 0.95, "approximate interval of a limit covers" + at));
        EXPECT_TRUE(is_between(concordant, 0.92, 0.96, "concordance covers" + at));
    }
}

TEST(Agreement, kappa_covers_with_enough_subjects_and_holds_its_level) {
    // Scores 0-3 of a normal damage seen with error; the truth by a million subjects of the same making.
    const auto draw = [](Random& random, double error) {
        const auto score = [&](double seen) {
            return std::size_t{seen > -0.6} + std::size_t{seen > 0.2} + std::size_t{seen > 1.0};
        };
        const double damage = random.normal();
        const std::size_t first = score(damage + (error * random.normal()));
        return std::pair{first, score(damage + (error * random.normal()))};
    };
    Scores many;
    Random random(51'000);
    for (int i = 0; i < 1'000'000; ++i) {
        const auto [a, b] = draw(random, 0.4);
        many.first.push_back(a);
        many.second.push_back(b);
    }
    const double truth = weighted_kappa(many.first, many.second, 4)->value;
    for (const int n : {24, 60}) {
        Rate covers;
        Rate rejects;
        for (std::uint64_t run = 0; run < runs(2000); ++run) {
            Random own(52'000 + static_cast<std::uint64_t>(n), run);
            Scores some;
            Scores none;
            for (int i = 0; i < n; ++i) {
                const auto [a, b] = draw(own, 0.4);
                some.first.push_back(a);
                some.second.push_back(b);
                none.first.push_back(draw(own, 0.4).first);
                none.second.push_back(draw(own, 0.4).first);
            }
            const auto kappa = weighted_kappa(some.first, some.second, 4);
            covers.add(kappa->interval && kappa->interval->holds(truth));
            rejects.add(weighted_kappa(none.first, none.second, 4)->p <= 0.05);
        }
        const std::string at = ", n = " + std::to_string(n);
        EXPECT_TRUE(is_between(covers, n < 30 ? 0.88 : 0.92, 0.96, "kappa covers" + at));
        EXPECT_TRUE(is_between(rejects, 0.04, 0.06, "kappa of no agreement rejects" + at));
    }
}

} // namespace
} // namespace backeddy::stats
