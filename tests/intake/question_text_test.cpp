// A question in the brief's text: put in, changed and taken out, with all else as it was.

#include "intake/question_text.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"
#include "intake/brief.hpp"

namespace backeddy::intake {
namespace {

using testing::HasSubstr;
using testing::Not;

const char* const brief = "# Ours.\n"
                          "[study]\n"
                          "title = \"Ström und \\\"Fisch\\\"\" # Größe\n"
                          "\n"
                          "# why we ask\n"
                          "[[question]]\n"
                          "name = \"rig_peak\"   # short\n"
                          "ask = \"\"\"\n"
                          "[[question]]\n"
                          "name = \"no header\"\"\"\"\n"
                          "# of the outcome\n"
                          "outcome = \"peak_after_capture\"\n"
                          "compare = 'rig'\n"
                          "adjust_for = [\n"
                          "  \"log(mass_g)\", # ä ö ü\n"
                          "  \"unhooking\",\n"
                          "]  # both\n"
                          "random = [\"day\"]\n"
                          "\n"
                          "# of the peak\n"
                          "[peak]\n"
                          "window_s = 60\n"
                          "\n"
                          "[[question]]\n"
                          "name = \"second\"\n"
                          "outcome = \"resting\"\n"
                          "compare = \"rig\"\n";

const QuestionKeys second{{"name", "second"}, {"outcome", "resting"}, {"compare", "rig"}};

std::string text_of(const Expected<std::string>& text) {
    EXPECT_TRUE(text) << (text ? "" : text.error().text());
    return text ? *text : std::string();
}

study::Question only(const std::string& text) {
    const auto read = read_brief(text, "study.toml");
    EXPECT_EQ(read.brief.questions.size(), 1U) << text;
    return read.brief.questions.empty() ? study::Question() : read.brief.questions.front();
}

TEST(QuestionText, whatever_is_in_a_text_comes_back) {
    const std::string nasty = "a \"b\" \\ '''\n[[question]]\t# \x01 \x7f ä → \"\"\"";
    const auto question = only(question_text({{"name", "n"},
                                              {"ask", nasty},
                                              {"outcome", nasty},
                                              {"compare", "rig"},
                                              {"order", std::vector<std::string>{nasty, "]"}},
                                              {"margin", 0.25},
                                              {"effect_wanted", -0.25},
                                              {"better", "higher"},
                                              {"weigh_by_uncertainty", true},
                                              {"reference", study::SettingValue()}}));
    EXPECT_EQ(question.ask, nasty);
    EXPECT_EQ(question.outcome, nasty);
    EXPECT_EQ(question.order, (std::vector<std::string>{nasty, "]"}));
    EXPECT_EQ(question.margin, 0.25);
    EXPECT_EQ(question.effect_wanted, -0.25);
    EXPECT_TRUE(question.weigh_by_uncertainty);
}

TEST(QuestionText, random_texts_come_back_and_never_become_another_key) {
    Random random(7);
    const std::string alphabet = "ab\"\\'\n\r\t[]#={},. \x02";
    for (int i = 0; i < 300; ++i) {
        std::string text;
        for (std::uint64_t k = random.below(12); k > 0; --k) {
            text += alphabet[random.below(alphabet.size())];
        }
        const auto question = only(question_text({{"name", "n"}, {"outcome", text}, {"compare", "rig"}}));
        EXPECT_EQ(question.outcome, text);
        EXPECT_EQ(question.compare, "rig");
    }
}

TEST(QuestionText, a_key_that_is_none_is_a_complaint_and_no_other_line) {
    const auto read = read_brief(question_text({{"name", "n"}, {"x = 1\n[peak]", 2.0}}), "study.toml");
    EXPECT_EQ(read.brief.questions.size(), 1U);
    EXPECT_TRUE(std::ranges::any_of(read.complaints, [](const study::Complaint& complaint) {
        return complaint.error.place.column == "x = 1\n[peak]";
    }));
}

TEST(BriefWithQuestion, stands_at_the_end_under_its_remark) {
    const QuestionKeys keys{{"name", "new"}, {"outcome", "resting"}, {"compare", "rig"}};
    const auto text = text_of(with_question(brief, keys, "on 1 May\n[peak]\nby A. Keen"));
    EXPECT_EQ(text, std::string(brief) + "\n# Asked on the pages on 1 May [peak] by A. Keen\n" +
                        question_text(keys));
    EXPECT_EQ(text_of(without_question(text, "new")), brief) << "and out again it is as it was";
}

TEST(BriefWithQuestion, keeps_the_files_own_line_ends) {
    const auto text = text_of(with_question("[study]\r\ntitle = \"x\"", second, "today"));
    EXPECT_EQ(text, "[study]\r\ntitle = \"x\"\r\n\r\n# Asked on the pages today\r\n[[question]]\r\n"
                    "name = \"second\"\r\noutcome = \"resting\"\r\ncompare = \"rig\"\r\n");
}

TEST(BriefWithQuestion, is_refused_where_questions_are_written_otherwise) {
    const auto text =
        with_question("question = [{name = \"a\", outcome = \"b\", compare = \"c\"}]\n", second, "");
    ASSERT_FALSE(text);
    EXPECT_THAT(text.error().text(), HasSubstr("another form"));
    EXPECT_FALSE(with_question("[study\n", second, ""));
}

TEST(ChangedQuestion, leaves_what_says_the_same_as_it_is_written) {
    const QuestionKeys keys{{"name", "rig_peak"},
                            {"ask", "[[question]]\nname = \"no header\""},
                            {"outcome", "scope"},
                            {"compare", "rig"},
                            {"adjust_for", std::vector<std::string>{"log(mass_g)", "unhooking"}},
                            {"margin", 0.8},
                            {"better", "higher"}};
    const auto text = text_of(with_question_changed(brief, "rig_peak", keys));
    std::string wished = brief;
    const auto replace = [&](const std::string& from, const std::string& to) {
        wished.replace(wished.find(from), from.size(), to);
    };
    replace("outcome = \"peak_after_capture\"", "outcome = \"scope\"");
    replace("random = [\"day\"]\n", "margin = 0.8\nbetter = \"higher\"\n");
    EXPECT_EQ(text, wished);
}

TEST(ChangedQuestion, replaces_a_list_of_several_lines_whole) {
    auto keys = QuestionKeys{{"name", "renamed"},
                             {"outcome", "peak_after_capture"},
                             {"compare", "rig"},
                             {"adjust_for", std::vector<std::string>{"unhooking"}}};
    const auto text = text_of(with_question_changed(brief, "rig_peak", keys));
    EXPECT_THAT(text, HasSubstr("name = \"renamed\"   # short\n"));
    EXPECT_THAT(text, HasSubstr("adjust_for = [\"unhooking\"]  # both\n"));
    EXPECT_THAT(text, Not(HasSubstr("no header")));
    EXPECT_THAT(text, HasSubstr("# of the outcome\n"));
}

TEST(ChangedQuestion, of_a_name_that_is_not_there_is_refused) {
    const auto text = with_question_changed(brief, "rig_peek", second);
    ASSERT_FALSE(text);
    EXPECT_EQ(text.error().code, ErrorCode::unknown_name);
    EXPECT_FALSE(without_question(brief, "no header"));
}

TEST(QuestionTakenOut, takes_its_keys_and_nothing_else) {
    const auto text = text_of(without_question(brief, "rig_peak"));
    const std::string whole = brief;
    const auto from = whole.find("[[question]]\nname = \"rig_peak\"");
    const auto to = whole.find("\n# of the peak");
    EXPECT_EQ(text, whole.substr(0, from) + whole.substr(to));
    EXPECT_EQ(text_of(without_question(whole.substr(0, whole.size() - 1), "second")),
              whole.substr(0, whole.find("[[question]]\nname = \"second\"")))
        << "also without a line end";
}

} // namespace
} // namespace backeddy::intake
