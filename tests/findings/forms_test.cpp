// The form of the distribution under an answer whose values are known in part, beside the others that there
// are.

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "findings/answer.hpp"

namespace backeddy::findings {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;
using testing::Not;

study::Question question(const char* outcome, study::QuestionFamily family) {
    study::Question out;
    out.name = "q";
    out.outcome = outcome;
    out.compare = "rig";
    out.family = family;
    return out;
}

// 80 fish of two rigs; `made` makes a value of a number drawn evenly from 0 to 1. What lies above `limit` is
// only known to.
template <typename Made>
Observations fish_of(Made made, double limit) {
    Observations out("fish", "fish");
    Random random(21);
    for (std::size_t i = 0; i < 80; ++i) {
        const auto row = out.add_row(fmt::format("st{:02}", i), fmt::format("st{:02}", i));
        const double value = (i % 2 == 0 ? 1.0 : 1.1) * made(random.uniform());
        out.set(row, "rig", Word{i % 2 == 0 ? "single" : "treble"});
        out.set(row, "y",
                value < limit
                    ? Cell(Value{.value = value})
                    : Cell(Within{.lower = limit, .upper = std::numeric_limits<double>::infinity()}));
    }
    out.describe("rig", "rig", "", Stage::assigned);
    return out;
}

// A Weibull of shape 3 leans to the low side, which no log-normal does: its logarithm is skewed.
double weibull(double share) {
    return 10.0 * std::pow(-std::log(1.0 - share), 1.0 / 3.0);
}
// A logarithm of standard deviation 1 (by the logistic's quantile, near enough for a lean to the high side).
double log_normal(double share) {
    return 3.0 * std::exp(std::log(share / (1.0 - share)) / 1.7);
}

const FoundCheck& form_check(const Finding& found) {
    const auto at =
        std::ranges::find(found.checks, std::string("form of the distribution"), &FoundCheck::name);
    EXPECT_NE(at, found.checks.end()) << found.unanswered;
    static const FoundCheck none;
    return at == found.checks.end() ? none : *at;
}

TEST(Form, of_times_that_another_meets_far_better_is_warned_of) {
    const auto found = answer_question(question("y", study::QuestionFamily::time), fish_of(weibull, 20.0));
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(form_check(found).verdict, FoundCheck::Verdict::doubtful);
    EXPECT_THAT(form_check(found).text,
                AllOf(HasSubstr("the Weibull form fits far better"), HasSubstr("AIC log-normal "),
                      HasSubstr("Burnham and Anderson 2002"), HasSubstr("stands among the tests")));
    EXPECT_THAT(found.warnings, Contains(HasSubstr("the check \"form of the distribution\" fails")));
}

TEST(Form, of_times_that_meets_them_is_fine_and_gives_the_others) {
    const auto found = answer_question(question("y", study::QuestionFamily::time), fish_of(log_normal, 20.0));
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(form_check(found).verdict, FoundCheck::Verdict::fine);
    EXPECT_THAT(form_check(found).text, AllOf(HasSubstr("log-normal "), HasSubstr("Weibull "),
                                              HasSubstr("log-logistic "), HasSubstr("no other form")));
}

TEST(Form, of_values_beyond_a_limit_says_which_family_to_ask_with) {
    const auto found =
        answer_question(question("y", study::QuestionFamily::normal), fish_of(log_normal, 40.0));
    ASSERT_EQ(found.unanswered, "");
    EXPECT_EQ(form_check(found).verdict, FoundCheck::Verdict::doubtful);
    EXPECT_THAT(form_check(found).text, HasSubstr("ask with family = \"log_normal\""));
    auto with_zero = fish_of(log_normal, 40.0);
    with_zero.set(0, "y", Value{.value = 0.0});
    const auto plain = answer_question(question("y", study::QuestionFamily::normal), with_zero);
    ASSERT_EQ(plain.unanswered, "");
    EXPECT_THAT(plain.warnings, Not(Contains(HasSubstr("log_normal")))) << "0 has no logarithm";
}

} // namespace
} // namespace backeddy::findings
