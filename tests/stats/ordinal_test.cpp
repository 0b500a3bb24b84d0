// Sources: R 4.2.2, ordinal 2022.11-16, MASS 7.3-58.2 (reference/stats 08); McCullagh and Nelder 1989,
// Generalized Linear Models, table 5.1 (from memory), its fit and score test as the SAS/STAT manual's example
// of ordinal logistic regression prints them (from memory); R's logistic regression (reference/stats 07),
// which is that of two scores; the score test by a program apart, in NumPy; closed forms where said.

#include "stats/ordinal.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <map>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

std::vector<std::string> labels(std::size_t n) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < n; ++i) {
        out.push_back("row " + std::to_string(i + 1));
    }
    return out;
}

struct OrdinalCase {
    const char* id;
    const char* score;
    std::vector<std::string> levels;
    std::map<std::string, std::vector<std::string>> columns; ///< with their levels in order
    std::vector<Term> terms;
    std::vector<std::string> thresholds; ///< R's names
    std::vector<std::string> names;      ///< R's, by coefficient
    const char* weight = nullptr;        ///< rows are repeated that often
};

const std::vector<OrdinalCase>& ordinal_cases() {
    static const std::map<std::string, std::vector<std::string>> wine{{"temp", {"cold", "warm"}},
                                                                      {"contact", {"no", "yes"}}};
    static const std::vector<std::string> five{"1", "2", "3", "4", "5"};
    static const std::vector<std::string> cuts{"1|2", "2|3", "3|4", "4|5"};
    static const std::vector<OrdinalCase> all{
        {"clm_wine", "rating", five, wine, {{{"temp"}}, {{"contact"}}}, cuts, {"tempwarm", "contactyes"}},
        {"clm_wine_interaction",
         "rating",
         five,
         wine,
         crossed({"temp", "contact"}),
         cuts,
         {"tempwarm", "contactyes", "tempwarm:contactyes"}},
        {"clm_housing",
         "Sat",
         {"Low", "Medium", "High"},
         {{"Infl", {"Low", "Medium", "High"}},
          {"Type", {"Tower", "Apartment", "Atrium", "Terrace"}},
          {"Cont", {"Low", "High"}}},
         {{{"Infl"}}, {{"Type"}}, {{"Cont"}}},
         {"Low|Medium", "Medium|High"},
         {"InflMedium", "InflHigh", "TypeApartment", "TypeAtrium", "TypeTerrace", "ContHigh"},
         "Freq"},
        {"clm_scores",
         "score",
         {"1", "2", "3", "4"},
         {{"dose", {"low", "mid", "high"}}},
         {{{"dose"}}},
         {"1|2", "2|3", "3|4"},
         {"dosemid", "dosehigh"}}};
    return all;
}

struct Given {
    Table table{{}};
    Design design;
};

Given given_of(const support::Json& one, const OrdinalCase& of,
               const std::vector<std::string>& further = {}) {
    const auto data = support::data_of(one);
    std::vector<std::size_t> rows;
    for (std::size_t i = 0; i < data.rows(); ++i) {
        const auto times =
            of.weight == nullptr ? 1U : static_cast<unsigned>(std::stoul(data.text(of.weight)[i]));
        rows.insert(rows.end(), times, i);
    }
    Given out{.table = Table(labels(rows.size())), .design = {}};
    const auto cells = [&](const std::string& name) {
        std::vector<std::string> found;
        for (const std::size_t i : rows) {
            found.push_back(data.text(name)[i]);
        }
        return found;
    };
    EXPECT_TRUE(out.table.add_factor("score", cells(of.score), of.levels));
    for (const auto& [name, levels] : of.columns) {
        EXPECT_TRUE(out.table.add_factor(name, cells(name), levels));
    }
    for (const auto& name : further) {
        EXPECT_TRUE(out.table.add_factor(name, cells(name)));
    }
    auto design = make_design(out.table, {.terms = of.terms});
    EXPECT_TRUE(design) << design.error().text();
    out.design = *design;
    return out;
}

void expect_estimate(const support::Json& one, const std::string& at, const std::string& name,
                     const Estimate& got) {
    const std::string field = "/" + name;
    support::expect_agrees(one, at + "/estimate" + field, got.value, got.se);
    support::expect_agrees(one, at + "/se" + field, got.se);
    support::expect_agrees(one, at + "/stat" + field, got.statistic, 1.0);
    support::expect_agrees(one, at + "/p" + field, got.p, 1e-6);
    support::expect_agrees(one, at + "/lower95" + field, got.lower, got.se);
    support::expect_agrees(one, at + "/upper95" + field, got.upper, got.se);
}

TEST(Ordinal, agrees_with_r) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : ordinal_cases()) {
        const auto& one = support::case_of(*cases, of.id);
        const auto given = given_of(one, of);
        const auto fit = fit_ordinal(given.design, given.table.factor("score"));
        ASSERT_TRUE(fit) << of.id << ": " << fit.error().text();
        std::vector<Estimate> all = fit->thresholds;
        all.insert(all.end(), fit->coefficients.begin(), fit->coefficients.end());
        std::vector<std::string> names = of.thresholds;
        names.insert(names.end(), of.names.begin(), of.names.end());
        ASSERT_EQ(all.size(), names.size());
        for (std::size_t k = 0; k < all.size(); ++k) {
            expect_estimate(one, "", names[k], all[k]);
            for (std::size_t l = 0; l < all.size(); ++l) {
                support::expect_agrees(one, "/vcov/" + std::to_string(k) + "/" + std::to_string(l),
                                       fit->covariance[(k * all.size()) + l], all[k].se * all[l].se);
            }
        }
        support::expect_agrees(one, "/n", static_cast<double>(fit->n));
        support::expect_agrees(one, "/loglik", fit->log_likelihood, 1.0);
        support::expect_agrees(one, "/aic", fit->aic, 1.0);
    }
}

TEST(Ordinal, term_tests_and_shares_agree_with_r) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : ordinal_cases()) {
        const auto& one = support::case_of(*cases, of.id);
        const auto given = given_of(one, of);
        const auto fit = fit_ordinal(given.design, given.table.factor("score"));
        ASSERT_TRUE(fit);
        const auto tests = term_tests(*fit);
        ASSERT_TRUE(tests) << tests.error().text();
        // Where there is an interaction R drops it alone, which is the last term here.
        const std::size_t told = one["expected"]["drop1"]["df"].size();
        for (std::size_t k = 0; k < told; ++k) {
            const auto& test = (*tests)[tests->size() - told + k].test;
            const std::string place = "/" + std::to_string(k);
            support::expect_agrees(one, "/drop1/df" + place, test.freedom);
            support::expect_agrees(one, "/drop1/chisq" + place, test.chi_squared);
            support::expect_agrees(one, "/drop1/p" + place, test.p, 1e-6);
        }
        const auto& shares = one["expected"]["probabilities"];
        for (std::size_t i = 0; i < shares["prob"].size(); ++i) {
            std::vector<double> point;
            for (const auto& variable : given.design.variables()) {
                const auto level = shares["at"][variable.name][i].get<std::string>();
                const auto at = std::find(variable.levels.begin(), variable.levels.end(), level);
                point.push_back(static_cast<double>(at - variable.levels.begin()));
            }
            const auto got = score_shares(*fit, given.design.row_at(point));
            for (std::size_t j = 0; j < got.size(); ++j) {
                support::expect_agrees(
                    one, "/probabilities/prob/" + std::to_string(i) + "/" + std::to_string(j), got[j]);
            }
        }
    }
}

TEST(Ordinal, with_a_random_intercept_agrees_with_r) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "clmm_wine");
    const auto& of = ordinal_cases().front();
    const auto given = given_of(one, of, {"judge"});
    const auto fit = fit_ordinal(given.design, given.table.factor("score"),
                                 {.group = &given.table.factor("judge"), .nodes = 10});
    ASSERT_TRUE(fit) << fit.error().text();
    const std::string at = "/adaptive_quadrature_10";
    for (std::size_t k = 0; k < fit->thresholds.size(); ++k) {
        expect_estimate(one, at, of.thresholds[k], fit->thresholds[k]);
    }
    for (std::size_t k = 0; k < fit->coefficients.size(); ++k) {
        expect_estimate(one, at, of.names[k], fit->coefficients[k]);
    }
    support::expect_agrees(one, at + "/sd_random", fit->random->sd);
    support::expect_agrees(one, at + "/loglik", fit->log_likelihood, 1.0);
    EXPECT_EQ(fit->random->levels.size(), 9U);
    // R's fit without judges: case clm_wine.
    const double without = support::case_of(*cases, "clm_wine")["expected"]["loglik"].get<double>();
    EXPECT_NEAR(fit->random->none.chi_squared, 2.0 * (fit->log_likelihood - without), 1e-6);
    // More nodes change nothing that a reader sees.
    const auto finer = fit_ordinal(given.design, given.table.factor("score"),
                                   {.group = &given.table.factor("judge"), .nodes = 30});
    ASSERT_TRUE(finer);
    EXPECT_NEAR(finer->log_likelihood, fit->log_likelihood, 1e-6);
    EXPECT_NEAR(finer->coefficients[0].value, fit->coefficients[0].value, 1e-5);
}

/// Four kinds of cheese, 52 scores of taste each, 1 (worst) to 9.
Table cheese() {
    constexpr std::array<std::array<int, 9>, 4> counts{{{0, 0, 1, 7, 8, 8, 19, 8, 1},
                                                        {6, 9, 12, 11, 7, 6, 1, 0, 0},
                                                        {1, 1, 6, 8, 23, 7, 5, 1, 0},
                                                        {0, 0, 0, 1, 3, 7, 14, 16, 11}}};
    std::vector<std::string> kind;
    std::vector<std::string> score;
    for (std::size_t k = 0; k < counts.size(); ++k) {
        for (std::size_t j = 0; j < 9; ++j) {
            for (int i = 0; i < counts[k][j]; ++i) {
                kind.emplace_back(1, static_cast<char>('A' + k));
                score.push_back(std::to_string(j + 1));
            }
        }
    }
    Table table(labels(kind.size()));
    EXPECT_TRUE(table.add_factor("kind", kind, {"D", "A", "B", "C"}));
    EXPECT_TRUE(table.add_factor("score", score));
    return table;
}

TEST(Ordinal, fit_and_score_test_of_the_cheeses_are_as_printed) {
    const auto table = cheese();
    ASSERT_EQ(table.rows(), 208U);
    const auto design = make_design(table, {.terms = {{{"kind"}}}});
    const auto fit = fit_ordinal(*design, table.factor("score"));
    ASSERT_TRUE(fit) << fit.error().text();
    // The manual models low scores with + x'beta, so that its coefficients have the other sign.
    constexpr std::array<double, 8> thresholds{-7.0802, -6.0250, -4.9254, -3.8568,
                                               -2.5206, -1.5685, -0.0669, 1.4930};
    constexpr std::array<double, 3> coefficients{1.6128, 4.9646, 3.3227};
    constexpr std::array<double, 3> se{0.3778, 0.4741, 0.4251};
    for (std::size_t j = 0; j < 8; ++j) {
        EXPECT_NEAR(fit->thresholds[j].value, thresholds[j], 6e-5);
    }
    for (std::size_t k = 0; k < 3; ++k) {
        EXPECT_NEAR(fit->coefficients[k].value, -coefficients[k], 6e-5);
        // Theirs from expected information, these from observed.
        EXPECT_NEAR(fit->coefficients[k].se, se[k], 0.02 * se[k]);
    }
    const auto test = test_proportional_odds(*fit);
    ASSERT_TRUE(test) << test.error().text();
    // By a program apart in NumPy, whose score with observed instead of expected information and the
    // pseudoinverse gives 17.2868, as the manual prints (17.2866). Observed information is singular here:
    // some scores of some cheeses have no row.
    EXPECT_NEAR(test->back().test.chi_squared, 20.937936, 1e-5);
    EXPECT_EQ(test->back().test.freedom, 21.0);
    EXPECT_EQ(test->front().test.chi_squared, test->back().test.chi_squared);
}

TEST(Ordinal, score_test_by_term_agrees_with_a_program_apart) {
    const auto cases = support::reference_cases("stats/08_ordinal_ranks.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    // NumPy; its likelihood of the wider models gives twice 1.5875 and 0.2834, the ratios that the literature
    // on these wines gives for differing thresholds (3.1750 and 0.5667, from memory).
    constexpr std::array<double, 3> wanted{2.1028627010, 0.5612192778, 2.8444164775};
    const auto given = given_of(support::case_of(*cases, "clm_wine"), ordinal_cases().front());
    const auto fit = fit_ordinal(given.design, given.table.factor("score"));
    ASSERT_TRUE(fit);
    const auto tests = test_proportional_odds(*fit);
    ASSERT_TRUE(tests);
    ASSERT_EQ(tests->size(), 3U);
    for (std::size_t t = 0; t < 3; ++t) {
        EXPECT_NEAR((*tests)[t].test.chi_squared, wanted[t], 1e-7) << (*tests)[t].term;
        EXPECT_EQ((*tests)[t].test.freedom, t == 2 ? 6.0 : 3.0);
    }
    EXPECT_EQ((*tests)[2].term, "all");
}

TEST(Ordinal, two_scores_are_logistic_regression) {
    const auto cases = support::reference_cases("stats/07_glm_counts.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "logit_binary");
    const auto data = support::data_of(one);
    Table table(labels(data.rows()));
    ASSERT_TRUE(table.add_factor("y", data.text("y")) && table.add_factor("trt", data.text("trt")) &&
                table.add_factor("site", data.text("site")) && table.add_numbers("x", data.numbers("x")));
    const auto design = make_design(table, {.terms = {{{"x"}}, {{"trt"}}}});
    const auto fit = fit_ordinal(*design, table.factor("y"));
    ASSERT_TRUE(fit) << fit.error().text();
    support::expect_agrees(one, "/loglik", fit->log_likelihood, 1.0);
    const auto limits = profile_intervals(*fit);
    const std::array<std::string, 2> names{"x", "trtb"};
    for (std::size_t k = 0; k < 2; ++k) {
        const auto& b = fit->coefficients[k];
        expect_estimate(one, "", names[k], b);
        support::expect_agrees(one, "/exp_estimate/" + names[k], fit->odds_ratios[k].value);
        support::expect_agrees(one, "/profile_ci95/lower/" + names[k], limits[k].lower, b.se);
        support::expect_agrees(one, "/profile_ci95/upper/" + names[k], limits[k].upper, b.se);
    }
    const auto& mixed = support::case_of(*cases, "glmm_binary_sites");
    const auto with = fit_ordinal(*design, table.factor("y"), {.group = &table.factor("site"), .nodes = 25});
    ASSERT_TRUE(with) << with.error().text();
    const std::string at = "/adaptive_quadrature/1";
    for (std::size_t k = 0; k < 2; ++k) {
        expect_estimate(mixed, at, names[k], with->coefficients[k]);
    }
    support::expect_agrees(mixed, at + "/sd_random", with->random->sd);
    support::expect_agrees(mixed, at + "/loglik", with->log_likelihood, 1.0);
    support::expect_agrees(mixed, "/vs_no_random/glm_loglik", fit->log_likelihood, 1.0);
    EXPECT_NEAR(with->random->none.chi_squared, 2.0 * (with->log_likelihood - fit->log_likelihood), 1e-9);
    EXPECT_LT(with->random->none.p, 1e-5);
    for (std::size_t level = 0; level < with->random->modes.size(); ++level) {
        support::expect_agrees(mixed, at + "/modes/value/" + std::to_string(level),
                               with->random->modes[level], with->random->sd);
    }
}

/// Scores that come of a hidden logistic value cut at -1, 0.5 and 2, moved by `effect` in the second half and
/// by every fish's own height.
struct Shape {
    int fish = 30;
    int rows_a_fish = 1;
    double effect = 0.0;
    double sd = 0.0;
};

Table simulated(const Shape& shape, std::uint64_t seed) {
    Random random(20260314, seed);
    std::vector<std::string> fish;
    std::vector<std::string> rig;
    std::vector<std::string> score;
    std::vector<double> mass;
    for (int f = 0; f < shape.fish; ++f) {
        const double own = shape.sd * random.normal();
        for (int k = 0; k < shape.rows_a_fish; ++k) {
            const bool is_second = f % 2 == 1;
            const double u = random.uniform();
            const double hidden = std::log(u / (1.0 - u)) + own + (is_second ? shape.effect : 0.0);
            fish.push_back("fish " + std::to_string(f));
            rig.emplace_back(is_second ? "treble" : "circle");
            score.emplace_back(hidden < -1.0 ? "0" : (hidden < 0.5 ? "1" : (hidden < 2.0 ? "2" : "3")));
            mass.push_back(1.0 + random.uniform());
        }
    }
    Table table(fish);
    EXPECT_TRUE(table.add_factor("fish", fish) && table.add_factor("rig", rig, {"circle", "treble"}) &&
                table.add_factor("score", score) && table.add_numbers("mass", mass));
    return table;
}

Factor reversed(const Factor& scores) {
    Factor out{.levels = {scores.levels.rbegin(), scores.levels.rend()}, .codes = {}};
    for (const std::size_t code : scores.codes) {
        out.codes.push_back(scores.levels.size() - 1 - code);
    }
    return out;
}

TEST(Ordinal, turned_round_and_shuffled_it_says_the_same) {
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        const auto table = simulated({.fish = 20, .rows_a_fish = 3, .effect = 0.7, .sd = 1.0}, 500 + seed);
        const auto design = make_design(table, {.terms = {{{"rig"}}, {{"mass"}}}});
        for (const bool has_group : {false, true}) {
            const OrdinalOptions options{.group = has_group ? &table.factor("fish") : nullptr};
            const auto one = fit_ordinal(*design, table.factor("score"), options);
            const auto other = fit_ordinal(*design, reversed(table.factor("score")), options);
            ASSERT_TRUE(one && other);
            EXPECT_NEAR(one->log_likelihood, other->log_likelihood, 1e-9);
            for (std::size_t k = 0; k < 2; ++k) {
                EXPECT_NEAR(one->coefficients[k].value, -other->coefficients[k].value, 1e-6);
                EXPECT_NEAR(one->coefficients[k].se, other->coefficients[k].se, 1e-6);
            }
            const std::size_t last = one->thresholds.size() - 1;
            for (std::size_t j = 0; j <= last; ++j) {
                EXPECT_NEAR(one->thresholds[j].value, -other->thresholds[last - j].value, 1e-6);
                EXPECT_TRUE(j == 0 || one->thresholds[j].value > one->thresholds[j - 1].value);
            }
        }
    }
}

TEST(Ordinal, a_column_in_another_unit_gives_the_same_in_that_unit) {
    const auto table = simulated({.fish = 40, .effect = 0.7}, 77);
    std::vector<double> grams;
    for (const double kg : table.numbers("mass")) {
        grams.push_back(1000.0 * kg);
    }
    auto wider = table;
    ASSERT_TRUE(wider.add_numbers("grams", grams));
    const auto one = fit_ordinal(*make_design(wider, {.terms = {{{"mass"}}}}), wider.factor("score"));
    const auto other = fit_ordinal(*make_design(wider, {.terms = {{{"grams"}}}}), wider.factor("score"));
    ASSERT_TRUE(one && other);
    EXPECT_NEAR(other->coefficients[0].value, one->coefficients[0].value / 1000.0, 1e-10);
    EXPECT_NEAR(other->thresholds[0].value, one->thresholds[0].value, 1e-7);
    const double upper = profile_intervals(*one)[0].upper;
    EXPECT_NEAR(profile_intervals(*other)[0].upper, upper / 1000.0, 1e-8);
}

TEST(Ordinal, bad_input_is_named) {
    Table table(labels(8));
    ASSERT_TRUE(table.add_factor("rig", {"c", "c", "c", "c", "t", "t", "t", "t"}) &&
                table.add_numbers("mass", {1, 2, 3, 4, 1, 2, 4, 3}));
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    const auto words = [&](std::vector<std::size_t> codes, std::vector<std::string> levels,
                           const OrdinalOptions& options = {}) {
        const auto fit =
            fit_ordinal(*design, {.levels = std::move(levels), .codes = std::move(codes)}, options);
        return fit ? std::string("a fit") : fit.error().text();
    };
    const std::vector<std::string> levels{"none", "slight", "severe"};
    EXPECT_EQ(words({1, 1, 1, 1, 1, 1, 1, 1}, levels),
              "every row has the score \"slight\"; scores that differ: nothing is left to explain; give the "
              "share of the others as none, with its exact limits");
    EXPECT_EQ(
        words({0, 0, 0, 0, 1, 2, 1, 2}, levels),
        "the likelihood grows for ever with the coefficient of rig: t (against c): the scores can be "
        "parted by it without an exception; scores that overlap between groups, or along a column; report "
        "a rank test, which holds; join the group of one score only with others, or leave the column out; "
        "no odds ratio can be given");
    EXPECT_EQ(words({0, 1, 0}, levels),
              "3 scores for 8 rows of the design; a score for every row; leave rows without one out first");
    EXPECT_EQ(words({0, 1, 2, 0, 1, 2, 1, 0}, levels, {.nodes = 3}), "3 nodes of quadrature; 5 to 100");
    const Factor one_level{.levels = {"day 1"}, .codes = std::vector<std::size_t>(8, 0)};
    EXPECT_EQ(
        words({0, 1, 2, 0, 1, 2, 1, 0}, levels, {.group = &one_level}),
        "a group of one level; at least two, and better five: their spread is what is to be found; leave "
        "the random intercept out");
    const auto bare = make_design(table, {.intercept = Intercept::none, .terms = {{{"mass"}}}});
    EXPECT_EQ(fit_ordinal(*bare, {.levels = levels, .codes = {0, 1, 2, 0, 1, 2, 1, 0}}).error().code,
              ErrorCode::bad_relation);
    // Columns that follow from others, and factors of one level, never come this far: make_design().
    const auto few = fit_ordinal(
        *design, {.levels = {"0", "1", "2", "3", "4", "5", "6", "7"}, .codes = {0, 1, 2, 3, 4, 5, 6, 7}});
    EXPECT_EQ(few.error().code, ErrorCode::too_few);
    const auto two = fit_ordinal(*design, {.levels = {"0", "1"}, .codes = {0, 1, 0, 0, 1, 1, 0, 1}});
    ASSERT_TRUE(two);
    EXPECT_EQ(test_proportional_odds(*two).error().code, ErrorCode::too_few);
}

TEST(Ordinal, scores_that_none_or_few_have_are_said) {
    const auto table = simulated({.fish = 30}, 5);
    const auto design = make_design(table, {.terms = {{{"rig"}}}});
    Factor scores{.levels = {"none", "slight", "clear", "severe"}, .codes = {}};
    for (std::size_t i = 0; i < 30; ++i) {
        scores.codes.push_back(i == 7 ? 3 : i % 3 % 2); // "clear" is never given, "severe" once
    }
    const auto fit = fit_ordinal(*design, scores);
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_EQ(fit->levels, (std::vector<std::string>{"none", "slight", "severe"}));
    ASSERT_EQ(fit->remarks.size(), 2U);
    EXPECT_EQ(fit->remarks[0].text, "no row has the score \"clear\": it is passed over, and the fit says "
                                    "nothing of how often it comes");
    EXPECT_EQ(fit->remarks[1].text, "only 1 row has the score \"severe\": the threshold beside it rests on "
                                    "that; join it with a neighbour if the two mean much the same");
    // A group that adds nothing is said too.
    Factor pairs{.levels = {}, .codes = {}};
    for (std::size_t i = 0; i < 30; ++i) {
        pairs.codes.push_back(i % 15);
    }
    for (int k = 0; k < 15; ++k) {
        pairs.levels.push_back("pair " + std::to_string(k));
    }
    Factor turns{.levels = {"0", "1", "2"}, .codes = {}};
    for (std::size_t i = 0; i < 30; ++i) {
        turns.codes.push_back(i < 15 ? i % 3 : (2 - (i % 3)) % 3); // within a pair as unlike as can be
    }
    const auto none = fit_ordinal(*design, turns, {.group = &pairs});
    ASSERT_TRUE(none) << none.error().text();
    EXPECT_EQ(none->random->sd, 0.0);
    EXPECT_EQ(none->random->none.p, 1.0);
    ASSERT_FALSE(none->remarks.empty());
    EXPECT_EQ(none->remarks.back().about, Remark::About::no_variance);
    const auto plain = fit_ordinal(*design, turns);
    EXPECT_NEAR(none->coefficients[0].value, plain->coefficients[0].value, 1e-6);
    EXPECT_NEAR(none->coefficients[0].se, plain->coefficients[0].se, 1e-6);
}

TEST(OrdinalSimulated, keeps_its_level_and_covers_the_truth) {
    for (const int fish : {20, 40}) {
        Rate wald;
        Rate ratio;
        Rate covered;
        Rate profiled;
        Rate odds;
        int refused = 0;
        const auto studies = runs(500);
        for (std::uint64_t run = 0; run < studies; ++run) {
            const auto null = simulated({.fish = fish}, run);
            const auto fit = fit_ordinal(*make_design(null, {.terms = {{{"rig"}}}}), null.factor("score"));
            if (!fit) {
                EXPECT_EQ(fit.error().code, ErrorCode::degenerate); // ten fish a rig can part by chance
                ++refused;
                continue;
            }
            wald.add(fit->coefficients[0].p < 0.05);
            ratio.add(term_tests(*fit)->front().test.p < 0.05);
            if (const auto test = test_proportional_odds(*fit)) {
                odds.add(test->back().test.p < 0.05);
            }
            const auto moved = simulated({.fish = fish, .effect = 1.0}, 10000 + run);
            const auto effect =
                fit_ordinal(*make_design(moved, {.terms = {{{"rig"}}}}), moved.factor("score"));
            if (!effect) {
                EXPECT_EQ(effect.error().code, ErrorCode::degenerate);
                ++refused;
                continue;
            }
            const auto& b = effect->coefficients[0];
            covered.add(b.lower <= 1.0 && 1.0 <= b.upper);
            const auto limits = profile_intervals(*effect)[0];
            profiled.add(limits.lower <= 1.0 && 1.0 <= limits.upper);
        }
        const std::string of = std::to_string(fish) + " fish, ";
        std::printf("    %srefused as parted %d\n", of.c_str(), refused);
        EXPECT_TRUE(is_between(wald, 0.02, 0.06, of + "no effect, Wald p < 0.05"));
        EXPECT_TRUE(is_between(ratio, 0.04, 0.08, of + "no effect, likelihood ratio p < 0.05"));
        EXPECT_TRUE(is_between(odds, 0.02, 0.08, of + "odds proportional, p < 0.05"));
        EXPECT_TRUE(is_between(covered, 0.92, 0.98, of + "effect of 1 in Wald's interval"));
        EXPECT_TRUE(is_between(profiled, 0.92, 0.97, of + "effect of 1 in the profile interval"));
    }
}

TEST(OrdinalSimulated, fish_scored_three_times_need_their_intercept) {
    Rate with;
    Rate without;
    Rate covered;
    const auto studies = runs(200);
    for (std::uint64_t run = 0; run < studies; ++run) {
        const auto table = simulated({.fish = 30, .rows_a_fish = 3, .effect = 0.0, .sd = 1.5}, 20000 + run);
        const auto design = make_design(table, {.terms = {{{"rig"}}}});
        const auto mixed = fit_ordinal(*design, table.factor("score"), {.group = &table.factor("fish")});
        const auto plain = fit_ordinal(*design, table.factor("score"));
        ASSERT_TRUE(mixed && plain) << run;
        with.add(mixed->coefficients[0].p < 0.05);
        without.add(plain->coefficients[0].p < 0.05);
        covered.add(mixed->coefficients[0].lower <= 0.0 && 0.0 <= mixed->coefficients[0].upper);
    }
    std::printf("    without the fish's intercept: %s\n", without.text().c_str());
    EXPECT_TRUE(is_between(with, 0.03, 0.09, "30 fish scored three times, no effect, Wald p < 0.05"));
    EXPECT_GT(without.value(), with.value());
    EXPECT_TRUE(is_between(covered, 0.91, 0.97, "no effect in Wald's interval"));
}

} // namespace
} // namespace backeddy::stats
