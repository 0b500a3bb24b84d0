// What few, equal or one-sided rows do not say, and how it is told. All rows are invented; what must be said
// of them follows from how they were made. Fisher's p of 0 of 2 against 2 of 2 is 2 of the 6 tables with
// these margins, 1/3; the power of levels is checked against stats::n_for() of the standard deviation by
// hand.

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "findings/answer.hpp"
#include "stats/power.hpp"

namespace backeddy::findings {
namespace {

using ::testing::AllOf;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

constexpr double infinite = std::numeric_limits<double>::infinity();

study::Question question(std::string outcome, std::string compare) {
    study::Question out;
    out.name = "q";
    out.outcome = std::move(outcome);
    out.compare = std::move(compare);
    return out;
}

/// A row for each cell, the first half with "a", the second with "b".
Observations halves(const std::vector<Cell>& cells) {
    Observations rows("fish", "fish");
    for (std::size_t i = 0; i < cells.size(); ++i) {
        const auto name = fmt::format("st{:02}", i);
        const auto row = rows.add_row(name, name);
        rows.set(row, "rig", Word{2 * i < cells.size() ? "a" : "b"});
        rows.set(row, "y", cells[i]);
    }
    return rows;
}

Cell number(double value) {
    return Value{.value = value};
}

TEST(NoScatter, between_like_rows_is_refused) {
    auto asked = question("y", "rig");
    const auto found =
        answer_question(asked, halves({number(5), number(5), number(5), number(7), number(7), number(7)}));
    EXPECT_THAT(found.unanswered,
                HasSubstr("no scatter is left over in y: the model meets each of the 6 fish"));
    EXPECT_TRUE(found.effects.empty());
    asked.family = study::QuestionFamily::log_normal;
    EXPECT_THAT(
        answer_question(asked, halves({number(5), number(5), number(5), number(7), number(7), number(7)}))
            .unanswered,
        HasSubstr("no scatter is left over"));
    EXPECT_EQ(
        answer_question(asked, halves({number(5), number(5), number(5), number(7), number(7), number(7.001)}))
            .unanswered,
        "");
}

// ------------------------------------------------------------------------------- shares of few

TEST(SharesOfFew, of_which_the_exact_test_shows_nothing_have_no_direction) {
    auto asked = question("y", "rig");
    const auto rows = halves({Word{"yes"}, Word{"yes"}, Word{"no"}, Word{"no"}});
    const auto found = answer_question(asked, rows);
    ASSERT_EQ(found.unanswered, "");
    EXPECT_NEAR(*found.effects[0].p, 1.0 / 3.0, 1e-12);
    EXPECT_LT(*found.effects[0].upper, 0.0);
    EXPECT_THAT(found.sentence, AllOf(HasSubstr("Fisher's exact test does not tell the two apart (p = 0.33)"),
                                      HasSubstr("which is higher stays open"), Not(HasSubstr("lower with"))));
    EXPECT_THAT(found.warnings, Contains(HasSubstr("of 2 and 2 fish the interval excludes no difference")));
}

TEST(SharesOfFew, do_not_pass_a_margin_as_better_against_the_exact_test) {
    auto asked = question("y", "rig");
    asked.margin = 0.1;
    asked.better = study::BetterIs::lower;
    const auto found = answer_question(
        asked, halves({Word{"yes"}, Word{"yes"}, Word{"yes"}, Word{"no"}, Word{"no"}, Word{"no"}}));
    EXPECT_THAT(
        found.margin_text,
        AllOf(HasSubstr("one of 0.100 or higher is excluded"), Not(HasSubstr("better is shown")),
              HasSubstr("Whether it is better at all is not shown: the interval says so, Fisher's exact "
                        "test does not (p = 0.10)")));
}

TEST(SharesOfFew, are_no_worse_by_a_margin_against_the_exact_test_either) {
    auto asked = question("y", "rig");
    asked.margin = 0.1;
    asked.better = study::BetterIs::higher;
    const auto found = answer_question(
        asked, halves({Word{"yes"}, Word{"yes"}, Word{"yes"}, Word{"no"}, Word{"no"}, Word{"no"}}));
    EXPECT_THAT(found.margin_text, AllOf(HasSubstr("worse by more than the margin is not shown"),
                                         HasSubstr("does not even tell the two apart (p = 0.10)")));
}

// The alphabet makes "some" come after "none", and "none" after "many".
TEST(TwoWords, with_an_order_count_the_later) {
    auto asked = question("y", "rig");
    const std::vector<Cell> cells{Word{"many"}, Word{"many"}, Word{"none"},
                                  Word{"none"}, Word{"none"}, Word{"many"}};
    EXPECT_THAT(answer_question(asked, halves(cells)).sentence, HasSubstr("y = none"));
    asked.order = {"none", "many"};
    EXPECT_THAT(answer_question(asked, halves(cells)).sentence, HasSubstr("y = many"));
}

TEST(SharesOfMany, keep_their_direction) {
    std::vector<Cell> cells;
    for (int i = 0; i < 40; ++i) {
        cells.emplace_back(Word{i < 18 || i == 20 ? "yes" : "no"});
    }
    const auto found = answer_question(question("y", "rig"), halves(cells));
    EXPECT_THAT(found.sentence, AllOf(HasSubstr("lower with b"), Not(HasSubstr("stays open"))));
}

// ------------------------------------------------------------------------------- one side only

TEST(OneSide, of_a_whole_group_is_named_as_the_cause) {
    const Cell above = Within{.lower = 20.0, .upper = infinite};
    const auto found = answer_question(question("y", "rig"),
                                       halves({number(3), number(5), number(4.5), above, above, above}));
    EXPECT_THAT(found.unanswered, HasSubstr("all 3 fish with b are known on one side only"));
    EXPECT_THAT(
        answer_question(question("y", "rig"), halves({above, above, above, above, above, above})).unanswered,
        HasSubstr("all 6 rows are only known to lie above their limits"));
}

TEST(OneSide, of_more_than_half_of_one_group_is_warned_of) {
    const Cell above = Within{.lower = 8.0, .upper = infinite};
    const std::vector<Cell> cells{number(3), number(5),   number(4.5), number(6), number(2),
                                  above,     number(7.5), above,       above,     number(6.1)};
    const auto found = answer_question(question("y", "rig"), halves(cells));
    ASSERT_EQ(found.unanswered, "");
    EXPECT_THAT(found.warnings, Contains(HasSubstr("3 of 5 fish with b are known on one side only")));
    EXPECT_THAT(found.warnings, Not(Contains(HasSubstr("with a are known"))));
}

// ------------------------------------------------------------------------------- words

TEST(Words, where_a_number_belongs_are_told_as_words) {
    auto asked = question("y", "rig");
    asked.family = study::QuestionFamily::log_normal;
    const auto found = answer_question(
        asked, halves({number(3), Word{"3-5"}, number(4), number(5), number(4.4), number(6)}));
    ASSERT_EQ(found.left_out.size(), 1U);
    EXPECT_EQ(found.left_out[0].why, "y is \"3-5\", no number and no limit (such as 3, <3 or >5)");
}

TEST(Words, twice_in_an_order_are_refused) {
    auto asked = question("y", "rig");
    asked.order = {"none", "slight", "none"};
    const auto found =
        answer_question(asked, halves({Word{"none"}, Word{"slight"}, Word{"none"}, Word{"slight"}}));
    asked.family = study::QuestionFamily::ordinal;
    EXPECT_THAT(answer_question(asked, halves({Word{"none"}, Word{"slight"}, Word{"none"}, Word{"slight"}}))
                    .unanswered,
                HasSubstr("order names \"none\" twice"));
}

TEST(Words, that_differ_in_capitals_alone_are_warned_of) {
    auto rows = halves({number(3), number(5), number(4), number(6), number(7), number(6.5)});
    rows.set(1, "rig", Word{"A"});
    EXPECT_THAT(answer_question(question("y", "rig"), rows).warnings,
                Contains(HasSubstr("rig is written \"A\" and \"a\"")));
    EXPECT_THAT(
        answer_question(question("y", "rig"), halves({number(3), number(5), number(4), number(6)})).warnings,
        Not(Contains(HasSubstr("is written"))));
    // Yes and no are read however they are written.
    EXPECT_THAT(answer_question(question("y", "rig"), halves({Word{"Yes"}, Word{"yes"}, Word{"no"},
                                                              Word{"No"}, Word{"yes"}, Word{"no"}}))
                    .warnings,
                Not(Contains(HasSubstr("is written"))));
}

// ------------------------------------------------------------------------------- how many

/// 6 boats of 4 fish, each boat with one rig (`apart`) or both.
Observations boats(bool apart) {
    Random random(7);
    Observations rows("fish", "fish");
    for (std::size_t boat = 0; boat < 6; ++boat) {
        const double own = 6.0 * random.normal();
        for (std::size_t i = 0; i < 4; ++i) {
            const auto name = fmt::format("st{}{}", boat, i);
            const auto row = rows.add_row(name, name);
            rows.set(row, "boat", Word{fmt::format("boat {}", boat)});
            rows.set(row, "rig", Word{(apart ? boat : i) % 2 == 0 ? "a" : "b"});
            rows.set(row, "y", number(50.0 + own + 3.0 * random.normal()));
        }
    }
    return rows;
}

double spread(const Finding& found, const std::string& name) {
    for (const auto& each : found.spreads) {
        if (each.name == name) {
            return *each.value;
        }
    }
    return std::nan("");
}

TEST(EffectWanted, of_groups_that_levels_do_not_share_counts_levels) {
    auto asked = question("y", "rig");
    asked.random = {"boat"};
    asked.effect_wanted = 8.0;
    const auto found = answer_question(asked, boats(true));
    ASSERT_TRUE(found.plan);
    EXPECT_EQ(found.plan->counted, "levels of boat in each group");
    const double between = spread(found, "between boat");
    const double left = spread(found, "left over");
    ASSERT_GT(between, 0.0);
    const double sd = std::sqrt(between * between + left * left / 4.0);
    EXPECT_NEAR(*found.plan->scatter, sd, 1e-12);
    EXPECT_EQ(
        found.plan->sizes.at(0).n,
        stats::n_for(stats::MeansPlan{.compared = stats::Compared::two_groups, .effect = 8.0, .sd = sd}, 0.8)
            ->n);
    EXPECT_THAT(found.plan->text, Not(HasSubstr("has both groups")));
}

TEST(EffectWanted, of_groups_that_levels_share_counts_rows_and_of_some_refuses) {
    auto asked = question("y", "rig");
    asked.random = {"boat"};
    asked.effect_wanted = 8.0;
    const auto found = answer_question(asked, boats(false));
    ASSERT_TRUE(found.plan);
    EXPECT_EQ(found.plan->counted, "fish in each group");
    EXPECT_THAT(found.plan->text, HasSubstr("each boat has both groups (as 6 of 6 have here)"));
    auto mixed = boats(true);
    for (std::size_t row = 0; row < 12; row += 2) { // three of six boats
        mixed.set(row, "rig", Word{"a"});
        mixed.set(row + 1, "rig", Word{"b"});
    }
    const auto part = answer_question(asked, mixed);
    ASSERT_TRUE(part.plan);
    EXPECT_TRUE(part.plan->sizes.empty());
    EXPECT_THAT(part.plan->text,
                HasSubstr("of 6 levels of boat 3 hold several groups of rig and 3 one alone"));
}

TEST(EffectWanted, of_rows_of_the_same_fish_is_refused_without_the_fish) {
    Random random(3);
    Observations rows("spell", "spells");
    for (int i = 0; i < 40; ++i) {
        const auto fish = fmt::format("st{}", i / 5);
        const auto row = rows.add_row(fmt::format("{} {}", fish, i), fish);
        rows.set(row, "rig", Word{(i / 5) % 2 == 0 ? "a" : "b"});
        rows.set(row, "y", number(200.0 + 20.0 * random.normal()));
    }
    auto asked = question("y", "rig");
    asked.effect_wanted = 10.0;
    const auto found = answer_question(asked, rows);
    ASSERT_TRUE(found.plan);
    EXPECT_TRUE(found.plan->sizes.empty());
    EXPECT_THAT(found.plan->text, HasSubstr("40 spells come from 8 fish"));
}

TEST(Pairs, within_another_column_count_each_fish) {
    Random random(5);
    Observations rows("fish", "fish");
    for (int i = 0; i < 18; ++i) {
        const auto name = fmt::format("st{:02}", i);
        const auto row = rows.add_row(name, name);
        rows.set(row, "pair", Word{fmt::format("p{}", i / 2)});
        rows.set(row, "rig", Word{i % 2 == 0 ? "a" : "b"});
        rows.set(row, "y", number(10.0 + random.normal()));
    }
    auto asked = question("y", "rig");
    asked.within = "pair";
    asked.effect_wanted = 2.0;
    const auto found = answer_question(asked, rows);
    EXPECT_EQ(found.rows, 18U);
    EXPECT_EQ(found.fish, 18U);
    ASSERT_TRUE(found.plan && !found.plan->sizes.empty());
    const auto wanted = found.plan->sizes[0].n;
    EXPECT_THAT(found.plan->text, HasSubstr(wanted > 9 ? fmt::format("{} more than here", wanted - 9)
                                                       : std::string("no more than here")));
}

// ------------------------------------------------------------------------------- digits

TEST(Digits, of_what_is_not_nothing_are_never_0) {
    const FoundNumber odds{.name = "intercept", .value = 2.7e9, .lower = 3e-4, .upper = 3.3e22};
    EXPECT_EQ(value_text(odds), "more than 1000000");
    EXPECT_EQ(interval_text(odds), "0.0003 to more than 1000000");
    EXPECT_EQ(value_text({.name = "", .value = 3e-11, .lower = -5.0, .upper = 6.0}), "0")
        << "rounding's rest";
    EXPECT_EQ(value_text({.name = "", .value = -1.4e12, .lower = -9.6e12, .upper = 6.9e12}),
              "-1400000000000");
    const FoundNumber counted{.name = "", .value = 2.0e6, .lower = 1.9e6, .upper = 2.1e6};
    EXPECT_EQ(value_text(counted), "2000000") << "large, and known";
}

TEST(Digits, of_limits_stay_on_their_side_of_no_difference) {
    EXPECT_EQ(interval_text({.name = "", .value = 6.0, .lower = 0.88, .upper = 79.0, .is_ratio = true}),
              "0.9 to 79");
    EXPECT_EQ(interval_text({.name = "", .value = -20.0, .lower = -45.0, .upper = -0.2}), "-45 to -0.2");
}

} // namespace
} // namespace backeddy::findings
