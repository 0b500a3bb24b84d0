// Sources: R 4.2.2 wilcox.test, kruskal.test, t.test, oneway.test, exactRankTests 0.8-35 wilcox.exact,
// Jonckheere by formula and by 20,000 permutations (reference/stats 08).

#include "stats/ranks.hpp"

#include <cmath>
#include <limits>
#include <map>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

/// Values by label, groups in ascending order of it; missing ones dropped.
std::map<std::string, std::vector<double>> by_group(const support::Table& data, const std::string& value,
                                                    const std::string& group) {
    std::map<std::string, std::vector<double>> out;
    const auto values = data.numbers(value);
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!std::isnan(values[i])) {
            out[data.text(group)[i]].push_back(values[i]);
        }
    }
    return out;
}

struct TwoGroups {
    const char* id;
    const char* value;
    const char* group;
    const char* first;
    const char* second;
};

TEST(MannWhitney, agrees_with_r_with_and_without_ties) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& [id, value, group, first, second] :
         {TwoGroups{"mw_airquality_may_august", "Ozone", "Month", "5", "8"},
          TwoGroups{"mw_scores_low_high", "score", "dose", "low", "high"},
          TwoGroups{"mw_no_ties", "y", "group", "a", "b"}}) {
        const auto& one = support::case_of(*cases, id);
        auto groups = by_group(support::data_of(one), value, group);
        const auto& x = groups.at(first);
        const auto& y = groups.at(second);
        const auto test = mann_whitney(x, y);
        const auto plain = mann_whitney(x, y, {.continuity = Continuity::none});
        ASSERT_TRUE(test && plain) << test.error().text();
        support::expect_agrees(one, "/n1", static_cast<double>(test->n_first));
        support::expect_agrees(one, "/n2", static_cast<double>(test->n_second));
        support::expect_agrees(one, "/W", test->u);
        support::expect_agrees(one, "/p_exact", test->p.two_sided, 1e-6);
        support::expect_agrees(one, "/p_normal_corrected", test->normal.two_sided, 1e-6);
        support::expect_agrees(one, "/p_normal_uncorrected", plain->normal.two_sided, 1e-6);
        support::expect_agrees(one, "/prob_superiority", test->superiority);
        EXPECT_EQ(test->has_ties, one["expected"]["ties"].get<bool>());
        const auto shift = shift_between(x, y);
        ASSERT_TRUE(shift);
        support::expect_agrees(one, "/median_of_differences", shift->value);
        if (one["expected"].contains("exact_ci95")) {
            support::expect_agrees(one, "/exact_ci95/0", shift->interval.lower);
            support::expect_agrees(one, "/exact_ci95/1", shift->interval.upper);
        }
        const auto welch = compare_means(x, y);
        const auto student = compare_means(x, y, Spreads::common);
        ASSERT_TRUE(welch && student);
        const double se = welch->difference.se;
        support::expect_agrees(one, "/welch_t/t", welch->difference.statistic);
        support::expect_agrees(one, "/welch_t/df", welch->difference.freedom);
        support::expect_agrees(one, "/welch_t/p", welch->difference.p, 1e-6);
        support::expect_agrees(one, "/welch_t/lower95", welch->difference.lower, se);
        support::expect_agrees(one, "/welch_t/upper95", welch->difference.upper, se);
        support::expect_agrees(one, "/student_t/t", student->difference.statistic);
        support::expect_agrees(one, "/student_t/df", student->difference.freedom);
        support::expect_agrees(one, "/student_t/p", student->difference.p, 1e-6);
    }
}

TEST(MannWhitney, the_shift_algorithm_counts_what_all_divisions_give) {
    Random random(21);
    for (int round = 0; round < 20; ++round) {
        std::vector<double> all;
        for (int i = 0; i < 10; ++i) {
            all.push_back(static_cast<double>(random.below(6)));
        }
        const auto of = [&](unsigned chosen) {
            std::vector<double> x;
            std::vector<double> y;
            for (unsigned i = 0; i < 10; ++i) {
                ((chosen >> i) & 1U ? x : y).push_back(all[i]);
            }
            return mann_whitney(x, y);
        };
        const auto seen = of(0b1001001100U); // four in the first group
        ASSERT_TRUE(seen);
        int divisions = 0;
        int above = 0;
        int as_far = 0;
        for (unsigned chosen = 0; chosen < 1024; ++chosen) {
            if (__builtin_popcount(chosen) == 4) {
                const double u = of(chosen)->u;
                ++divisions;
                above += u >= seen->u ? 1 : 0;
                as_far += std::abs(u - 12.0) >= std::abs(seen->u - 12.0) ? 1 : 0;
            }
        }
        EXPECT_EQ(divisions, 210);
        EXPECT_NEAR(seen->p.greater, above / 210.0, 1e-12);
        EXPECT_NEAR(seen->p.two_sided, as_far / 210.0, 1e-12);
    }
}

TEST(MannWhitney, turned_round_it_says_the_opposite) {
    Random random(22);
    for (int round = 0; round < 20; ++round) {
        std::vector<double> x;
        std::vector<double> y;
        for (int i = 0; i < 7; ++i) {
            x.push_back(std::floor(4.0 * random.uniform()));
            y.push_back(std::floor(5.0 * random.uniform()));
        }
        y.push_back(2.0);
        const auto one = mann_whitney(x, y);
        const auto other = mann_whitney(y, x);
        ASSERT_TRUE(one && other);
        EXPECT_NEAR(one->superiority + other->superiority, 1.0, 1e-14);
        EXPECT_NEAR(one->p.greater, other->p.less, 1e-12);
        EXPECT_NEAR(one->p.two_sided, other->p.two_sided, 1e-12);
        EXPECT_EQ(shift_between(x, y)->interval.lower, -shift_between(y, x)->interval.upper);
        // The order is all that counts.
        for (auto* values : {&x, &y}) {
            for (double& v : *values) {
                v = std::exp(v);
            }
        }
        EXPECT_EQ(mann_whitney(x, y)->p.two_sided, one->p.two_sided);
    }
}

TEST(Groups, agree_with_r_in_trend_ranks_and_means) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto check = [](const support::Json& one, const Groups& groups) {
        const auto trend = jonckheere(groups);
        ASSERT_TRUE(trend) << trend.error().text();
        support::expect_agrees(one, "/jonckheere/J", trend->j);
        support::expect_agrees(one, "/jonckheere/mean", trend->mean);
        support::expect_agrees(one, "/jonckheere/variance_ties", trend->variance);
        support::expect_agrees(one, "/jonckheere/z", trend->z);
        support::expect_agrees(one, "/jonckheere/p_increasing", trend->p.greater, 1e-6);
        support::expect_agrees(one, "/jonckheere/p_two_sided", trend->p.two_sided, 1e-6);
        const auto& expected = one["expected"]["jonckheere"];
        EXPECT_NEAR(trend->p.greater, expected["permutation_p_increasing"].get<double>(),
                    4.0 * expected["permutation_p_se"].get<double>());
        const auto kruskal = kruskal_wallis(groups);
        ASSERT_TRUE(kruskal);
        support::expect_agrees(one, "/kruskal/H", kruskal->h);
        support::expect_agrees(one, "/kruskal/df", kruskal->freedom);
        support::expect_agrees(one, "/kruskal/p", kruskal->p, 1e-6);
        for (const auto& [key, spreads] :
             {std::pair{"/anova", Spreads::common}, std::pair{"/welch_anova", Spreads::own}}) {
            const auto means = one_way(groups, spreads);
            ASSERT_TRUE(means);
            support::expect_agrees(one, std::string(key) + "/F", means->f);
            support::expect_agrees(one, std::string(key) + "/df1", means->numerator);
            support::expect_agrees(one, std::string(key) + "/df2", means->denominator);
            support::expect_agrees(one, std::string(key) + "/p", means->p, 1e-6);
        }
    };
    const auto& scores = support::case_of(*cases, "trend_scores");
    auto by_dose = by_group(support::data_of(scores), "score", "dose_rank");
    check(scores, {by_dose.at("1"), by_dose.at("2"), by_dose.at("3")});
    const auto& air = support::case_of(*cases, "trend_airquality");
    auto by_month = by_group(support::data_of(air), "Ozone", "Month");
    check(air, {by_month.at("5"), by_month.at("6"), by_month.at("7"), by_month.at("8"), by_month.at("9")});
}

TEST(Groups, two_of_them_are_the_two_group_tests) {
    Random random(23);
    for (int round = 0; round < 30; ++round) {
        Groups groups(2);
        for (int i = 0; i < 9; ++i) {
            groups[0].push_back(std::floor(8.0 * random.uniform()));
            groups[1].push_back(std::floor(9.0 * random.uniform()));
        }
        groups[1].push_back(3.0);
        const auto plain = mann_whitney(groups[0], groups[1], {.continuity = Continuity::none});
        EXPECT_NEAR(kruskal_wallis(groups)->chi_squared_p, plain->normal.two_sided, 1e-10);
        EXPECT_NEAR(jonckheere(groups)->p.two_sided, plain->normal.two_sided, 1e-10);
        EXPECT_NEAR(jonckheere(groups)->p.greater, plain->normal.less, 1e-10);
        for (const auto spreads : {Spreads::own, Spreads::common}) {
            const auto t = compare_means(groups[0], groups[1], spreads);
            const auto f = one_way(groups, spreads);
            EXPECT_NEAR(f->f, t->difference.statistic * t->difference.statistic, 1e-9 * (1.0 + f->f));
            EXPECT_NEAR(f->denominator, t->difference.freedom, 1e-9 * f->denominator);
            EXPECT_NEAR(f->p, t->difference.p, 1e-9);
        }
    }
}

TEST(KruskalWallis, permutation_agrees_with_all_divisions) {
    // Three groups of two, six ranks: of 90 divisions 6 are as far apart as 1 2 | 3 4 | 5 6.
    const auto apart = kruskal_wallis({{1.0, 2.0}, {3.0, 4.0}, {5.0, 6.0}}, {.draws = 100'000});
    ASSERT_TRUE(apart);
    EXPECT_TRUE(apart->is_permuted);
    EXPECT_NEAR(apart->p, 6.0 / 90.0, 4.0 * std::sqrt(6.0 / 90.0 * 84.0 / 90.0 / 100'000));
    EXPECT_EQ(kruskal_wallis({{1.0, 2.0}, {3.0, 4.0}, {5.0, 6.0}}, {.draws = 100'000})->p, apart->p);
    EXPECT_NEAR(apart->h, 32.0 / 7.0, 1e-12); // 12 / 42 * (2 * 4^2 / 2) by hand
    EXPECT_NEAR(apart->chi_squared_p, std::exp(-16.0 / 7.0), 1e-12);
}

TEST(Groups, bad_input_is_named) {
    const double inf = std::numeric_limits<double>::infinity();
    const std::vector<double> x{1, 2, 3};
    EXPECT_EQ(compare_means(x, std::vector{1.0}).error().text(), "1 values in the second group; at least 2");
    EXPECT_EQ(one_way({x, {1.0}, x}).error().text(), "1 values in group 2; at least 2");
    EXPECT_EQ(mann_whitney(x, {}).error().text(), "0 values in the second group; at least 1");
    EXPECT_EQ(
        mann_whitney(x, std::vector{1.0, inf}).error().text(),
        "in the second group value 2 is infinite; finite numbers (the logarithm of zero and a division by "
        "zero are not); mend the value, or leave it out and say so");
    EXPECT_EQ(mann_whitney(std::vector{2.0, 2.0}, std::vector{2.0}).error().text(),
              "every value of every group is 2; values that vary: ranks have nothing to order");
    EXPECT_EQ(kruskal_wallis({x}).error().text(), "1 groups; at least 2");
    EXPECT_EQ(jonckheere({{1.0}, {2.0}}).error().code, ErrorCode::too_few);
    EXPECT_EQ(one_way({x, {2.0, 2.0}}).error().text(),
              "every value in group 2 is 2; a spread in each group: a mean without error would outweigh all "
              "others; take the spreads as one in common, or leave the group out");
    EXPECT_TRUE(one_way({x, {2.0, 2.0}}, Spreads::common));
    EXPECT_EQ(one_way({{1.0, 1.0}, {2.0, 2.0}}, Spreads::common).error().code, ErrorCode::degenerate);
    EXPECT_EQ(compare_means(std::vector{1.0, 1.0}, std::vector{2.0, 2.0}).error().code,
              ErrorCode::degenerate);
    EXPECT_EQ(shift_between(x, x, 1.0).error().code, ErrorCode::bad_setting);
}

TEST(Groups, tests_hold_their_level_and_intervals_cover_at_few_fish) {
    for (const int n : {8, 12, 24}) { // in both groups together; then as many in four groups
        Rate whitney;
        Rate shift_covers;
        Rate welch;
        Rate student;
        Rate kruskal;
        Rate chi_squared;
        Rate trend;
        Rate welch_f;
        for (std::uint64_t run = 0; run < runs(2000); ++run) {
            Random random(61'000 + static_cast<std::uint64_t>(n), run);
            std::vector<double> x;
            std::vector<double> y;
            std::vector<double> wide;
            Groups four(4);
            Groups spreads(4);
            for (int i = 0; i < n; ++i) {
                (i % 2 == 0 ? x : y).push_back(random.normal());
                four[static_cast<std::size_t>(i % 4)].push_back(random.normal());
            }
            for (int i = 0; i < 2 * n; ++i) { // Welch's F with as many as n/2 a group, spreads 1 to 4
                spreads[static_cast<std::size_t>(i % 4)].push_back((1 + (i % 4)) * random.normal());
            }
            for (std::size_t i = 0; i < (y.size() + 1) / 2; ++i) { // fewer fish, four times the spread
                wide.push_back(4.0 * random.normal());
            }
            whitney.add(mann_whitney(x, y)->p.two_sided <= 0.05);
            shift_covers.add(shift_between(x, y)->interval.holds(0.0));
            welch.add(compare_means(x, wide)->difference.p <= 0.05);
            student.add(compare_means(x, wide, Spreads::common)->difference.p <= 0.05);
            const auto places = kruskal_wallis(four, {.draws = 499});
            kruskal.add(places->p <= 0.05);
            chi_squared.add(places->chi_squared_p <= 0.05);
            trend.add(jonckheere(four)->p.two_sided <= 0.05);
            welch_f.add(one_way(spreads)->p <= 0.05);
        }
        const std::string at = ", n = " + std::to_string(n);
        EXPECT_TRUE(is_between(whitney, 0.028, 0.05, "Mann-Whitney rejects" + at));
        EXPECT_TRUE(is_between(shift_covers, 0.95, 0.972, "shift covers" + at));
        EXPECT_TRUE(is_between(welch, 0.04, n == 8 ? 0.11 : 0.06, "Welch's t rejects, spreads 1 and 4" + at));
        EXPECT_TRUE(is_between(student, 0.10, 0.30, "Student's t rejects, spreads 1 and 4" + at));
        EXPECT_TRUE(is_between(kruskal, 0.03, 0.05, "Kruskal-Wallis rejects, four groups" + at));
        EXPECT_TRUE(is_between(chi_squared, 0.0, 0.05, "Kruskal-Wallis by chi-squared rejects" + at));
        EXPECT_TRUE(is_between(trend, 0.04, 0.06, "Jonckheere rejects, four groups" + at));
        EXPECT_TRUE(is_between(welch_f, 0.04, 0.07, "Welch's F rejects, spreads 1 to 4" + at));
    }
}

} // namespace
} // namespace backeddy::stats
