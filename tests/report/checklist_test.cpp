#include "report/checklist.hpp"

#include <algorithm>
#include <set>

#include <gmock/gmock.h>

#include "report/invented_study.hpp"
#include "report/methods.hpp"

namespace backeddy::report {
namespace {

const ChecklistRow& row(const std::vector<ChecklistRow>& rows, std::string_view word) {
    return *std::ranges::find(rows, word, &ChecklistRow::word);
}

TEST(Checklist, has_the_53_numbered_rows_once_each_in_order_and_our_own) {
    const auto rows = checklist({});
    std::uint32_t next = 1;
    std::set<std::string> words;
    for (const ChecklistRow& each : rows) {
        EXPECT_TRUE(words.insert(each.word).second) << each.word << " twice";
        if (each.number) {
            EXPECT_EQ(*each.number, next);
            ++next;
        }
    }
    EXPECT_EQ(next, 54U);
    EXPECT_GT(rows.size(), 53U);
}

TEST(Checklist, of_an_empty_study_claims_only_what_the_program_always_does) {
    for (const ChecklistRow& each : checklist({})) {
        const std::set<std::string> always{"left_out", "r_squared_dropped", "peak_search",
                                           "scope",    "calculation",       "fish_volume"};
        EXPECT_EQ(each.state == AnswerState::answered, always.contains(each.word))
            << each.word << ": " << each.answer;
    }
}

TEST(Checklist, fills_rows_from_the_results) {
    const auto rows = checklist(invented_study({.fish = 6, .night_h = 13.0}));
    EXPECT_EQ(row(rows, "body_mass").state, AnswerState::answered);
    EXPECT_THAT(row(rows, "body_mass").answer, testing::HasSubstr("6 fish"));
    EXPECT_THAT(row(rows, "permit").answer, testing::HasSubstr("SV-2026-01"));
    EXPECT_EQ(row(rows, "light").state, AnswerState::unanswered);
}

TEST(Checklist, takes_answers_by_hand_and_knows_what_is_not_applicable) {
    const auto rows = checklist(invented_study({.fish = 1, .night_h = 12.0}));
    EXPECT_EQ(row(rows, "mixing").answer, "loop pump, 11 L/min, on throughout");
    EXPECT_EQ(row(rows, "mixing").filled_from, "answered by hand");
    EXPECT_EQ(row(rows, "fish_sharing_water").state, AnswerState::not_applicable);
}

TEST(Methods, carry_the_settings_of_the_run) {
    const auto paragraphs = methods_text(invented_study({.fish = 1, .night_h = 1.0}));
    const auto peak = std::ranges::find(paragraphs, "Peak uptake", &Paragraph::title);
    ASSERT_NE(peak, paragraphs.end());
    EXPECT_THAT(peak->text, testing::HasSubstr("window_s = 60 s"));
}

} // namespace
} // namespace backeddy::report
