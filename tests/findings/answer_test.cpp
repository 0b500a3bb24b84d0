// Sources: the ten patients of Student (1908, Biometrika 6:1), extra hours of sleep by two soporifics, with
// the paired t of R's own help page of the set (t = -4.0621, 9 df, p = 0.002833, interval -2.4598858 to
// -0.7001142). All else: invented rows whose answers follow from how they were made.

#include "findings/answer.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "findings/detail/wording.hpp"
#include "stats/counts.hpp"

namespace backeddy::findings {
namespace {

study::Question question(std::string outcome, std::string compare) {
    study::Question out;
    out.name = "q";
    out.outcome = std::move(outcome);
    out.compare = std::move(compare);
    return out;
}

Observations sleep() {
    const double first[] = {0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
    const double second[] = {1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};
    Observations out("night", "nights");
    for (int i = 0; i < 10; ++i) {
        const auto fish = fmt::format("p{}", i + 1);
        for (const bool is_second : {false, true}) {
            const auto row = out.add_row(fish + (is_second ? " second" : " first"), fish);
            out.set(row, "fish", Word{fish});
            out.set(row, "drug", Word{is_second ? "second" : "first"});
            out.set(row, "extra", Value{.value = is_second ? second[i] : first[i]});
        }
    }
    out.describe("extra", "extra sleep", "h", Stage::unknown);
    out.describe("drug", "drug", "", Stage::assigned);
    return out;
}

// Fish of two rigs: uptake 400 + 30 for trebles + 0.05 a gram, normal scatter of 20; a shift for each day.
Observations made_fish(std::size_t n, std::uint64_t seed, double rig_effect = 30.0, double day_sd = 0.0) {
    Random random(seed);
    Observations out("fish", "fish");
    std::vector<double> days(8);
    for (auto& day : days) {
        day = day_sd * random.normal();
    }
    for (std::size_t i = 0; i < n; ++i) {
        const auto name = fmt::format("st{:02}", i + 1);
        const auto row = out.add_row(name, name);
        const double mass = 600.0 + 900.0 * random.uniform();
        const bool is_treble = i % 2 == 1;
        out.set(row, "fish", Word{name});
        out.set(row, "rig", Word{is_treble ? "treble" : "single"});
        out.set(row, "mass_g", Value{.value = mass});
        out.set(row, "day", Word{fmt::format("day {}", (i / 2) % days.size())});
        out.set(row, "fight_s", Value{.value = 100.0 + 200.0 * random.uniform()});
        out.set(row, "peak",
                Value{.value = 400.0 + (is_treble ? rig_effect : 0.0) + 0.05 * mass +
                               days[(i / 2) % days.size()] + 20.0 * random.normal(),
                      .uncertainty = 5.0});
    }
    out.describe("peak", "peak after capture", "mg/kg/h", Stage::unknown);
    out.describe("rig", "rig", "", Stage::assigned);
    out.describe("mass_g", "mass", "g", Stage::before);
    out.describe("fight_s", "fight", "s", Stage::during);
    return out;
}

bool is_warned(const Finding& found, const std::string& of) {
    return std::any_of(found.warnings.begin(), found.warnings.end(),
                       [&](const std::string& warning) { return warning.find(of) != std::string::npos; });
}

TEST(FoundNumbers, never_round_a_small_limit_of_a_ratio_to_none) {
    const FoundNumber odds{.name = "", .value = 2.8, .lower = 0.38, .upper = 24.99};
    EXPECT_EQ(interval_text(odds), "0.4 to 25");
    EXPECT_EQ(detail::rounded(0.0, odds), "0");
}

TEST(FoundNumbers, are_printed_to_two_digits_of_their_interval) {
    const FoundNumber both{.name = "", .value = 38.24, .lower = 6.61, .upper = 69.83};
    EXPECT_EQ(value_text(both), "38");
    EXPECT_EQ(interval_text(both), "7 to 70");
    const FoundNumber above{.name = "", .value = 8.13, .lower = 5.31};
    EXPECT_EQ(interval_text(above), "5.3 or more");
    EXPECT_EQ(interval_text({.name = "", .value = 8.13, .lower = 5.31, .upper = INFINITY}), "5.3 or more");
    EXPECT_EQ(interval_text({.name = "", .value = 2.0, .upper = 3.52}), "3.5 or less");
    EXPECT_EQ(interval_text({.name = "", .value = 2.0}), "");
    EXPECT_EQ(value_text({.name = "", .reason = "nobody bled"}), "nobody bled");
    EXPECT_EQ(chance_text(0.0312), "0.031");
    EXPECT_EQ(chance_text(2e-9), "< 0.001");
}

TEST(AnswerPaired, students_sleep) {
    auto asked = question("extra", "drug");
    asked.within = "fish";
    const auto found = answer_question(asked, sleep());
    ASSERT_EQ(found.unanswered, "");
    ASSERT_EQ(found.effects.size(), 1U);
    const auto& effect = found.effects[0];
    EXPECT_NEAR(*effect.value, 1.58, 1e-12);
    EXPECT_NEAR(*effect.lower, 0.7001142, 5e-8);
    EXPECT_NEAR(*effect.upper, 2.4598858, 5e-8);
    EXPECT_NEAR(*effect.p, 0.002833, 5e-7);
    EXPECT_EQ(effect.name, "second against first");
    EXPECT_EQ(found.fish, 10U);
    EXPECT_EQ(found.sentence,
              "In the same 10 fish, extra sleep is 1.6 h higher with second than with first (95 % interval "
              "0.7 to 2.5).");
}

TEST(AnswerPaired, a_fish_with_one_side_is_named_among_those_left_out) {
    auto rows = sleep();
    rows.set(3, "extra", Absent{"the trace was torn"});
    auto asked = question("extra", "drug");
    asked.within = "fish";
    const auto found = answer_question(asked, rows);
    EXPECT_EQ(found.fish, 9U);
    EXPECT_EQ(found.rows, 18U);
    EXPECT_EQ(found.points.size(), 18U);
    ASSERT_EQ(found.left_out.size(), 2U);
    EXPECT_EQ(found.left_out[0].row, "p2 second");
    EXPECT_EQ(found.left_out[0].why, "the trace was torn");
    EXPECT_EQ(found.left_out[1].row, "p2 first");
    EXPECT_EQ(found.left_out[1].why, "p2 is there under first only: no pair");
}

// What two values share by name cancels in their difference; what they do not share does not.
TEST(AnswerPaired, shared_uncertainties_cancel) {
    const auto with = [](bool is_shared) {
        auto rows = sleep();
        for (std::size_t row = 0; row < rows.rows(); ++row) {
            auto value = std::get<Value>(rows.column("extra")->cells[row]);
            value.contributions = {{is_shared ? "mass" : fmt::format("mass {}", row), 3.0},
                                   {fmt::format("slope {}", row), 0.4}};
            value.uncertainty = std::hypot(3.0, 0.4);
            rows.set(row, "extra", value);
        }
        auto asked = question("extra", "drug");
        asked.within = "fish";
        const auto found = answer_question(asked, rows);
        for (const auto& test : found.tests) {
            if (test.name == "weighed by measurement uncertainty") {
                return test;
            }
        }
        return FoundTest{};
    };
    const auto shared = with(true);
    const auto apart = with(false);
    ASSERT_TRUE(shared.p && apart.p);
    EXPECT_LT(*shared.p, 0.01);
    EXPECT_GT(*apart.p, 0.05);
}

TEST(AnswerLinear, recovers_what_the_fish_were_made_with) {
    auto asked = question("peak", "rig");
    asked.adjust_for = {"mass_g"};
    std::size_t covered = 0;
    constexpr std::size_t runs = 200;
    for (std::size_t run = 0; run < runs; ++run) {
        const auto found = answer_question(asked, made_fish(24, 100 + run));
        ASSERT_EQ(found.unanswered, "");
        covered += *found.effects[0].lower < 30.0 && 30.0 < *found.effects[0].upper ? 1 : 0;
    }
    // Binomial(200, 0.95): 181 to 198 hold all but 1 in 1,000.
    EXPECT_GE(covered, 181U);
    EXPECT_LE(covered, 199U);
}

TEST(AnswerLinear, groups_slopes_and_logarithms_have_their_own_words) {
    const auto rows = made_fish(40, 7);
    auto asked = question("peak", "rig");
    auto found = answer_question(asked, rows);
    EXPECT_EQ(found.levels, (std::vector<std::string>{"single", "treble"}));
    ASSERT_EQ(found.groups.size(), 2U);
    EXPECT_NEAR(*found.effects[0].value, *found.groups[1].value - *found.groups[0].value, 1e-9);
    EXPECT_EQ(found.effects[0].name, "treble against single");
    EXPECT_NE(found.sentence.find("higher with treble than with single"), std::string::npos)
        << found.sentence;

    asked.family = study::QuestionFamily::log_normal;
    found = answer_question(asked, rows);
    EXPECT_EQ(found.scale, EffectScale::ratio);
    EXPECT_NEAR(*found.effects[0].value, *found.groups[1].value / *found.groups[0].value, 1e-9);
    EXPECT_NE(found.sentence.find("times as high with treble as with single"), std::string::npos)
        << found.sentence;

    EXPECT_EQ(found.spreads.at(0).name, "left over (of the logarithm)");
    EXPECT_EQ(found.spreads.at(0).unit, "");

    found = answer_question(question("peak", "log(mass_g)"), rows);
    ASSERT_EQ(found.effects.size(), 1U);
    EXPECT_EQ(found.effects[0].name, "doubling of mass");
    EXPECT_FALSE(found.curves.at(0).x.empty());
    EXPECT_GT(found.curves.at(0).x.front(), 599.0); // drawn against grams, not their logarithm
}

// A doubling adds log(2) times the slope on the logarithm, whatever the unit of the mass.
TEST(AnswerLinear, a_doubling_does_not_depend_on_the_unit) {
    auto grams = made_fish(30, 3);
    auto kilograms = grams;
    for (std::size_t row = 0; row < kilograms.rows(); ++row) {
        const auto value = std::get<Value>(grams.column("mass_g")->cells[row]);
        kilograms.set(row, "mass_g", Value{.value = value.value / 1000.0});
    }
    const auto a = answer_question(question("peak", "log(mass_g)"), grams);
    const auto b = answer_question(question("peak", "log(mass_g)"), kilograms);
    EXPECT_NEAR(*a.effects[0].value, *b.effects[0].value, 1e-8);
    EXPECT_NEAR(*a.effects[0].lower, *b.effects[0].lower, 1e-8);
}

TEST(AnswerLinear, few_levels_become_fixed_and_many_random) {
    auto asked = question("peak", "rig");
    asked.random = {"day"};
    const auto many = answer_question(asked, made_fish(32, 5, 30.0, 40.0));
    EXPECT_EQ(many.model, "peak after capture = rig + (day)");
    ASSERT_EQ(many.spreads.size(), 2U);
    EXPECT_GT(*many.spreads[0].value, 0.0);
    const auto few = answer_question(asked, made_fish(6, 5, 30.0, 40.0));
    EXPECT_EQ(few.model, "peak after capture = rig + day");
    ASSERT_FALSE(few.warnings.empty());
    EXPECT_NE(few.warnings[0].find("3 levels only"), std::string::npos);
}

TEST(AnswerLinear, later_columns_and_columns_not_assigned_are_warned_of) {
    auto asked = question("peak", "rig");
    asked.adjust_for = {"fight_s"};
    auto found = answer_question(asked, made_fish(24, 2));
    ASSERT_EQ(found.warnings.size(), 1U);
    EXPECT_NE(found.warnings[0].find("direct effect only"), std::string::npos);
    found = answer_question(question("peak", "fight_s"), made_fish(24, 2));
    ASSERT_EQ(found.warnings.size(), 1U);
    EXPECT_NE(found.warnings[0].find("not assigned"), std::string::npos);
}

// Hooked fish by rig: 18 of 30 landed against 7 of 32.
Observations hooked_fish() {
    Observations out("bite", "bites");
    const auto add = [&](const char* rig, int landed, int of) {
        for (int i = 0; i < of; ++i) {
            const auto row = out.add_row(fmt::format("{} {}", rig, i), "");
            out.set(row, "rig", Word{rig});
            out.set(row, "landed", Word{i < landed ? "yes" : "no"});
        }
    };
    add("single", 7, 32);
    add("treble", 18, 30);
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

// Newcombe's interval of 18/30 - 7/32 by hand from the two Wilson intervals (0.4232 to 0.7541; 0.1102 to
// 0.3875): difference 0.38125, 0.38125 - sqrt((0.6 - 0.4232)^2 + (0.3875 - 0.21875)^2) and
// 0.38125 + sqrt((0.7541 - 0.6)^2 + (0.21875 - 0.1102)^2).
TEST(AnswerShares, two_groups_by_newcombe_and_fisher) {
    const auto found = answer_question(question("landed", "rig"), hooked_fish());
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NEAR(*found.effects[0].value, 0.38125, 1e-12);
    EXPECT_NEAR(*found.effects[0].lower, 0.13681, 5e-5);
    EXPECT_NEAR(*found.effects[0].upper, 0.56972, 5e-5);
    ASSERT_EQ(found.groups.size(), 2U);
    EXPECT_EQ(found.groups[1].method, "18 of 30; exact interval");
    EXPECT_EQ(found.sentence,
              "Across 62 bites, 18 of 30 with treble and 7 of 32 with single: the share with landed = yes is "
              "0.38 higher with treble than with single (95 % interval 0.14 to 0.57).");
}

TEST(AnswerShares, the_margin_is_judged_on_shares) {
    auto asked = question("landed", "rig");
    asked.margin = 0.15;
    asked.better = study::BetterIs::higher;
    // 18 of 30 less 7 of 32: Miettinen and Nurminen's limits, by stats/counts.
    const auto found = answer_question(asked, hooked_fish());
    const auto score = stats::difference_of_shares({18, 30}, {7, 32})->score;
    EXPECT_EQ(found.effects[0].lower, score.lower);
    EXPECT_EQ(found.effects[0].upper, score.upper);
    EXPECT_NE(found.margin_text.find("better"), std::string::npos) << found.margin_text;
    EXPECT_NE(found.method.find("Miettinen"), std::string::npos);
}

TEST(AnswerShares, an_outcome_of_one_kind_or_many_is_told) {
    auto rows = hooked_fish();
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        rows.set(row, "landed", Word{"yes"});
    }
    EXPECT_NE(answer_question(question("landed", "rig"), rows).unanswered.find("\"yes\" for all 62"),
              std::string::npos);
}

// 11 bites in 80 rod-hours against 21 in 301: the ratio and its exact interval by Clopper and Pearson's for
// 11 of 32 (0.1857 to 0.5319, exact binomial tables): p / (1 - p) times 301 / 80.
TEST(AnswerRates, two_groups_exactly) {
    Observations rows("stretch of fishing", "stretches of fishing");
    const auto add = [&](const char* rig, double bites, double hours) {
        const auto row = rows.add_row(fmt::format("{} {}", rig, rows.rows()), "");
        rows.set(row, "rig", Word{rig});
        rows.set(row, "bites", Value{.value = bites});
        rows.set(row, "rod_hours", Value{.value = hours});
    };
    add("single", 10, 150);
    add("single", 11, 151);
    add("treble", 4, 30);
    add("treble", 7, 50);
    rows.column_of("bites").exposure = "rod_hours";
    rows.describe("rig", "rig", "", Stage::assigned);
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::poisson;
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NEAR(*found.effects[0].value, (11.0 / 80.0) / (21.0 / 301.0), 1e-12);
    EXPECT_NEAR(*found.effects[0].lower, 0.1857 / 0.8143 * 301.0 / 80.0, 2e-3);
    EXPECT_NEAR(*found.effects[0].upper, 0.5319 / 0.4681 * 301.0 / 80.0, 4e-3);
    EXPECT_EQ(found.groups[0].method, "21 in 301.0; exact interval");
    EXPECT_EQ(found.groups[0].unit, "per rod_hours");
    rows.set(0, "bites", Value{.value = 2.5});
    EXPECT_NE(answer_question(asked, rows).unanswered.find("single 0 is 2.5"), std::string::npos);
}

// With a covariate that does nothing the odds ratio of 18/30 against 7/32 is near its plain value, 5.357.
TEST(AnswerShares, covariates_make_a_logistic_model) {
    auto rows = hooked_fish();
    Random random(3);
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        rows.set(row, "depth_m", Value{.value = 2.0 + random.uniform()});
        rows.set(row, "day", Word{fmt::format("day {}", row % 6)});
    }
    auto asked = question("landed", "rig");
    asked.adjust_for = {"depth_m"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.scale, EffectScale::odds_ratio);
    EXPECT_NEAR(*found.effects[0].value, (18.0 / 12.0) / (7.0 / 25.0), 0.6);
    EXPECT_LT(*found.effects[0].p, 0.01);
    ASSERT_EQ(found.groups.size(), 2U);
    EXPECT_NEAR(*found.groups[1].value, 0.6, 0.03); // shares, not log odds
    EXPECT_EQ(found.method,
              "Logistic model by maximum likelihood; limits and p in the table of coefficients are "
              "Wald's, those of the effect are not: interval by profile likelihood, p by likelihood "
              "ratio");
    asked.random = {"day"}; // which does nothing: the odds stay about where they were
    const auto by_day = answer_question(asked, rows);
    ASSERT_EQ(by_day.unanswered, "");
    EXPECT_NEAR(std::log(*by_day.effects[0].value), std::log(*found.effects[0].value), 0.2);
    EXPECT_TRUE(by_day.method.starts_with("Logistic mixed model")) << by_day.method;
    asked.random = {"depth_m within day"};
    EXPECT_NE(answer_question(asked, rows).unanswered.find("random = [\"day\"]"), std::string::npos);
}

// Days on which both rigs fished, single and treble 1.2 and 0.72 bites an hour (ratio 0.6) times what the day
// gives, whose logarithms have the standard deviation `day_sd`.
Observations fished_days(std::size_t days, double day_sd, std::uint64_t seed) {
    Random random(seed);
    Observations out("stretch of fishing", "stretches of fishing");
    for (std::size_t day = 0; day < days; ++day) {
        const double place = (static_cast<double>(day) + 0.5) / static_cast<double>(days); // evenly, 0 to 1
        const double own = std::exp(day_sd * std::sqrt(12.0) * (place - 0.5));
        for (const char* rig : {"single", "treble"}) {
            const auto row = out.add_row(fmt::format("day {} {}", day, rig), "");
            const double hours = 6.0 + 6.0 * random.uniform();
            double left = hours * own * (rig[0] == 's' ? 1.2 : 0.72); // a Poisson count by its waiting times
            double bites = -1.0;
            for (; left > 0.0; ++bites) {
                left += std::log(random.uniform());
            }
            out.set(row, "rig", Word{rig});
            out.set(row, "day", Word{fmt::format("day {}", day)});
            out.set(row, "bites", Value{.value = bites});
            out.set(row, "rod_hours", Value{.value = hours});
        }
    }
    out.column_of("bites").exposure = "rod_hours";
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

TEST(AnswerRates, days_of_their_own_are_a_random_group) {
    const auto rows = fished_days(12, 0.6, 5);
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::poisson;
    asked.random = {"day"};
    asked.margin = 0.9;
    asked.better = study::BetterIs::higher;
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.scale, EffectScale::ratio);
    EXPECT_EQ(found.model, "bites per rod_hours = rig + (day)");
    EXPECT_NE(found.sentence.find(", the rate of bites is "), std::string::npos) << found.sentence;
    const auto& effect = found.effects.front();
    EXPECT_LT(*effect.lower, 0.6);
    EXPECT_GT(*effect.upper, 0.6);
    EXPECT_NEAR(std::log(*effect.value), std::log(0.6), 0.45);
    ASSERT_EQ(found.spreads.size(), 1U);
    EXPECT_NEAR(*found.spreads[0].value, 0.6, 0.25); // twice its standard error, 0.6 / sqrt(2 x 12)
    EXPECT_EQ(found.spreads[0].unit, "");
    EXPECT_EQ(found.groups[0].unit, "per rod_hours");
    // One road for p, interval and margin: the interval leaves out 1 where p is below 0.05.
    EXPECT_NE(effect.method.find("simulation"), std::string::npos);
    EXPECT_EQ(*effect.p < 0.05, *effect.upper < 1.0);
    EXPECT_NE(found.margin_text.find("Against the margin of 0.9"), std::string::npos) << found.margin_text;
    EXPECT_EQ(answer_question(asked, rows).effects[0].p, effect.p); // the same every time
}

// Days that are no group of the model: the counts of each stretch vary on their own.
TEST(AnswerRates, few_counts_that_vary_are_judged_by_simulation) {
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::negative_binomial;
    for (const std::uint64_t seed : {5, 6, 7}) {
        const auto found = answer_question(asked, fished_days(8, 0.6, seed));
        ASSERT_EQ(found.unanswered, "");
        const auto& effect = found.effects.front();
        EXPECT_NE(effect.method.find("simulation"), std::string::npos) << effect.method;
        EXPECT_EQ(*effect.p <= 0.05, *effect.upper < 1.0 || *effect.lower > 1.0);
        EXPECT_LT(*effect.lower, *effect.value);
        EXPECT_GT(*effect.upper, *effect.value);
    }
    const auto many = answer_question(asked, fished_days(40, 0.6, 5));
    EXPECT_EQ(many.effects.front().method, "interval by profile likelihood, p by likelihood ratio");
}

TEST(AnswerRates, many_days_need_no_simulation) {
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::poisson;
    asked.random = {"day"};
    const auto found = answer_question(asked, fished_days(60, 0.4, 6));
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.effects[0].method.find("simulation"), std::string::npos);
    EXPECT_NEAR(std::log(*found.effects[0].value), std::log(0.6), 4.0 * *found.effects[0].se);
    EXPECT_LT(*found.effects[0].se, 0.12);
}

// One fish landed and one lost on each of 4 depths and rig, by sums: the penalised odds of the rig are 1 as
// the plain ones are, and its intercept too.
TEST(AnswerShares, few_rows_take_firths_penalty) {
    Observations rows("bite", "bites");
    for (int i = 0; i < 16; ++i) {
        const auto row = rows.add_row(fmt::format("b{}", i), "");
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "landed", Word{(i / 2) % 2 == 0 ? "yes" : "no"});
        const int step = i / 4;
        rows.set(row, "depth_m", Value{.value = 2.0 + step});
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    auto asked = question("landed", "rig");
    asked.adjust_for = {"depth_m"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_TRUE(found.method.starts_with("Logistic model by penalised likelihood (Firth); "));
    EXPECT_NEAR(*found.effects[0].value, 1.0, 1e-6);
    EXPECT_NEAR(*found.groups[0].value, 0.5, 1e-6);
}

// All of one group landed: no finite odds by likelihood; Firth's are, and the finding says so.
TEST(AnswerShares, separation_is_said_and_answered_by_firth) {
    auto rows = hooked_fish();
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        const bool is_treble = std::get<Word>(rows.column("rig")->cells[row]).text == "treble";
        rows.set(row, "sex", Word{row % 2 == 0 ? "f" : "m"});
        if (is_treble) {
            rows.set(row, "landed", Word{"yes"});
        }
    }
    auto asked = question("landed", "rig");
    asked.adjust_for = {"sex"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NE(found.method.find("penalised likelihood (Firth)"), std::string::npos);
    EXPECT_TRUE(std::any_of(found.warnings.begin(), found.warnings.end(), [](const std::string& warning) {
        return warning.find("Firth") != std::string::npos;
    }));
    EXPECT_GT(*found.effects[0].lower, 1.0);
}

// Fish of two rigs: hours to recovery log-normal, trebles half as long again; past `watched` only that.
Observations recovering_fish(std::size_t n, std::uint64_t seed, double watched) {
    Random random(seed);
    Observations out("fish", "fish");
    for (std::size_t i = 0; i < n; ++i) {
        const auto name = fmt::format("st{:02}", i + 1);
        const auto row = out.add_row(name, name);
        const bool is_treble = i % 2 == 1;
        const double hours = std::exp(2.0 + (is_treble ? std::log(1.5) : 0.0) + 0.3 * random.normal());
        const bool is_seen = hours < watched;
        out.set(row, "rig", Word{is_treble ? "treble" : "single"});
        out.set(row, "recovery_h",
                is_seen ? Within{.lower = 0.95 * hours, .upper = 1.05 * hours, .at = hours}
                        : Within{.lower = watched, .upper = std::numeric_limits<double>::infinity()});
    }
    out.describe("recovery_h", "time to recovery", "h", Stage::after);
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

TEST(AnswerTimes, a_ratio_of_times_that_knows_of_those_not_seen_to_recover) {
    std::size_t covered = 0;
    constexpr std::size_t runs = 100;
    for (std::size_t run = 0; run < runs; ++run) {
        const auto found =
            answer_question(question("recovery_h", "rig"), recovering_fish(24, 900 + run, 11.0));
        ASSERT_EQ(found.unanswered, "");
        ASSERT_EQ(found.scale, EffectScale::ratio);
        covered += *found.effects[0].lower < 1.5 && 1.5 < *found.effects[0].upper ? 1 : 0;
    }
    EXPECT_GE(covered, 86U); // binomial(100, 0.95): all but 1 in 2,000
}

TEST(AnswerTimes, curves_medians_and_hazards_stand_beside) {
    const auto found = answer_question(question("recovery_h", "rig"), recovering_fish(40, 77, 11.0));
    EXPECT_EQ(found.family, "time");
    ASSERT_EQ(found.curves.size(), 2U);
    EXPECT_EQ(found.curves[0].y.front(), 0.0);
    EXPECT_TRUE(std::is_sorted(found.curves[1].y.begin(), found.curves[1].y.end()));
    const auto has = [&](const char* name) {
        return std::any_of(found.tests.begin(), found.tests.end(),
                           [&](const FoundTest& test) { return test.name.starts_with(name); });
    };
    EXPECT_TRUE(has("log-rank"));
    EXPECT_TRUE(has("hazard ratio"));
    EXPECT_TRUE(has("the same with a Weibull form"));
    EXPECT_NE(found.sentence.find("times as long with treble as with single"), std::string::npos)
        << found.sentence;
    EXPECT_TRUE(has("median, single"));
    EXPECT_EQ(found.groups.size(), 2U); // by the model, each once
}

/// Two fish at each: recovered at 1 h, dead at 2 h, recovered at 3 h, watched to 4 h; the same with both
/// rigs.
Observations fish_of_which_some_died() {
    Observations out("fish", "fish");
    for (const char* rig : {"single", "treble"}) {
        for (int i = 0; i < 8; ++i) {
            const auto name = fmt::format("{} {}", rig, i);
            const auto row = out.add_row(name, name);
            const double infinite = std::numeric_limits<double>::infinity();
            out.set(row, "rig", Word{rig});
            out.set(row, "recovery_h",
                    i < 2   ? Cell(Value{.value = 1.0})
                    : i < 4 ? Cell(Within{.lower = 1.5, .upper = infinite, .ending = Ending{"died", 2.0}})
                    : i < 6 ? Cell(Value{.value = 3.0})
                            : Cell(Within{.lower = 4.0, .upper = infinite}));
        }
    }
    out.describe("recovery_h", "time to recovery", "h", Stage::after);
    out.describe("rig", "rig", "", Stage::assigned);
    out.column_of("recovery_h").tells_endings = true;
    return out;
}

const FoundFate* fate_named(const Finding& found, const std::string& group, const std::string& fate) {
    const auto at = std::find_if(found.fates.begin(), found.fates.end(), [&](const FoundFate& each) {
        return each.group == group && each.fate == fate;
    });
    return at == found.fates.end() ? nullptr : &*at;
}

// By hand (Aalen and Johansen): recovered 2/8 at 1 h; 6/8 of 2/6 dead at 2 h; then 4/8 of 2/4 recovered at 3
// h: 0.5 recovered and 0.25 dead. One minus Kaplan and Meier's would be 1 - 6/8 x 2/4 = 0.625.
TEST(AnswerTimes, who_died_before_is_counted_as_one_that_will_not_recover) {
    const auto found = answer_question(question("recovery_h", "rig"), fish_of_which_some_died());
    ASSERT_EQ(found.unanswered, "");
    ASSERT_EQ(found.fates.size(), 4U);
    const auto* recovered = fate_named(found, "treble", "came to it");
    const auto* died = fate_named(found, "treble", "died");
    ASSERT_TRUE(recovered != nullptr && died != nullptr);
    EXPECT_EQ(found.fates_until, 3.0);
    EXPECT_NEAR(*recovered->share.value, 0.5, 1e-12);
    EXPECT_NEAR(*died->share.value, 0.25, 1e-12);
    EXPECT_EQ(died->count, 2U);
    EXPECT_EQ(died->of, 8U);
    EXPECT_LT(*recovered->share.lower, 0.5);
    ASSERT_EQ(found.curves.size(), 2U);
    EXPECT_NEAR(found.curves[0].y.back(), 0.5, 1e-12) << "the curve is not Kaplan and Meier's";
    EXPECT_NE(found.fates_text.find("4 died, of 16 fish"), std::string::npos) << found.fates_text;
    const auto gray = std::find_if(found.tests.begin(), found.tests.end(), [](const FoundTest& test) {
        return test.name == "Gray's test, came to it";
    });
    ASSERT_NE(gray, found.tests.end());
    EXPECT_NEAR(*gray->p, 1.0, 1e-12) << "both rigs are alike";
}

// One more, of which nothing but its death at 0.5 h is known: it takes part in the shares alone.
TEST(AnswerTimes, a_fish_of_which_only_the_end_is_known_is_in_the_shares) {
    auto rows = fish_of_which_some_died();
    const auto row = rows.add_row("single x", "single x");
    rows.set(row, "rig", Word{"single"});
    rows.set(row, "recovery_h", Absent{"no level of rest", Ending{"withdrawn", 0.5}});
    const auto found = answer_question(question("recovery_h", "rig"), rows);
    EXPECT_EQ(found.rows, 16U);
    EXPECT_EQ(found.left_out.size(), 1U);
    ASSERT_EQ(found.fates.size(), 6U);
    EXPECT_NEAR(*fate_named(found, "single", "withdrawn")->share.value, 1.0 / 9.0, 1e-12);
    EXPECT_NEAR(*fate_named(found, "single", "came to it")->share.value, 0.5 * 8.0 / 9.0, 1e-12);
    EXPECT_EQ(*fate_named(found, "treble", "withdrawn")->share.value, 0.0);
    EXPECT_NE(found.fates_text.find("4 died, 1 withdrawn, of 17 fish"), std::string::npos)
        << found.fates_text;
    EXPECT_NE(found.fates_text.find("1 of whom nothing but that is known is left out"), std::string::npos);
}

TEST(AnswerTimes, where_nothing_competed_that_is_all_that_is_said) {
    auto rows = recovering_fish(24, 900, 11.0);
    const auto unknown = answer_question(question("recovery_h", "rig"), rows);
    EXPECT_NE(unknown.fates_text.find("the column does not say"), std::string::npos) << unknown.fates_text;
    rows.column_of("recovery_h").tells_endings = true;
    const auto found = answer_question(question("recovery_h", "rig"), rows);
    EXPECT_EQ(found.fates_text, "Nothing competed: no fish died, escaped or was withdrawn before it came.");
    EXPECT_TRUE(found.fates.empty());
    EXPECT_FALSE(found.fates_until);
}

TEST(AnswerLinear, a_mean_of_times_is_warned_of_those_that_died) {
    auto rows = made_fish(24, 12);
    rows.set(3, "peak", Absent{"dead", Ending{"died", 2.0}});
    const auto found = answer_question(question("peak", "rig"), rows);
    EXPECT_TRUE(std::any_of(found.warnings.begin(), found.warnings.end(), [](const std::string& warning) {
        return warning.starts_with("1 fish died, escaped or was withdrawn");
    }));
}

// ---------------------------------------------------------------- how many fish

void expect_sizes(const Finding& found, std::size_t at_80, std::size_t at_90) {
    ASSERT_TRUE(found.plan);
    ASSERT_EQ(found.plan->sizes.size(), 2U) << found.plan->text;
    EXPECT_EQ(found.plan->sizes[0].n, at_80);
    EXPECT_EQ(found.plan->sizes[1].n, at_90);
    EXPECT_EQ(found.plan->sizes[0].power, 0.8);
    EXPECT_EQ(found.plan->sizes[1].power, 0.9);
}

// R 4.2.2, power.t.test(delta = 1, sd = 1, type = "paired"): 9.94 at 80 %; SciPy 1.10.1 noncentral t: 12.59
// at 90 %. The differences of Student's sleep have the standard deviation 1.229995 (R's help page of the
// set).
TEST(AnswerPlan, pairs_by_the_scatter_of_their_differences) {
    auto asked = question("extra", "drug");
    asked.within = "fish";
    EXPECT_FALSE(answer_question(asked, sleep()).plan);
    asked.effect_wanted = -1.23;
    const auto found = answer_question(asked, sleep());
    expect_sizes(found, 10, 13);
    EXPECT_NEAR(*found.plan->scatter, 1.229995, 5e-7);
    EXPECT_EQ(
        found.plan->text,
        "To show a difference of -1.23 h at 5 % (two-sided) takes 10 pairs for 80 % power (no more than "
        "here), 13 pairs for 90 % power (3 more than here). Assumes a paired t and that the differences of "
        "further pairs scatter as these do, by a standard deviation of 1.23 h.");
}

// Ten fish with each rig, half of them sqrt(0.9) above and half below its mean: 18 / 18 is the variance left.
Observations fish_of_unit_scatter(double scale, bool is_log) {
    Observations out("fish", "fish");
    for (int i = 0; i < 20; ++i) {
        const auto name = fmt::format("st{:02}", i);
        const auto row = out.add_row(name, name);
        const double value = (i < 10 ? 5.0 : 6.0) + (i % 2 == 0 ? 1.0 : -1.0) * scale * std::sqrt(0.9);
        out.set(row, "fish", Word{name});
        out.set(row, "rig", Word{i < 10 ? "single" : "treble"});
        out.set(row, "day", Word{fmt::format("day {}", i % 5)});
        out.set(row, "peak", Value{.value = is_log ? std::exp(value) : value});
    }
    return out;
}

// R 4.2.2, power.t.test(delta = 1, sd = 1): 16.71 at 80 %; SciPy 1.10.1 noncentral t: 22.02 at 90 %.
TEST(AnswerPlan, two_groups_by_what_the_model_leaves_over) {
    auto asked = question("peak", "rig");
    asked.effect_wanted = 1.0;
    const auto found = answer_question(asked, fish_of_unit_scatter(1.0, false));
    expect_sizes(found, 17, 23);
    EXPECT_EQ(found.plan->counted, "fish in each group");
    EXPECT_NE(found.plan->text.find(
                  "17 fish in each group for 80 % power (7 more with single, 7 more with treble)"),
              std::string::npos)
        << found.plan->text;
    asked.family = study::QuestionFamily::log_normal; // a ratio of e^0.1, scatter 0.1 of the logarithm
    asked.effect_wanted = std::exp(-0.1);
    expect_sizes(answer_question(asked, fish_of_unit_scatter(0.1, true)), 17, 23);
    asked.effect_wanted = -2.0;
    const auto none = answer_question(asked, fish_of_unit_scatter(0.1, true));
    ASSERT_TRUE(none.plan);
    EXPECT_TRUE(none.plan->sizes.empty());
    EXPECT_NE(none.plan->text.find("effect_wanted is none above 0"), std::string::npos) << none.plan->text;
}

/// `n` fish, `each` rows of every one; rigs change from fish to fish, or from row to row.
Observations rows_of_fish(std::size_t n, std::size_t each, bool within) {
    Random random(31);
    Observations out("spell", "spells");
    for (std::size_t i = 0; i < n; ++i) {
        const auto fish = fmt::format("st{:02}", i);
        const double own = 10.0 * random.normal();
        for (std::size_t j = 0; j < each; ++j) {
            const auto row = out.add_row(fmt::format("{} {}", fish, j), fish);
            out.set(row, "fish", Word{fish});
            out.set(row, "rig", Word{(within ? j : i) % 2 == 0 ? "single" : "treble"});
            out.set(row, "peak", Value{.value = 100.0 + own + 5.0 * random.normal()});
        }
    }
    return out;
}

double spread_of(const Finding& found, const char* name) {
    for (const auto& spread : found.spreads) {
        if (spread.name == name) {
            return *spread.value;
        }
    }
    ADD_FAILURE() << name;
    return 0.0;
}

// Variances of means of independent values: fish + left / 4 of a fish's four rows, 2 left / 2 of the
// difference of its two means of two.
TEST(AnswerPlan, rows_of_one_fish_are_no_fish_of_their_own) {
    auto asked = question("peak", "rig");
    asked.random = {"fish"};
    asked.effect_wanted = 10.0;
    const auto between = answer_question(asked, rows_of_fish(14, 4, false));
    ASSERT_TRUE(between.plan && between.plan->scatter) << between.unanswered;
    EXPECT_NEAR(*between.plan->scatter,
                std::hypot(spread_of(between, "between fish"), spread_of(between, "left over") / 2.0), 1e-9);
    EXPECT_EQ(between.plan->counted, "fish in each group");
    EXPECT_NE(between.plan->text.find("with single"), std::string::npos);
    const auto within = answer_question(asked, rows_of_fish(14, 4, true));
    ASSERT_TRUE(within.plan && within.plan->scatter) << within.unanswered;
    EXPECT_NEAR(*within.plan->scatter, spread_of(within, "left over"), 1e-9);
    EXPECT_EQ(within.plan->counted, "fish in both");
}

// R 4.2.2, power.prop.test(p1 = 0.5, p2 = 0.75, power = 0.9): 76.71; by the same formula 57.67 at 80 %.
TEST(AnswerPlan, two_shares) {
    Observations rows("bite", "bites");
    for (int i = 0; i < 40; ++i) {
        const auto row = rows.add_row(fmt::format("{}", i), "");
        rows.set(row, "rig", Word{i < 20 ? "single" : "treble"});
        rows.set(row, "landed", Word{i % 2 == 0 || i > 35 ? "yes" : "no"});
    }
    auto asked = question("landed", "rig");
    asked.effect_wanted = 0.25;
    const auto found = answer_question(asked, rows);
    expect_sizes(found, 58, 77);
    EXPECT_FALSE(found.plan->scatter);
    asked.effect_wanted = 0.5;
    EXPECT_TRUE(answer_question(asked, rows).plan->sizes.empty())
        << "a share of 1 is none that can be planned for";
}

TEST(AnswerPlan, is_not_made_up_where_there_is_no_closed_form) {
    auto asked = question("peak", "mass_g");
    asked.effect_wanted = 1.0;
    const auto slope = answer_question(asked, made_fish(24, 12));
    ASSERT_TRUE(slope.plan);
    EXPECT_TRUE(slope.plan->sizes.empty());
    EXPECT_NE(slope.plan->text.find("not for a slope"), std::string::npos);
    auto times = question("recovery_h", "rig");
    times.effect_wanted = 1.5;
    EXPECT_NE(answer_question(times, recovering_fish(24, 900, 11.0)).plan->text.find("not for this kind"),
              std::string::npos);
}

// One analyte below its limit: what is known of it is that it is not above.
TEST(AnswerCensored, a_value_below_the_limit_is_no_value_and_no_zero) {
    auto rows = made_fish(24, 12);
    auto asked = question("peak", "rig");
    const auto plain = answer_question(asked, rows);
    const auto value = std::get<Value>(rows.column("peak")->cells[1]).value; // of a treble
    rows.set(1, "peak", Within{.lower = -std::numeric_limits<double>::infinity(), .upper = value});
    const auto below = answer_question(asked, rows);
    ASSERT_EQ(below.unanswered, "");
    EXPECT_LT(*below.effects[0].value, *plain.effects[0].value);
    EXPECT_NE(below.method.find("1 below one"), std::string::npos) << below.method;
    // One value of 24 known less well: near what least squares says of all known, and by F as there.
    EXPECT_NE(below.effects[0].method.find("by F"), std::string::npos) << below.effects[0].method;
    EXPECT_NEAR(*below.effects[0].upper - *below.effects[0].lower,
                *plain.effects[0].upper - *plain.effects[0].lower,
                0.15 * (*plain.effects[0].upper - *plain.effects[0].lower));
    rows.set(1, "peak", Absent{"lost"});
    EXPECT_EQ(answer_question(asked, rows).left_out.size(), 1U);
}

// Scores that trebles raise: an odds ratio above 1, its scores in their order.
TEST(AnswerScores, odds_of_a_higher_score) {
    Observations rows("fish", "fish");
    Random random(5);
    for (std::size_t i = 0; i < 60; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        const double hidden = (i % 2 == 1 ? 1.5 : 0.0) + random.normal();
        rows.set(row, "rig", Word{i % 2 == 1 ? "treble" : "single"});
        rows.set(row, "injury", Word{hidden < 0.0 ? "none" : hidden < 1.5 ? "slight" : "severe"});
    }
    rows.column_of("injury").levels = {"none", "slight", "severe"};
    rows.describe("rig", "rig", "", Stage::assigned);
    const auto found = answer_question(question("injury", "rig"), rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.scale, EffectScale::odds_ratio);
    EXPECT_GT(*found.effects[0].lower, 1.0);
    EXPECT_EQ(found.scores, (std::vector<std::string>{"none", "slight", "severe"}));
    EXPECT_EQ(found.effects[0].method, "interval by profile likelihood, p by likelihood ratio");
    EXPECT_EQ(found.points[0].value,
              std::get<Word>(rows.column("injury")->cells[0]).text == "none" ? 1.0 : 2.0);
    EXPECT_TRUE(found.warnings.empty()) << found.warnings.front();

    auto few = rows;
    for (std::size_t row = 30; row < rows.rows(); ++row) {
        few.set(row, "injury", Absent{"not scored"});
    }
    const auto of_few = answer_question(question("injury", "rig"), few);
    EXPECT_TRUE(std::ranges::any_of(of_few.warnings, [](const std::string& text) {
        return text.starts_with("30 rows are few for scores");
    }));
}

bool warns(const Finding& found, const std::string& words) {
    return std::ranges::any_of(
        found.warnings, [&](const std::string& text) { return text.find(words) != std::string::npos; });
}

// Counts of three rivers, few and scattered: their p is simulated, and it is that p which the sentence says.
TEST(AnswerSentence, groups_of_few_counts_are_judged_by_simulation) {
    Observations rows("stretch", "stretches");
    const double bites[] = {0, 1, 9, 2, 14, 3, 0, 6, 1, 11, 2, 0, 5, 1, 16, 0, 2, 8};
    for (std::size_t i = 0; i < std::size(bites); ++i) {
        const auto row = rows.add_row(fmt::format("s{}", i), "");
        rows.set(row, "river", Word{std::string(1, static_cast<char>('A' + i % 3))});
        rows.set(row, "bites", Value{.value = bites[i]});
        rows.set(row, "rod_hours", Value{.value = 6.0});
    }
    rows.column_of("bites").exposure = "rod_hours";
    const auto found = answer_question(question("bites", "river"), rows);
    ASSERT_EQ(found.unanswered, "");
    const auto simulated = std::ranges::find_if(
        found.tests, [](const FoundTest& test) { return test.name == "river, by simulation"; });
    ASSERT_NE(simulated, found.tests.end());
    EXPECT_NE(found.sentence.find("(" + detail::p_text(*simulated->p) + " of all together)"),
              std::string::npos)
        << found.sentence;
}

// 24 fish on two rigs, the outcome's cells given in turn.
Observations cells_of(const std::vector<Cell>& cells) {
    Observations rows("fish", "fish");
    for (std::size_t i = 0; i < 24; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 1 ? "treble" : "single"});
        rows.set(row, "x", cells[(i * i + i / 3) % cells.size()]);
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    return rows;
}

// The alphabet would make "fair" less than "good" less than "poor".
TEST(AnswerScores, words_have_no_order_but_the_one_that_is_said) {
    const auto rows = cells_of({Word{"poor"}, Word{"fair"}, Word{"good"}});
    auto asked = question("x", "rig");
    EXPECT_NE(answer_question(asked, rows).unanswered.find("whose order nobody said: fair, good, poor"),
              std::string::npos);
    asked.order = {"poor", "fair", "good"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.scores, asked.order);
    asked.order = {"poor", "good"};
    EXPECT_NE(answer_question(asked, rows).unanswered.find("is \"fair\"; expected one of poor, good"),
              std::string::npos);
}

TEST(AnswerShares, yes_is_yes_however_it_is_typed_and_na_is_not_known) {
    const auto rows = cells_of({Word{"Yes"}, Word{"no"}, Word{"TRUE"}, Word{"NA"}, Word{"No"}, Word{"?"}});
    const auto found = answer_question(question("x", "rig"), rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.family, "binomial");
    EXPECT_FALSE(found.left_out.empty());
    for (const auto& row : found.left_out) {
        EXPECT_NE(row.why.find("taken as not known"), std::string::npos) << row.why;
    }
    EXPECT_EQ(found.rows + found.left_out.size(), 24U);
    const auto two =
        answer_question(question("x", "rig"), cells_of({Word{"alive"}, Word{"dead"}, Word{"dead"}}));
    EXPECT_NE(two.sentence.find("the share with x = dead"), std::string::npos) << two.sentence;
    EXPECT_EQ(
        answer_question(question("x", "rig"), cells_of({Value{.value = 1.0}, Value{.value = 0.0}})).family,
        "binomial");
}

TEST(AnswerQuestion, no_quantity_is_as_large_as_a_slip_of_the_keyboard) {
    const auto rows =
        cells_of({Value{.value = 3.0}, Value{.value = 4.5}, Value{.value = 1e160}, Value{.value = 2.0}});
    const auto found = answer_question(question("x", "rig"), rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NE(found.left_out.at(0).why.find("no quantity is so large"), std::string::npos);
}

TEST(AnswerQuestion, leaving_out_by_the_outcome_itself_is_warned_of) {
    auto asked = question("x", "rig");
    asked.family = study::QuestionFamily::log_normal;
    const auto rows =
        cells_of({Value{.value = -1.0}, Value{.value = 2.0}, Value{.value = 3.5}, Value{.value = 2.5}});
    EXPECT_TRUE(warns(answer_question(asked, rows), "which the outcome itself has chosen"));
}

// Equal counts that vary less than Poisson's, but for rounding: there is no theta to look for.
TEST(AnswerCounts, equal_counts_on_both_rigs_have_a_ratio_of_one) {
    Observations rows("stretch", "stretches");
    for (std::size_t i = 0; i < 18; ++i) {
        const auto row = rows.add_row(fmt::format("s{}", i), "");
        rows.set(row, "rig", Word{i % 2 == 1 ? "treble" : "single"});
        rows.set(row, "bites", Value{.value = i / 2 < 3 ? 2.0 : 1.0});
        rows.set(row, "rod_hours", Value{.value = 6.0});
    }
    rows.column_of("bites").exposure = "rod_hours";
    const auto found = answer_question(question("bites", "rig"), rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NEAR(*found.effects[0].value, 1.0, 1e-9);
}

// A limit of 0.73 is not shown as 1, nor said to exclude what lies below 1.
TEST(AnswerSentence, a_limit_is_never_rounded_onto_no_difference) {
    const FoundNumber number{.name = "odds", .value = 3.41, .lower = 0.731, .upper = 18.1};
    const auto said =
        detail::effect_sentence(number, EffectScale::odds_ratio,
                                {.outcome = "landed", .higher_in = "on a", .than = "on b", .where = "Here"});
    EXPECT_NE(said.find("0.7 to 18"), std::string::npos) << said;
    EXPECT_NE(said.find("below 0.7"), std::string::npos) << said;
    EXPECT_EQ(detail::rounded(-3e-20, {.lower = -2.0, .upper = 2.0}), "0");
}

TEST(AnswerSentence, three_groups_begin_with_all_of_them) {
    Observations rows("fish", "fish");
    Random random(5);
    for (std::size_t i = 0; i < 60; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "river", Word{std::string(1, static_cast<char>('A' + i % 3))});
        rows.set(row, "x", Value{.value = (i % 3 == 2 ? 3.0 : 0.0) + random.normal()});
    }
    const auto found = answer_question(question("x", "river"), rows);
    EXPECT_NE(found.sentence.find("3 groups of river differ (p < 0.001"), std::string::npos)
        << found.sentence;
    EXPECT_NE(found.sentence.find("2 of their 3 pairs"), std::string::npos) << found.sentence;
    EXPECT_NE(found.sentence.find("with C than with"), std::string::npos) << found.sentence;
}

// A wide interval is never called an absence of an effect.
TEST(AnswerSentence, says_what_a_wide_interval_excludes) {
    const auto found = answer_question(question("peak", "rig"), made_fish(8, 21, 0.0));
    EXPECT_NE(found.sentence.find("stays open"), std::string::npos) << found.sentence;
    EXPECT_NE(found.sentence.find("It excludes more than"), std::string::npos) << found.sentence;
    EXPECT_EQ(found.sentence.find("no effect"), std::string::npos);
}

TEST(AnswerQuestion, says_why_it_cannot_be_answered) {
    const auto rows = made_fish(12, 4);
    EXPECT_NE(answer_question(question("peek", "rig"), rows).unanswered.find("did you mean \"peak\"?"),
              std::string::npos);
    EXPECT_NE(answer_question(question("peak", "rigg"), rows).unanswered.find("did you mean \"rig\"?"),
              std::string::npos);
    auto one_level = rows;
    for (std::size_t row = 1; row < rows.rows(); row += 2) {
        one_level.set(row, "peak", Absent{"lost"});
    }
    EXPECT_NE(
        answer_question(question("peak", "rig"), one_level).unanswered.find("rig is \"single\" for every"),
        std::string::npos);
    // Who was left out stands in the finding all the same.
    EXPECT_EQ(answer_question(question("peak", "rig"), one_level).left_out.size(), rows.rows() / 2);
    auto too_many = question("peak", "rig");
    too_many.adjust_for = {"mass_g", "fight_s", "fish"};
    EXPECT_NE(answer_question(too_many, rows).unanswered, "");
    EXPECT_NE(answer_question(question("peak", "rig"), Observations("fish", "fish")).unanswered, "");
}

TEST(AnswerQuestion, a_column_in_two_places_is_refused) {
    const auto refused = [](study::Question asked) {
        return answer_question(asked, made_fish(24, 3)).unanswered;
    };
    EXPECT_NE(refused(question("peak", "peak")).find("peak is the outcome and explains it too"),
              std::string::npos);
    auto asked = question("peak", "rig");
    asked.adjust_for = {"rig x log(peak)"};
    EXPECT_NE(refused(asked).find("peak is the outcome"), std::string::npos);
    asked.adjust_for = {"day"};
    asked.random = {"day"};
    EXPECT_NE(refused(asked).find("day is a random group and stands in adjust_for too"), std::string::npos);
    asked = question("peak", "day");
    asked.random = {"day"};
    EXPECT_NE(refused(asked).find("day is a random group and stands in compare too"), std::string::npos);
}

TEST(AnswerQuestion, rows_of_one_fish_taken_for_many_are_warned_of) {
    auto rows = made_fish(20, 3);
    Observations spells("spell", "spells");
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        for (const char* which : {"a", "b"}) {
            const auto spell = spells.add_row(rows.label(row) + which, rows.fish(row));
            for (const char* column : {"fish", "rig", "peak"}) {
                spells.set(spell, column, rows.column(column)->cells[row]);
            }
        }
    }
    auto asked = question("peak", "rig");
    EXPECT_TRUE(is_warned(answer_question(asked, spells), "40 rows come from 20 fish"));
    asked.random = {"fish"};
    EXPECT_FALSE(is_warned(answer_question(asked, spells), "rows come from"));
    asked.random = {};
    EXPECT_FALSE(is_warned(answer_question(asked, rows), "rows come from"));
}

TEST(AnswerMargin, that_cannot_be_judged_says_why) {
    auto asked = question("peak", "rig");
    asked.family = study::QuestionFamily::log_normal;
    asked.margin = 0.05;
    asked.better = study::BetterIs::lower;
    EXPECT_NE(answer_question(asked, made_fish(30, 8)).margin_text.find("above 1, such as 1.2"),
              std::string::npos);
    asked.compare = "day";
    asked.margin = 1.2;
    EXPECT_NE(answer_question(asked, made_fish(30, 8)).margin_text.find("needs one effect"),
              std::string::npos);
}

TEST(AnswerMargin, lands_on_the_side_that_the_limit_shows) {
    auto asked = question("peak", "rig");
    asked.margin = 60.0;
    asked.better = study::BetterIs::lower;
    auto found = answer_question(asked, made_fish(60, 8, 10.0));
    EXPECT_NE(found.margin_text.find("worse"), std::string::npos) << found.margin_text;
    EXPECT_NE(found.margin_text.find("margin of 60"), std::string::npos) << found.margin_text;
    // The one-sided 97.5 % limit is the end of the interval that is shown.
    EXPECT_NE(found.margin_text.find(
                  fmt::format("limit is {}.", detail::rounded(*found.effects[0].upper, found.effects[0]))),
              std::string::npos)
        << found.margin_text;
    asked.margin = 1.0;
    found = answer_question(asked, made_fish(60, 8, 40.0));
    EXPECT_NE(found.margin_text.find("worse by more than the margin"), std::string::npos)
        << found.margin_text;
}

// Holm's own rule on three p-values: the smallest three times, the next twice, never falling.
TEST(CorrectFamilies, by_holm_over_the_headlines_of_one_name) {
    std::vector<Finding> findings(4);
    const double p[] = {0.01, 0.04, 0.03, 0.02};
    for (std::size_t i = 0; i < 4; ++i) {
        findings[i].family_of_tests = i < 3 ? "rigs" : "";
        findings[i].effects.push_back({.name = "effect", .p = p[i]});
    }
    correct_families(findings);
    EXPECT_DOUBLE_EQ(*findings[0].effects[0].p_corrected, 0.03);
    EXPECT_DOUBLE_EQ(*findings[1].effects[0].p_corrected, 0.06);
    EXPECT_DOUBLE_EQ(*findings[2].effects[0].p_corrected, 0.06);
    EXPECT_FALSE(findings[3].effects[0].p_corrected);
    EXPECT_NE(findings[0].correction.find("over the 3 questions of \"rigs\"; intervals"), std::string::npos);
}

// A question that was asked counts, answered or not: 0.01 four times, 0.03 three times.
TEST(CorrectFamilies, count_a_question_without_an_answer_as_p_of_1) {
    std::vector<Finding> findings(4);
    for (auto& finding : findings) {
        finding.family_of_tests = "rigs";
    }
    findings[0].effects.push_back({.name = "effect", .p = 0.01});
    findings[2].effects.push_back({.name = "effect", .p = 0.03});
    findings[1].unanswered = findings[3].unanswered = "no fish was bled";
    correct_families(findings);
    EXPECT_DOUBLE_EQ(*findings[0].effects[0].p_corrected, 0.04);
    EXPECT_DOUBLE_EQ(*findings[2].effects[0].p_corrected, 0.09);
    EXPECT_NE(
        findings[0].correction.find("over the 4 questions of \"rigs\", of which 2 without an answer count as "
                                    "p = 1"),
        std::string::npos)
        << findings[0].correction;
    EXPECT_EQ(findings[1].correction, "");
}

} // namespace
} // namespace backeddy::findings
