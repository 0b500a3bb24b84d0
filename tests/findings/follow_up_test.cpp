// "No" of a thing that may still come holds as far as anybody looked. All rows are invented.

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "findings/answer.hpp"

namespace backeddy::findings {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

// 12 fish of two rigs; every third died at 20 h, the others were last seen alive at `first`, or `second` for
// trebles.
Finding asked_of_followed(double first, double second) {
    Observations rows("fish", "fish");
    for (int i = 0; i < 12; ++i) {
        const auto name = fmt::format("st{:02}", i);
        const auto row = rows.add_row(name, name);
        rows.set(row, "rig", Word{i < 6 ? "single" : "treble"});
        rows.set(row, "died", Word{i % 3 == 0 ? "yes" : "no"});
    }
    auto& died = rows.column_of("died");
    died.negative = "alive when last seen";
    died.time_to_it = "death_h";
    for (int i = 0; i < 12; ++i) {
        died.followed_h.emplace_back(i % 3 == 0 ? 20.0 : i < 6 ? first : second);
    }
    study::Question question;
    question.name = "q";
    question.outcome = "died";
    question.compare = "rig";
    return answer_question(question, rows);
}

TEST(FollowUp, of_different_lengths_is_warned_of) {
    const auto found = asked_of_followed(24.0, 96.0);
    EXPECT_THAT(
        found.warnings,
        Contains(HasSubstr("fish were not followed equally long (died = no: alive when last seen, 24 to "
                           "96 h after capture, the longest followed 96 h)")));
    EXPECT_THAT(found.warnings, Contains(HasSubstr("ask outcome = \"death_h\"")));
}

TEST(FollowUp, that_ends_before_others_die_is_warned_of) {
    EXPECT_THAT(asked_of_followed(12.0, 12.0).warnings, Contains(HasSubstr("not followed equally long")));
}

TEST(FollowUp, of_one_length_is_told_and_no_more) {
    const auto found = asked_of_followed(24.0, 25.0);
    EXPECT_THAT(found.method, HasSubstr("died = no says: alive when last seen, 24 to 25 h after capture"));
    EXPECT_THAT(found.warnings, Not(Contains(HasSubstr("equally long"))));
}

} // namespace
} // namespace backeddy::findings
