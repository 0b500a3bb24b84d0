// Sources: R 4.2.2, survival 3.5-3 coxph, basehaz, cox.zph (reference/stats 09); by hand where said.

#include "stats/cox.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "stats/follow_ups.hpp"
#include "stats/simulated.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

struct CoxCase {
    const char* id;
    const char* time;
    const char* status;
    const char* event;
    std::vector<std::string> columns;
    std::vector<std::string> names; ///< R's, by coefficient
    const char* strata;
};

struct Prepared {
    Design design;
    std::vector<FollowUp> fish;
    Factor strata;
};

/// Rows without a value are left out, as R does.
Prepared prepared(const support::Json& one, const CoxCase& of) {
    const auto data = support::data_of(one);
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < data.rows(); ++i) {
        bool is_whole = true;
        for (const auto& name : of.columns) {
            is_whole = is_whole && data.text(name)[i] != "NA" && !data.text(name)[i].empty();
        }
        if (is_whole) {
            kept.push_back(i);
        }
    }
    std::vector<std::string> labels;
    for (const std::size_t i : kept) {
        labels.push_back("row " + std::to_string(i + 1));
    }
    Table table(labels);
    Terms terms;
    for (const auto& name : of.columns) {
        std::vector<std::string> cells;
        for (const std::size_t i : kept) {
            cells.push_back(data.text(name)[i]);
        }
        terms.terms.push_back({{name}});
        if (cells.front().find_first_not_of("0123456789.-") != std::string::npos) {
            EXPECT_TRUE(table.add_factor(name, cells));
        } else {
            std::vector<double> numbers;
            for (const auto& cell : cells) {
                numbers.push_back(std::stod(cell));
            }
            EXPECT_TRUE(table.add_numbers(name, numbers));
        }
    }
    auto design = make_design(table, terms);
    EXPECT_TRUE(design) << design.error().text();
    Prepared out{.design = *design, .fish = {}, .strata = {}};
    const auto all = follow_ups(data, of.time, of.status, of.event);
    std::vector<std::string> strata;
    for (const std::size_t i : kept) {
        out.fish.push_back(all[i]);
        if (of.strata != nullptr) {
            strata.push_back(data.text(of.strata)[i]);
        }
    }
    out.strata = factor_of(strata);
    return out;
}

const std::vector<CoxCase>& cox_cases() {
    static const std::vector<CoxCase> all{
        {"cox_aml", "time", "status", "1", {"x"}, {"xNonmaintained"}, nullptr},
        {"cox_lung", "time", "status", "2", {"age", "sex", "ph.ecog"}, {"age", "sex", "ph.ecog"}, nullptr},
        {"cox_veteran",
         "time",
         "status",
         "1",
         {"trt", "celltype", "karno", "age"},
         {"trt", "celltypelarge", "celltypesmallcell", "celltypesquamous", "karno", "age"},
         nullptr},
        {"cox_veteran_strata", "time", "status", "1", {"trt", "karno"}, {"trt", "karno"}, "celltype"},
        {"cox_fish", "day", "dead", "1", {"group", "weight"}, {"grouphigh", "grouplow", "weight"}, nullptr}};
    return all;
}

void expect_test(const support::Json& one, const std::string& at, const ChiSquaredTest& test) {
    support::expect_agrees(one, at + "/test", test.chi_squared);
    support::expect_agrees(one, at + "/df", test.freedom);
    support::expect_agrees(one, at + "/pvalue", test.p, 1e-6);
}

TEST(Cox, agrees_with_r_under_both_ways_with_ties) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : cox_cases()) {
        const auto& one = support::case_of(*cases, of.id);
        const auto given = prepared(one, of);
        for (const auto& [ties, at] : {std::pair{Ties::efron, std::string("/efron")},
                                       std::pair{Ties::breslow, std::string("/breslow")}}) {
            const auto fit =
                fit_cox(given.design, given.fish,
                        {.ties = ties, .strata = of.strata != nullptr ? &given.strata : nullptr});
            ASSERT_TRUE(fit) << of.id << ": " << fit.error().text();
            const std::size_t p = fit->coefficients.size();
            ASSERT_EQ(p, of.names.size());
            for (std::size_t k = 0; k < p; ++k) {
                const auto& c = fit->coefficients[k];
                const std::string name = "/" + of.names[k];
                support::expect_agrees(one, at + "/estimate" + name, c.value, c.se);
                support::expect_agrees(one, at + "/se" + name, c.se);
                support::expect_agrees(one, at + "/stat" + name, c.statistic, 1.0);
                support::expect_agrees(one, at + "/p" + name, c.p, 1e-6);
                support::expect_agrees(one, at + "/lower95" + name, c.lower, c.se);
                support::expect_agrees(one, at + "/upper95" + name, c.upper, c.se);
                support::expect_agrees(one, at + "/hazard_ratio" + name, fit->hazard_ratios[k].value);
                support::expect_agrees(one, at + "/hr_lower95" + name, fit->hazard_ratios[k].lower);
                support::expect_agrees(one, at + "/hr_upper95" + name, fit->hazard_ratios[k].upper);
                for (std::size_t l = 0; l < p; ++l) {
                    support::expect_agrees(one, at + "/vcov/" + std::to_string(k) + "/" + std::to_string(l),
                                           fit->covariance[(k * p) + l], c.se * fit->coefficients[l].se);
                }
            }
            support::expect_agrees(one, at + "/loglik_null", fit->log_likelihood_null, 1.0);
            support::expect_agrees(one, at + "/loglik", fit->log_likelihood, 1.0);
            expect_test(one, at + "/lr_test", fit->likelihood_ratio);
            expect_test(one, at + "/wald_test", fit->wald);
            expect_test(one, at + "/score_test", fit->score);
        }
    }
}

TEST(Cox, agrees_with_r_on_concordance_base_hazard_and_proportionality) {
    const auto cases = support::reference_cases("stats/09_survival.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const auto& of : cox_cases()) {
        const auto& one = support::case_of(*cases, of.id);
        const auto given = prepared(one, of);
        const auto fit =
            fit_cox(given.design, given.fish, {.strata = of.strata != nullptr ? &given.strata : nullptr});
        ASSERT_TRUE(fit);
        support::expect_agrees(one, "/n", static_cast<double>(fit->n));
        support::expect_agrees(one, "/events", static_cast<double>(fit->events));
        support::expect_agrees(one, "/efron/concordance", fit->concordance);
        support::expect_agrees(one, "/efron/concordance_se", fit->concordance_se);
        const auto& efron = one.at("expected").at("efron");
        if (efron.contains("baseline_cumhaz")) {
            // R's is of a fish whose columns are all 0.
            const auto hazard = cumulative_hazard(*fit, std::vector<double>(given.design.columns()));
            const auto times = support::numbers_of(efron.at("baseline_cumhaz").at("time"));
            for (std::size_t k = 0; k < times.size(); ++k) {
                double there = 0.0;
                for (const auto& step : hazard) {
                    there = step.time <= times[k] ? step.cumulative : there;
                }
                support::expect_agrees(one, "/efron/baseline_cumhaz/hazard/" + std::to_string(k), there);
            }
        }
        if (efron.contains("zph_km")) {
            const auto check = test_proportional(*fit);
            ASSERT_TRUE(check) << check.error().text();
            ASSERT_EQ(check->tests.size(), efron.at("zph_km").at("chisq").size());
            for (std::size_t k = 0; k < check->tests.size(); ++k) {
                const std::string place = "/" + std::to_string(k);
                const auto& test = check->tests[k].test;
                support::expect_agrees(one, "/efron/zph_km/chisq" + place, test.chi_squared);
                support::expect_agrees(one, "/efron/zph_km/df" + place, test.freedom);
                support::expect_agrees(one, "/efron/zph_km/p" + place, test.p, 1e-6);
            }
        }
    }
}

/// A column of numbers by itself.
Design design_of(const std::vector<double>& x) {
    Table table(std::vector<std::string>(x.size(), "row"));
    EXPECT_TRUE(table.add_numbers("x", x));
    auto design = make_design(table, {.terms = {{{"x"}}}});
    EXPECT_TRUE(design) << design.error().text();
    return *design;
}

Design design_of(const std::vector<std::string>& rig) {
    Table table(std::vector<std::string>(rig.size(), "row"));
    EXPECT_TRUE(table.add_factor("rig", rig));
    auto design = make_design(table, {.terms = {{{"rig"}}}});
    EXPECT_TRUE(design) << design.error().text();
    return *design;
}

TEST(Cox, three_fish_by_hand) {
    // Events at 1 (x = 1) and 2 (x = 0), one alive to 3 (x = 1): L = r/(2r + 1) 1/(r + 1), r = exp(beta);
    // d log L = 0 where 1/r = 2/(2r + 1) + 1/(r + 1), so 2 r^2 = 1.
    const auto fit =
        fit_cox(design_of(std::vector<double>{1, 0, 1}),
                std::vector<FollowUp>{
                    {.time = 1.0, .is_event = true}, {.time = 2.0, .is_event = true}, {.time = 3.0}});
    ASSERT_TRUE(fit) << fit.error().text();
    EXPECT_NEAR(fit->hazard_ratios[0].value, std::sqrt(0.5), 1e-10);
    EXPECT_NEAR(fit->log_likelihood_null, -std::log(6.0), 1e-14);
}

TEST(Cox, the_score_test_without_ties_is_the_log_rank_test) {
    Random random(11);
    std::vector<FollowUp> fish;
    std::vector<std::string> rig;
    Factor group{.levels = {"a", "b"}, .codes = {}};
    for (std::size_t i = 0; i < 40; ++i) {
        const double entry = i % 4 == 0 ? 0.2 * random.uniform() : 0.0;
        fish.push_back(
            {.time = entry + random.exponential(), .is_event = random.uniform() < 0.7, .entry = entry});
        rig.emplace_back(i % 2 == 0 ? "a" : "b");
        group.codes.push_back(i % 2);
    }
    const auto fit = fit_cox(design_of(rig), fish);
    const auto test = log_rank(fish, group);
    ASSERT_TRUE(fit && test);
    EXPECT_NEAR(fit->score.chi_squared, test->chi_squared, 1e-9 * test->chi_squared);
}

TEST(Cox, splitting_a_fish_at_a_moment_changes_nothing) {
    // One followed to 5 is one followed to 2 and one that enters at 2 (Andersen and Gill 1982).
    Random random(12);
    std::vector<FollowUp> whole;
    std::vector<FollowUp> split;
    std::vector<double> x;
    std::vector<double> twice;
    for (std::size_t i = 0; i < 25; ++i) {
        x.push_back(random.normal());
        whole.push_back(
            {.time = 1.0 + static_cast<double>(random.below(8)), .is_event = random.uniform() < 0.8});
        const auto& one = whole.back();
        if (one.time > 2.0) {
            split.push_back({.time = 2.0});
            split.push_back({.time = one.time, .is_event = one.is_event, .entry = 2.0});
            twice.insert(twice.end(), 2, x.back());
        } else {
            split.push_back(one);
            twice.push_back(x.back());
        }
    }
    const auto one = fit_cox(design_of(x), whole);
    const auto two = fit_cox(design_of(twice), split);
    ASSERT_TRUE(one && two);
    EXPECT_NEAR(one->coefficients[0].value, two->coefficients[0].value, 1e-9);
    EXPECT_NEAR(one->coefficients[0].se, two->coefficients[0].se, 1e-9);
    EXPECT_NEAR(one->log_likelihood, two->log_likelihood, 1e-10);
}

TEST(Cox, only_the_order_of_times_counts_and_a_columns_unit_scales_its_coefficient) {
    Random random(13);
    std::vector<FollowUp> fish;
    std::vector<FollowUp> squared;
    std::vector<double> x;
    std::vector<double> moved;
    for (std::size_t i = 0; i < 30; ++i) {
        x.push_back(random.normal());
        moved.push_back((1e-4 * x.back()) + 2026.0);
        fish.push_back(
            {.time = 1.0 + static_cast<double>(random.below(9)), .is_event = random.uniform() < 0.7});
        squared.push_back({.time = fish.back().time * fish.back().time, .is_event = fish.back().is_event});
    }
    const auto one = fit_cox(design_of(x), fish);
    const auto two = fit_cox(design_of(moved), squared);
    ASSERT_TRUE(one && two);
    EXPECT_NEAR(two->coefficients[0].value * 1e-4, one->coefficients[0].value, 1e-7);
    EXPECT_NEAR(two->coefficients[0].statistic, one->coefficients[0].statistic, 1e-7);
}

TEST(Cox, a_group_without_events_is_named_and_given_no_ratio) {
    const std::vector<FollowUp> fish{{.time = 1.0, .is_event = true},
                                     {.time = 2.0, .is_event = true},
                                     {.time = 4.0, .is_event = true},
                                     {.time = 6.0},
                                     {.time = 5.0},
                                     {.time = 6.0}};
    const auto fit =
        fit_cox(design_of(std::vector<std::string>{"air", "air", "air", "air", "none", "none"}), fish);
    ASSERT_FALSE(fit);
    EXPECT_EQ(fit.error().code, ErrorCode::degenerate);
    EXPECT_EQ(
        fit.error().text(),
        "the likelihood grows for ever with the coefficient of rig: none (against air): at every event it "
        "was the fish highest in it, or lowest, that had the event; an event in every group, and some "
        "against the trend; report a log-rank test, which holds; join the groups without events with "
        "others, or leave the column out; no hazard ratio can be given");
    // A column in whose order the fish die.
    const auto ordered = fit_cox(design_of(std::vector<double>{9, 7, 4, 3, 3, 2}), fish);
    ASSERT_FALSE(ordered);
    EXPECT_EQ(ordered.error().code, ErrorCode::degenerate);
    // One against the trend makes it finite, if large.
    const auto finite = fit_cox(design_of(std::vector<double>{9, 7, 4, 3, 4.1, 2}), fish);
    ASSERT_TRUE(finite) << finite.error().text();
    EXPECT_GT(finite->coefficients[0].value, 0.5);
}

TEST(Cox, says_what_is_wrong) {
    const std::vector<FollowUp> fish{{.time = 1.0, .is_event = true},
                                     {.time = 2.0, .is_event = true},
                                     {.time = 4.0, .is_event = true},
                                     {.time = 6.0}};
    const auto design = design_of(std::vector<double>{1, 3, 2, 1});
    EXPECT_EQ(fit_cox(design, std::span(fish).first(3)).error().code, ErrorCode::bad_relation);
    EXPECT_EQ(fit_cox(design, std::vector<FollowUp>(4, {.time = 1.0})).error().code, ErrorCode::too_few);
    // Constant within its strata.
    const Factor boat{.levels = {"first", "second"}, .codes = {0, 1, 1, 0}};
    const auto within = fit_cox(design_of(std::vector<double>{1, 3, 3, 1}), fish, {.strata = &boat});
    ASSERT_FALSE(within);
    EXPECT_EQ(within.error().text(),
              "x do not vary independently among the fish at risk at the events; columns that differ within "
              "the strata; leave one of them out, or the strata");
    Table table({"1", "2", "3", "4"});
    ASSERT_TRUE(table.add_factor("rig", {"a", "b", "a", "b"}));
    const auto without = make_design(table, {.intercept = Intercept::none, .terms = {{{"rig"}}}});
    ASSERT_TRUE(without);
    EXPECT_EQ(fit_cox(*without, fish).error().code, ErrorCode::bad_relation);
}

TEST(Cox, scaled_residuals_average_to_the_coefficient_without_ties) {
    Random random(14);
    std::vector<FollowUp> fish;
    std::vector<double> x;
    for (std::size_t i = 0; i < 20; ++i) {
        x.push_back(random.normal());
        fish.push_back({.time = random.exponential() * std::exp(-x.back()), .is_event = i % 4 != 0});
    }
    const auto fit = fit_cox(design_of(x), fish);
    ASSERT_TRUE(fit);
    const auto check = test_proportional(*fit);
    ASSERT_TRUE(check);
    double sum = 0.0;
    for (const auto& one : check->residuals) {
        sum += one.scaled[0];
    }
    EXPECT_EQ(check->residuals.size(), fit->events);
    EXPECT_NEAR(sum / static_cast<double>(fit->events), fit->coefficients[0].value, 1e-9);
    const auto tests = term_tests(*fit);
    EXPECT_NEAR(tests.at(0).f, fit->wald.chi_squared, 1e-8);
}

TEST(Cox, in_small_studies_intervals_hold_the_truth) {
    // 30 fish in two groups, hazard ratio 2, followed to 1.5 mean lives of the first.
    Rate holds;
    Rate proportional;
    int infinite = 0;
    const std::vector<std::string> rig = [] {
        std::vector<std::string> out;
        for (std::size_t i = 0; i < 30; ++i) {
            out.emplace_back(i % 2 == 0 ? "a" : "b");
        }
        return out;
    }();
    const auto design = design_of(rig);
    for (std::uint64_t run = 0; run < 1000; ++run) {
        Random random(99, run);
        std::vector<FollowUp> fish;
        for (std::size_t i = 0; i < 30; ++i) {
            const double t = random.exponential() / (i % 2 == 0 ? 1.0 : 2.0);
            fish.push_back({.time = std::min(t, 1.5), .is_event = t <= 1.5});
        }
        const auto fit = fit_cox(design, fish);
        if (!fit) {
            ++infinite;
            continue;
        }
        holds.add(fit->hazard_ratios[0].lower <= 2.0 && 2.0 <= fit->hazard_ratios[0].upper);
        proportional.add(test_proportional(*fit)->tests[0].test.p < 0.05);
    }
    EXPECT_LE(infinite, 5);
    EXPECT_TRUE(is_between(holds, 0.93, 0.96, "Wald interval of a hazard ratio of 2, 30 fish"));
    EXPECT_TRUE(is_between(proportional, 0.03, 0.06, "test of proportional hazards at 5 %, 30 fish"));
}

} // namespace
} // namespace backeddy::stats
