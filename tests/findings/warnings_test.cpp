// What a reader must hear beside an answer, and how large numbers are told. All rows are invented; what they
// must be warned of follows from how they were made.

#include <algorithm>
#include <cmath>
#include <iterator>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "findings/answer.hpp"
#include "findings/detail/wording.hpp"

namespace backeddy::findings {
namespace {

using ::testing::AllOf;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

study::Question question(std::string outcome, std::string compare) {
    study::Question out;
    out.name = "q";
    out.outcome = std::move(outcome);
    out.compare = std::move(compare);
    return out;
}

const FoundCheck* check_named(const Finding& found, const std::string& name) {
    const auto at = std::ranges::find(found.checks, name, &FoundCheck::name);
    return at == found.checks.end() ? nullptr : &*at;
}

// ------------------------------------------------------------------------------- rows in time

// 10 fish of 20 spells in one stay each; what is left over goes on from one spell to the next by `goes_on`.
Observations watched_fish(double goes_on, std::uint64_t seed) {
    Random random(seed);
    Observations out("spell", "spells");
    for (int i = 0; i < 10; ++i) {
        const auto fish = fmt::format("st{:02}", i);
        const double own = 30.0 * random.normal();
        double left = random.normal();
        for (int spell = 0; spell < 20; ++spell) {
            left = goes_on * left + std::sqrt(1.0 - goes_on * goes_on) * random.normal();
            const auto row = out.add_row(fmt::format("{} {}", fish, spell), fish, fish + " stay");
            out.set(row, "fish", Word{fish});
            out.set(row, "hours", Value{.value = 0.25 * spell});
            out.set(row, "mo2", Value{.value = 200.0 + own - 2.0 * spell + 12.0 * left});
        }
    }
    out.describe("mo2", "uptake", "mg/kg/h", Stage::after);
    out.describe("hours", "time since capture", "h", Stage::before);
    return out;
}

TEST(RowsInTime, that_go_on_from_one_to_the_next_are_warned_of) {
    auto asked = question("mo2", "hours");
    asked.random = {"fish"};
    const auto going = answer_question(asked, watched_fish(0.7, 3));
    ASSERT_EQ(going.unanswered, "");
    const auto* check = check_named(going, "rows independent in time");
    ASSERT_NE(check, nullptr);
    EXPECT_EQ(check->verdict, FoundCheck::Verdict::doubtful);
    EXPECT_THAT(going.warnings,
                Contains(AllOf(HasSubstr("goes on from one spell to the next within a fish"),
                               HasSubstr("p and intervals are too small"), HasSubstr("hours within fish"))));
    const auto plain = answer_question(asked, watched_fish(0.0, 3));
    ASSERT_NE(check_named(plain, "rows independent in time"), nullptr);
    EXPECT_EQ(check_named(plain, "rows independent in time")->verdict, FoundCheck::Verdict::fine);
    EXPECT_THAT(plain.warnings, Not(Contains(HasSubstr("goes on from one"))));
}

// A comparison of fish is judged by the spread between them, whatever follows what within one.
TEST(RowsInTime, are_no_doubt_where_fish_are_compared_with_each_other) {
    auto rows = watched_fish(0.7, 3);
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        rows.set(row, "rig", Word{(row / 20) % 2 == 0 ? "single" : "treble"});
    }
    auto asked = question("mo2", "rig");
    asked.random = {"fish"};
    const auto found = answer_question(asked, rows);
    const auto* check = check_named(found, "rows independent in time");
    ASSERT_NE(check, nullptr);
    EXPECT_EQ(check->verdict, FoundCheck::Verdict::fine);
    EXPECT_THAT(check->text, HasSubstr("rig does not change within a fish"));
    EXPECT_THAT(found.warnings, Not(Contains(HasSubstr("goes on from one"))));
}

TEST(RowsInTime, are_not_told_to_do_what_is_done) {
    auto asked = question("mo2", "hours");
    asked.random = {"fish"};
    const auto text =
        check_named(answer_question(asked, watched_fish(0.9, 3)), "rows independent in time")->text;
    EXPECT_THAT(text, AllOf(HasSubstr("hours within fish"), Not(HasSubstr("log(hours) in adjust_for"))));
    asked.random = {"hours within fish"};
    const auto own =
        check_named(answer_question(asked, watched_fish(0.95, 3)), "rows independent in time")->text;
    EXPECT_THAT(own,
                AllOf(HasSubstr("ask of one number for each fish"), Not(HasSubstr("course of its own"))));
}

// ------------------------------------------------------------------------------- what is asked oddly

// 30 fish of two rigs with whatever a test adds.
Observations plain_fish() {
    Observations rows("fish", "fish");
    Random random(11);
    for (std::size_t i = 0; i < 30; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "mass_g", Value{.value = 500.0 + 900.0 * random.uniform()});
        rows.set(row, "x", Value{.value = 10.0 + random.normal()});
        rows.set(row, "boat", Value{.value = static_cast<double>(1 + i % 3)});
        rows.set(row, "score", Word{i % 3 == 0 ? "slight" : i % 3 == 1 ? "none" : "severe"});
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    rows.describe("mass_g", "mass", "g", Stage::before);
    return rows;
}

TEST(Order, that_nothing_follows_is_told) {
    auto asked = question("x", "rig");
    asked.order = {"1", "2", "3"};
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings,
                Contains(HasSubstr("order = [\"1\", \"2\", \"3\"] is passed over: x is answered as normal")));
}

TEST(Order, with_a_word_that_no_row_has_is_told) {
    auto asked = question("score", "rig");
    asked.order = {"none", "slight", "severe", "sevre"};
    const auto found = answer_question(asked, plain_fish());
    ASSERT_EQ(found.unanswered, "");
    EXPECT_THAT(found.warnings, Contains(HasSubstr("order names \"sevre\"")));
    asked.order.pop_back();
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings, Not(Contains(HasSubstr("order names"))));
}

TEST(Numbers, that_look_like_names_and_names_that_are_numbers_are_told) {
    auto asked = question("x", "boat");
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings,
                Contains(HasSubstr("boat holds the numbers 1, 2, 3 alone and is taken for a quantity")));
    asked = question("x", "rig");
    asked.random = {"mass_g"};
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings,
                Contains(HasSubstr("each of its 30 values is taken for a group of its own")));
    asked.random = {"boat"};
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings, Not(Contains(HasSubstr("group of its own"))));
}

TEST(Covariates, that_stand_in_the_model_twice_are_told) {
    auto asked = question("x", "rig");
    asked.adjust_for = {"mass_g", "log(mass_g)"};
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings,
                Contains(HasSubstr("mass_g and log(mass_g) both stand in the model")));
    asked.adjust_for = {"mass_g"};
    EXPECT_THAT(answer_question(asked, plain_fish()).warnings, Not(Contains(HasSubstr("both stand"))));
}

TEST(Covariates, that_are_too_many_for_the_rows_are_told) {
    Observations rows("fish", "fish");
    Random random(12);
    auto asked = question("x", "rig");
    for (std::size_t i = 0; i < 16; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "x", Value{.value = 10.0 + random.normal()});
        for (int column = 0; column < 11; ++column) {
            rows.set(row, fmt::format("c{}", column), Value{.value = random.normal()});
        }
    }
    for (int column = 0; column < 11; ++column) {
        asked.adjust_for.push_back(fmt::format("c{}", column));
    }
    EXPECT_THAT(answer_question(asked, rows).warnings, Contains(HasSubstr("16 rows for 13 coefficients")));
    asked.adjust_for = {"c0", "c1", "c2"};
    EXPECT_THAT(answer_question(asked, rows).warnings, Not(Contains(HasSubstr("coefficients"))));
}

// The normal model sent such rows to log_normal, which leaves zeros out and sends them back.
TEST(Advice, does_not_send_values_of_0_to_a_logarithm) {
    auto rows = plain_fish();
    rows.set(0, "x", Value{.value = 0.0});
    rows.set(1, "x", Value{.value = 60.0});
    const auto found = answer_question(question("x", "rig"), rows);
    EXPECT_THAT(found.warnings, Contains(AllOf(HasSubstr("residuals like"), HasSubstr("Mann-Whitney"))));
    EXPECT_THAT(found.warnings, Not(Contains(HasSubstr("log_normal"))));
}

TEST(Coefficients, say_whose_their_limits_are_beside_others_of_the_sentence) {
    auto rows = plain_fish();
    auto asked = question("score", "rig");
    asked.order = {"none", "slight", "severe"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_THAT(found.method,
                HasSubstr("limits and p in the table of coefficients are Wald's, those of the effect "
                          "are not: interval by profile likelihood"));
    EXPECT_EQ(found.coefficients.at(0).method, "limits and p by Wald");
    EXPECT_THAT(answer_question(question("x", "rig"), rows).method, Not(HasSubstr("Wald")));
}

// ------------------------------------------------------------------------------- checks that fail

TEST(Checks, that_fail_stand_among_the_warnings) {
    Observations rows("fish", "fish");
    Random random(8);
    for (std::size_t i = 0; i < 40; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "x", Value{.value = 10.0 + random.normal() + (i == 7 ? 12.0 : 0.0)});
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    const auto found = answer_question(question("x", "rig"), rows);
    EXPECT_THAT(
        found.warnings,
        Contains(AllOf(HasSubstr("the check \"residuals like a normal distribution's\" asks for a look"),
                       HasSubstr("the farthest is st07"), HasSubstr("family = \"log_normal\""))));
    for (const auto& check : found.checks) {
        if (check.verdict == FoundCheck::Verdict::fine) {
            EXPECT_THAT(found.warnings, Not(Contains(HasSubstr("\"" + check.name + "\""))));
        }
    }
}

// Bites of two rigs in stretches of one hour.
Observations bites(const std::vector<double>& single, const std::vector<double>& treble) {
    Observations out("stretch", "stretches");
    for (const bool is_treble : {false, true}) {
        for (const double count : is_treble ? treble : single) {
            const auto row = out.add_row(fmt::format("s{}", out.rows()), "");
            out.set(row, "rig", Word{is_treble ? "treble" : "single"});
            out.set(row, "bites", Value{.value = count});
            out.set(row, "rod_hours", Value{.value = 1.0});
        }
    }
    out.column_of("bites").exposure = "rod_hours";
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

// Pearson's chi-squared about means of 4 and 5: (16 x 4 + 0) / 4 ... by hand, single 16 + 16 + 16 + 16 over 4
// = 16, treble 25 + 25 + 25 + 25 over 5 = 20, on 6 degrees of freedom: 6 times as much as Poisson's.
TEST(Rates, that_scatter_more_than_poissons_are_warned_of) {
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::poisson;
    const auto scattered = answer_question(asked, bites({0, 8, 0, 8}, {0, 10, 0, 10}));
    EXPECT_THAT(scattered.warnings, Contains(AllOf(HasSubstr("vary 6.00 times as much as Poisson's"),
                                                   HasSubstr("negative_binomial"))));
    const auto even = answer_question(asked, bites({3, 5, 4, 4}, {5, 5, 6, 4}));
    EXPECT_THAT(even.warnings, Not(Contains(HasSubstr("as much as Poisson's"))));
}

// ------------------------------------------------------------------------------- who is left out

TEST(Pairs, that_are_lost_in_an_adjusted_comparison_are_named) {
    Observations rows("event", "events");
    Random random(2);
    for (int i = 0; i < 12; ++i) {
        const auto fish = fmt::format("st{:02}", i);
        for (const char* after : {"capture", "chase"}) {
            if (i == 4 && after[1] == 'h') {
                continue; // st04 was never chased
            }
            const auto row = rows.add_row(fish + " after " + after, fish);
            rows.set(row, "fish", Word{fish});
            rows.set(row, "after", Word{after});
            rows.set(row, "temperature_c", Value{.value = 9.0 + random.uniform()});
            rows.set(row, "peak", Value{.value = 400.0 + 10.0 * i + 5.0 * random.normal()});
        }
    }
    auto asked = question("peak", "after");
    asked.within = "fish";
    asked.adjust_for = {"temperature_c"};
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(found.rows, 22U);
    ASSERT_EQ(found.left_out.size(), 1U);
    EXPECT_EQ(found.left_out[0].row, "st04 after capture");
    EXPECT_EQ(found.left_out[0].why, "st04 is there under capture only: no pair");
}

// 24 fish on two rigs, `known` of them measured.
Observations measured_fish(std::size_t known) {
    Observations rows("fish", "fish");
    Random random(6);
    for (std::size_t i = 0; i < 24; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "x", i < known ? Cell(Value{.value = 10.0 + random.normal()}) : Cell(Absent{"torn"}));
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    return rows;
}

// Any model: of fish that are there under one level a comparison within fish tells nothing.
Observations scored_events(bool is_scored) {
    Observations rows("event", "events");
    Random random(2);
    for (int i = 0; i < 14; ++i) {
        const auto fish = fmt::format("st{:02}", i);
        for (const char* after : {"capture", "chase"}) {
            if (i < 3 && after[1] == 'h') {
                continue; // three were never chased
            }
            const auto row = rows.add_row(fish + " after " + after, fish);
            rows.set(row, "fish", Word{fish});
            rows.set(row, "after", Word{after});
            const auto value = random.below(4);
            rows.set(row, "y",
                     is_scored ? Cell(Word{fmt::format("{}", "abcd"[value])})
                               : Cell(Value{.value = static_cast<double>(value)}));
        }
    }
    return rows;
}

TEST(Pairs, that_are_lost_are_named_whatever_the_model) {
    auto scores = question("y", "after");
    scores.within = "fish";
    scores.order = {"a", "b", "c", "d"};
    auto counts = scores;
    counts.order.clear();
    counts.family = study::QuestionFamily::poisson;
    for (const auto& found :
         {answer_question(scores, scored_events(true)), answer_question(counts, scored_events(false))}) {
        EXPECT_EQ(found.rows, 22U) << found.family;
        ASSERT_EQ(found.left_out.size(), 3U) << found.family;
        EXPECT_EQ(found.left_out[2].why, "st02 is there under capture only: no pair");
    }
}

TEST(Pairs, that_are_half_enter_by_a_random_group_and_are_named) {
    auto asked = question("y", "after");
    asked.random = {"fish"};
    asked.family = study::QuestionFamily::normal;
    const auto found = answer_question(asked, scored_events(false));
    EXPECT_EQ(found.rows, 25U);
    EXPECT_THAT(found.warnings,
                Contains(HasSubstr("3 of 14 fish are there under one level of after only (st00, "
                                   "st01, st02)")));
}

TEST(Told, of_cells_that_take_part_is_warned_of_once) {
    auto rows = measured_fish(23);
    rows.tell(0, "rig", "st00 was met more than once");
    rows.tell(1, "rig", "st00 was met more than once");
    rows.tell(2, "rig", "st02 was met more than once");
    rows.tell(23, "rig", "st23 was met more than once"); // not measured
    rows.tell(3, "beside", "of a column that nobody asks of");
    const auto found = answer_question(question("x", "rig"), rows);
    std::vector<std::string> told;
    std::ranges::copy_if(found.warnings, std::back_inserter(told), [](const std::string& text) {
        return text.starts_with("st") || text.starts_with("of a column");
    });
    EXPECT_THAT(told, testing::ElementsAre("st00 was met more than once", "st02 was met more than once"));
}

TEST(LeftOut, words_among_numbers_are_warned_of_as_limits) {
    auto rows = measured_fish(24);
    rows.set(0, "x", Word{"<LOD"});
    rows.set(1, "x", Word{"n.d."});
    const auto found = answer_question(question("x", "rig"), rows);
    EXPECT_THAT(found.warnings,
                Contains(AllOf(HasSubstr("2 of 24 rows are left out because x holds a word there (\"<LOD\", "
                                         "\"n.d.\")"),
                               HasSubstr("written <0.3"))));
    EXPECT_THAT(answer_question(question("x", "rig"), measured_fish(23)).warnings,
                Not(Contains(HasSubstr("holds a word"))));
}

TEST(LeftOut, a_large_share_is_warned_of) {
    EXPECT_THAT(answer_question(question("x", "rig"), measured_fish(14)).warnings,
                Contains(HasSubstr("10 of 24 rows are left out: see why")));
    EXPECT_THAT(answer_question(question("x", "rig"), measured_fish(18)).warnings,
                Not(Contains(HasSubstr("are left out"))));
}

// ------------------------------------------------------------------------------- scores and counts

// 30 fish, the outcome's cells in turn.
Observations graded(const std::vector<Cell>& cells) {
    Observations rows("fish", "fish");
    for (std::size_t i = 0; i < 30; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "mark", cells[(i * i + i / 3) % cells.size()]);
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    return rows;
}

TEST(Family, few_whole_numbers_are_numbers_with_a_warning) {
    const auto rows =
        graded({Value{.value = 1.0}, Value{.value = 2.0}, Value{.value = 3.0}, Value{.value = 4.0}});
    auto asked = question("mark", "rig");
    const auto plain = answer_question(asked, rows);
    EXPECT_EQ(plain.family, "normal");
    EXPECT_THAT(
        plain.warnings,
        Contains(AllOf(HasSubstr("mark holds whole numbers alone (1, 2, 3, 4), as scores and counts do"),
                       HasSubstr("family = \"ordinal\" (with order = [\"1\", \"2\", \"3\", \"4\"]"),
                       HasSubstr("family = \"negative_binomial\""))));
    asked.family = study::QuestionFamily::normal; // as the warning says: then it is meant so
    EXPECT_THAT(answer_question(asked, rows).warnings, Not(Contains(HasSubstr("whole numbers alone"))));
    asked.family = study::QuestionFamily::ordinal;
    asked.order = {"4", "3", "2", "1"};
    EXPECT_EQ(answer_question(asked, rows).scores, asked.order);
    const auto measured = graded({Value{.value = 1.5}, Value{.value = 2.0}, Value{.value = 3.25}});
    EXPECT_THAT(answer_question(question("mark", "rig"), measured).warnings,
                Not(Contains(HasSubstr("whole numbers alone"))));
}

// Two of the scale's words are scores as all of them are, in the scale's order and not in the alphabet's.
TEST(Family, words_of_a_scale_are_scores_however_few_are_there) {
    auto rows = graded({Word{"moderate"}, Word{"heavy"}, Word{"heavy"}});
    rows.column_of("mark").levels = {"none", "slight", "moderate", "heavy"};
    const auto found = answer_question(question("mark", "rig"), rows);
    EXPECT_EQ(found.family, "ordinal");
    EXPECT_EQ(found.unanswered, "");
}

// ------------------------------------------------------------------------------- large ratios and margins

TEST(Ratios, beyond_a_thousand_are_told_as_that) {
    const FoundNumber huge{
        .name = "odds", .value = 13412.3, .lower = 20.4, .upper = 8975772.0, .is_ratio = true};
    EXPECT_EQ(value_text(huge), "more than 1000");
    EXPECT_EQ(interval_text(huge), "20 to more than 1000");
    const detail::EffectWords words{
        .outcome = "landed", .higher_in = "on a", .than = "on b", .where = "Here"};
    EXPECT_EQ(
        detail::effect_sentence(huge, EffectScale::odds_ratio, words),
        "Here the odds of landed are more than 1000 times as high on a as on b (95 % interval 20 to more "
        "than 1000).");
    const FoundNumber open{
        .name = "odds", .value = 40.0, .lower = 0.00002, .upper = 897577.0, .is_ratio = true};
    const auto said = detail::effect_sentence(open, EffectScale::odds_ratio, words);
    EXPECT_THAT(said,
                HasSubstr("(95 % interval less than 0.001 to more than 1000): which is higher stays open."));
    EXPECT_THAT(said, Not(HasSubstr("excludes"))); // nothing that anybody could picture
    const FoundNumber rate{.name = "mass", .value = 4312.0, .lower = 4100.0, .upper = 4500.0, .unit = "g"};
    EXPECT_EQ(value_text(rate), "4312");
}

// No ratio lies below 0: a lower limit of none excludes nothing.
TEST(Ratios, exclude_nothing_below_0) {
    const FoundNumber number{.name = "odds", .value = 2.0, .lower = 0.0, .upper = 9.0, .is_ratio = true};
    const auto said =
        detail::effect_sentence(number, EffectScale::odds_ratio,
                                {.outcome = "landed", .higher_in = "on a", .than = "on b", .where = "Here"});
    EXPECT_THAT(said, HasSubstr("It excludes ratios above 9."));
    EXPECT_THAT(said, Not(HasSubstr("below 0")));
}

// Worse by more than the margin is shown by the limit on the other side, and it is that limit which is told.
TEST(Margin, that_is_passed_is_shown_by_the_nearer_limit) {
    Observations rows("fish", "fish");
    Random random(12);
    for (std::size_t i = 0; i < 60; ++i) {
        const auto row = rows.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "x", Value{.value = 100.0 + (i % 2 == 0 ? 0.0 : 40.0) + 10.0 * random.normal()});
    }
    rows.describe("rig", "rig", "", Stage::assigned);
    auto asked = question("x", "rig");
    asked.margin = 5.0;
    asked.better = study::BetterIs::lower;
    const auto found = answer_question(asked, rows);
    const auto& effect = found.effects.at(0);
    EXPECT_THAT(found.margin_text,
                AllOf(HasSubstr("worse by more than the margin"),
                      HasSubstr(fmt::format("limit is {}.", detail::rounded(*effect.lower, effect)))));
}

// ------------------------------------------------------------------------------- values beyond limits in
// pairs

// Excess after capture and after chase of the same fish, a share of it only known to be more, fish far apart.
Observations paired_excess(int fish, double open_share, std::uint64_t seed) {
    Random random(seed);
    Observations rows("event", "events");
    for (int i = 0; i < fish; ++i) {
        const auto name = fmt::format("st{:02}", i);
        const double own = 300.0 * random.normal();
        for (const bool is_chase : {false, true}) {
            const auto row = rows.add_row(name + (is_chase ? " chase" : " capture"), name);
            const double value = 500.0 + own + (is_chase ? 80.0 : 0.0) + 60.0 * random.normal();
            rows.set(row, "fish", Word{name});
            rows.set(row, "after", Word{is_chase ? "chase" : "capture"});
            rows.set(row, "excess",
                     random.uniform() < open_share
                         ? Cell(Within{
                               .lower = value, .upper = std::numeric_limits<double>::infinity(), .at = value})
                         : Cell(Value{.value = value}));
        }
    }
    rows.describe("excess", "excess uptake", "mg/kg", Stage::after);
    return rows;
}

// These fish were not answered: with 15 nodes the likelihood's value and its slopes part, and no step was the
// last.
TEST(PairsBeyondLimits, of_fish_that_lie_far_apart_are_answered) {
    auto asked = question("excess", "after");
    asked.within = "fish";
    for (const std::uint64_t seed : {6, 11}) {
        const auto found = answer_question(asked, paired_excess(24, 0.5, seed));
        ASSERT_EQ(found.unanswered, "") << seed;
        const auto& effect = found.effects.at(0);
        ASSERT_TRUE(effect.value && effect.lower && effect.upper) << seed;
        EXPECT_LT(*effect.lower, 80.0) << seed;
        EXPECT_GT(*effect.upper, 80.0) << seed;
        EXPECT_LT(*effect.upper - *effect.lower, 300.0) << seed; // differences of fish scatter by 85
    }
}

TEST(PairsBeyondLimits, of_which_too_few_are_known_name_that_as_the_cause) {
    auto asked = question("excess", "after");
    asked.within = "fish";
    const auto said = answer_question(asked, paired_excess(6, 0.8, 6)).unanswered;
    EXPECT_THAT(said, AllOf(HasSubstr("of 12 values of excess uptake only 2 are known"),
                            HasSubstr("ask without fish")));
}

// ------------------------------------------------------------------------------- models by simulation

// 12 days of 6 hooked fish; all of one rig landed where `is_parted`.
Observations hooked(bool is_parted, std::uint64_t seed) {
    Random random(seed);
    Observations out("bite", "bites");
    for (std::size_t i = 0; i < 72; ++i) {
        const auto row = out.add_row(fmt::format("b{}", i), "");
        const bool is_treble = i % 2 == 1;
        out.set(row, "rig", Word{is_treble ? "treble" : "single"});
        out.set(row, "day", Word{fmt::format("day {:02}", i / 6)});
        out.set(row, "landed", Word{(is_treble && is_parted) || random.uniform() < 0.5 ? "yes" : "no"});
    }
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

TEST(MixedShares, that_are_parted_say_how_to_ask_instead) {
    auto asked = question("landed", "rig");
    asked.random = {"day"};
    const auto found = answer_question(asked, hooked(true, 3));
    EXPECT_THAT(found.unanswered,
                AllOf(HasSubstr("part"),
                      HasSubstr("ask without random: Firth's penalty then keeps the ratio finite")));
}

TEST(Simulation, tells_how_far_it_is_and_answers_the_same_on_any_number_of_threads) {
    auto asked = question("landed", "rig");
    asked.random = {"day"};
    std::vector<std::size_t> told;
    std::size_t of = 0;
    const auto one =
        answer_question(asked, hooked(false, 3),
                        {.threads = {.count = 1}, .simulated = [&](std::size_t done, std::size_t total) {
                             told.push_back(done);
                             of = total;
                         }});
    ASSERT_EQ(one.unanswered, "");
    EXPECT_EQ(of, 400U);
    ASSERT_EQ(told.size(), 400U);
    EXPECT_EQ(told.front(), 1U);
    EXPECT_EQ(told.back(), 400U);
    const auto two = answer_question(asked, hooked(false, 3), {.threads = {.count = 2}});
    EXPECT_EQ(one.effects[0].p, two.effects[0].p);
    EXPECT_EQ(one.effects[0].upper, two.effects[0].upper);
}

TEST(Rows, that_say_the_same_to_a_question_are_known) {
    const auto asked = question("x", "rig");
    const auto rows = measured_fish(20);
    EXPECT_TRUE(is_same_to(asked, rows, measured_fish(20)));
    EXPECT_FALSE(is_same_to(asked, rows, measured_fish(19)));
    auto other = measured_fish(20);
    other.set(3, "beside", Value{.value = 1.0}); // a column that nobody asks of
    EXPECT_TRUE(is_same_to(asked, rows, other));
    auto adjusted = asked;
    adjusted.adjust_for = {"log(beside)"};
    EXPECT_FALSE(is_same_to(adjusted, rows, other));
}

} // namespace
} // namespace backeddy::findings
