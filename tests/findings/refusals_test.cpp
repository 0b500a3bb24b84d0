// Questions that are asked wrongly: what is said, word for word where the words are what helps.

#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "findings/answer.hpp"

namespace backeddy::findings {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

study::Question question(std::string outcome, std::string compare, std::vector<std::string> adjust = {}) {
    study::Question out;
    out.name = "q";
    out.outcome = std::move(outcome);
    out.compare = std::move(compare);
    out.adjust_for = std::move(adjust);
    return out;
}

// 48 fish of two rigs, two sites, two boats and four rivers (two in each site).
Observations fish_of_sites(std::uint64_t seed = 4) {
    Random random(seed);
    Observations out("fish", "fish");
    for (std::size_t i = 0; i < 48; ++i) {
        const auto name = fmt::format("st{:02}", i);
        const auto row = out.add_row(name, name);
        out.set(row, "fish", Word{name});
        out.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        out.set(row, "site", Word{(i / 2) % 2 == 0 ? "lower" : "upper"});
        out.set(row, "boat2", Word{(i / 4) % 2 == 0 ? "red" : "blue"});
        out.set(row, "river", Word{fmt::format("{} {}", (i / 2) % 2 == 0 ? "lower" : "upper", (i / 8) % 2)});
        out.set(row, "mass_g", Value{.value = 500.0 + 900.0 * random.uniform()});
        out.set(row, "salt x lime", Value{.value = random.uniform()});
        out.set(row, "peak", Value{.value = 400.0 + 30.0 * random.normal()});
    }
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

std::string refused(const study::Question& asked) {
    return answer_question(asked, fish_of_sites()).unanswered;
}

TEST(Refusal, of_an_interaction_without_its_columns_says_what_to_write) {
    EXPECT_THAT(refused(question("peak", "rig", {"site x boat2"})),
                AllOf(HasSubstr("adjust_for has \"site x boat2\" without site and boat2 by themselves"),
                      HasSubstr("write adjust_for = [\"site\", \"boat2\", \"site x boat2\"]")));
    EXPECT_THAT(refused(question("peak", "rig", {"mass_g", "mass_g x site"})),
                HasSubstr("write adjust_for = [\"site\", \"mass_g\", \"mass_g x site\"]"));
    EXPECT_EQ(refused(question("peak", "rig", {"site", "boat2", "site x boat2"})), "");
    // A slope of mass in each rig: the same model with mass by itself or without.
    const auto nested = answer_question(question("peak", "rig", {"rig x mass_g"}), fish_of_sites());
    const auto whole = answer_question(question("peak", "rig", {"mass_g", "rig x mass_g"}), fish_of_sites());
    ASSERT_EQ(nested.unanswered, "");
    EXPECT_NEAR(*nested.effects[0].value, *whole.effects[0].value, 1e-6);
}

TEST(Refusal, of_words_within_words_says_how_groups_in_groups_are_written) {
    auto asked = question("peak", "rig");
    asked.random = {"river within site"};
    EXPECT_THAT(refused(asked), AllOf(HasSubstr("\"river within site\", and river holds words"),
                                      HasSubstr("write random = [\"site\", \"river\"]")));
    EXPECT_THAT(refused(question("peak", "rig", {"river within site"})),
                HasSubstr("\"within\" stands in random alone; for river that lie in site write random = "
                          "[\"site\", \"river\"]"));
}

TEST(Refusal, of_a_logarithm_of_words) {
    EXPECT_THAT(
        refused(question("peak", "rig", {"log(site)"})),
        AllOf(HasSubstr("adjust_for = \"log(site)\", and site holds words"), HasSubstr("write \"site\"")));
    EXPECT_THAT(refused(question("peak", "log(site)")),
                HasSubstr("compare = \"log(site)\", and site holds words"));
    EXPECT_THAT(refused(question("log(peak)", "rig")),
                HasSubstr("write outcome = \"peak\" and family = \"log_normal\""));
}

TEST(Refusal, of_a_comparison_within_fish_that_are_there_once_names_what_is_missing) {
    auto asked = question("peak", "rig");
    asked.within = "fish";
    const auto said = AllOf(HasSubstr("no fish has both single and treble: nothing to compare within fish"),
                            HasSubstr("leave out within"));
    EXPECT_THAT(refused(asked), said);
    for (const auto family : {study::QuestionFamily::log_normal, study::QuestionFamily::poisson,
                              study::QuestionFamily::time, study::QuestionFamily::negative_binomial}) {
        asked.family = family;
        EXPECT_THAT(refused(asked), said) << static_cast<int>(family);
    }
    asked = question("peak", "boat2");
    asked.within = "river";
    EXPECT_EQ(refused(asked), "") << "both boats on each river";
    asked = question("peak", "site");
    asked.within = "river";
    EXPECT_THAT(refused(asked), HasSubstr("no level of river has both lower and upper"));
    asked = question("peak", "mass_g");
    asked.within = "fish";
    EXPECT_THAT(refused(asked), HasSubstr("no fish has two values of mass_g"));
}

TEST(Refusal, of_a_reference_among_numbers) {
    auto asked = question("peak", "mass_g");
    asked.reference = "500";
    EXPECT_THAT(refused(asked), AllOf(HasSubstr("reference = \"500\", and mass_g holds numbers"),
                                      HasSubstr("take reference out")));
    asked.compare = "rig";
    asked.reference = "treble";
    EXPECT_EQ(refused(asked), "");
}

TEST(Refusal, of_a_name_gives_the_nearest_and_few_others) {
    auto rows = fish_of_sites();
    for (int i = 0; i < 70; ++i) {
        rows.set(0, fmt::format("own_{}", i), Value{.value = 1.0});
    }
    const auto said = answer_question(question("peak", "mass"), rows).unanswered;
    EXPECT_THAT(said, AllOf(HasSubstr("expected a column, such as mass_g, "), HasSubstr(" others"),
                            Not(HasSubstr("own_60"))));
    EXPECT_LT(said.size(), 400U);
}

TEST(Refusal, of_an_outcome_that_does_not_vary_names_its_column) {
    auto rows = fish_of_sites();
    for (std::size_t row = 0; row < rows.rows(); ++row) {
        rows.set(row, "depth_m", Value{.value = 4.0});
    }
    auto asked = question("depth_m", "rig");
    EXPECT_THAT(answer_question(asked, rows).unanswered,
                AllOf(HasSubstr("depth_m is 4 for each of the 48 fish"), HasSubstr("filled down")));
    asked.random = {"river"};
    EXPECT_THAT(answer_question(asked, rows).unanswered, HasSubstr("depth_m is 4 for each of the 48 fish"));
    asked.family = study::QuestionFamily::negative_binomial;
    EXPECT_THAT(answer_question(asked, rows).unanswered, HasSubstr("depth_m is 4 for each of the 48 fish"));
}

TEST(Refusal, of_a_word_for_each_row_names_its_column) {
    EXPECT_THAT(refused(question("peak", "fish")),
                AllOf(HasSubstr("fish is another word for each of the 48 fish"), HasSubstr("take fish out")));
    EXPECT_THAT(refused(question("peak", "rig", {"fish"})), HasSubstr("fish is another word for each"));
    // One long stretch of fishing by each of three rigs is a count that tells something.
    Observations rows("stretch", "stretches");
    for (const auto& [rig, bites] : {std::pair{"a", 21.0}, {"b", 40.0}, {"c", 18.0}}) {
        const auto row = rows.add_row(rig, "");
        rows.set(row, "rig", Word{rig});
        rows.set(row, "bites", Value{.value = bites});
        rows.set(row, "rod_hours", Value{.value = 100.0});
    }
    rows.column_of("bites").exposure = "rod_hours";
    auto asked = question("bites", "rig");
    asked.family = study::QuestionFamily::poisson;
    EXPECT_EQ(answer_question(asked, rows).unanswered, "");
}

// Four fish are few, and enough for Firth's penalty: each of its steps takes away but a share of what is
// left.
TEST(FewRows, of_yes_and_no_are_answered_with_firths_penalty) {
    Observations rows("fish", "fish");
    for (int i = 0; i < 4; ++i) {
        const auto row = rows.add_row(fmt::format("st{}", i), fmt::format("st{}", i));
        rows.set(row, "mass_g", Value{.value = 500.0 + 100.0 * i});
        rows.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        rows.set(row, "landed", Word{i < 2 ? "no" : "yes"});
    }
    for (const auto& asked : {question("landed", "mass_g"), question("landed", "rig", {"mass_g"})}) {
        const auto found = answer_question(asked, rows);
        ASSERT_EQ(found.unanswered, "") << asked.compare;
        EXPECT_TRUE(found.method.starts_with("Logistic model by penalised likelihood (Firth); "));
        EXPECT_TRUE(found.effects.at(0).value);
        EXPECT_TRUE(found.effects.at(0).lower || found.effects.at(0).upper);
    }
}

// A name that holds " x " is that column, alone and in an interaction.
TEST(ColumnNames, that_hold_a_cross_are_no_interactions) {
    const auto rows = fish_of_sites();
    const auto adjusted = answer_question(question("peak", "rig", {"salt x lime"}), rows);
    ASSERT_EQ(adjusted.unanswered, "");
    EXPECT_EQ(adjusted.model, "peak = rig + salt x lime");
    const auto compared = answer_question(question("peak", "salt x lime"), rows);
    ASSERT_EQ(compared.unanswered, "");
    EXPECT_THAT(compared.sentence, HasSubstr("for each 1 more of salt x lime"));
    const auto logged = answer_question(question("peak", "log(salt x lime)"), rows);
    ASSERT_EQ(logged.unanswered, "");
    const auto crossed = answer_question(question("peak", "rig", {"salt x lime", "rig x salt x lime"}), rows);
    ASSERT_EQ(crossed.unanswered, "");
    EXPECT_EQ(crossed.coefficients.size(), 4U); // intercept, rig, the column, and its slope's difference
}

} // namespace
} // namespace backeddy::findings
