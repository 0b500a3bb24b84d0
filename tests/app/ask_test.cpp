// A question that the brief does not hold gets the answer that the brief's would get.

#include "app/ask.hpp"

#include <algorithm>
#include <memory>

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/run.hpp"
#include "intake/question_text.hpp"
#include "report/json.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

using testing::Contains;
using testing::HasSubstr;

const char* const kept_question = "\n[[question]]\n"
                                  "name = \"vigour_by_rig\"\n"
                                  "outcome = \"vigour\"\n"
                                  "compare = \"rig\"\n"
                                  "family_of_tests = \"harm\"\n";

/// Twenty-four more fish that were met and not kept, with a number of their own.
test::StudyFiles many_fish() {
    auto files = test::small_study();
    files["fish.csv"] = "fish,species,mass_g,vigour\nT01,Salmo trutta,500,5\n";
    for (int i = 0; i < 24; ++i) {
        const bool is_treble = i % 2 == 1;
        files["fish.csv"] += fmt::format("F{:02},Salmo trutta,{},{}\n", i, 400 + (13 * i % 170),
                                         7.5 + (is_treble ? -2.0 : 0.0) + (0.3 * (i * 7 % 11)));
        files["encounters.csv"] += fmt::format("f{},F{:02},2026-06-{:02}T08:00:00Z,angling,{}\n", i, i,
                                               15 + (i % 5), is_treble ? "treble_hooks" : "single_hook");
    }
    files["study.toml"] += kept_question;
    return files;
}

/// Read and computed once for all tests: they look.
const StudyRun& run() {
    static const test::ScratchFolder folder("ask");
    static const auto answering = [] {
        test::write_all(folder, many_fish());
        return answer_study(folder.path(), false, {});
    }();
    if (!answering || !answering->study) {
        throw std::runtime_error("the study has no answer");
    }
    return *answering->study->run;
}

Tried tried(const intake::QuestionKeys& keys, const std::string& instead = {}) {
    return try_question(asked_study(run()), {.text = intake::question_text(keys), .instead = instead});
}

std::vector<std::string> keys_of(const std::vector<study::Complaint>& complaints) {
    std::vector<std::string> out;
    for (const auto& complaint : complaints) {
        out.push_back(complaint.error.place.column);
    }
    return out;
}

TEST(Ask, the_briefs_own_question_gets_its_own_answer_to_the_last_bit) {
    const auto again = tried(
        {{"name", "vigour_by_rig"}, {"outcome", "vigour"}, {"compare", "rig"}, {"family_of_tests", "harm"}},
        "vigour_by_rig");
    EXPECT_TRUE(again.complaints.empty());
    ASSERT_TRUE(again.finding);
    EXPECT_EQ(report::finding_text(*again.finding), report::finding_text(run().findings.front()));
    EXPECT_EQ(again.finding->fish, 25U);
    EXPECT_THAT(again.finding->sentence, HasSubstr("treble_hooks"));
}

TEST(Ask, another_question_of_a_family_is_corrected_with_it) {
    const auto more = tried(
        {{"name", "mass_by_rig"}, {"outcome", "mass_g"}, {"compare", "rig"}, {"family_of_tests", "harm"}});
    ASSERT_TRUE(more.finding);
    EXPECT_THAT(more.finding->correction, HasSubstr("2 questions"));
    EXPECT_EQ(more.finding->declared, findings::Declared::never);
    const auto instead = tried(
        {{"name", "mass_by_rig"}, {"outcome", "mass_g"}, {"compare", "rig"}, {"family_of_tests", "harm"}},
        "vigour_by_rig");
    EXPECT_THAT(instead.finding->correction, HasSubstr("1 question"));
}

TEST(Ask, what_is_wrong_is_told_at_its_key_with_the_nearest_name) {
    const auto wrong =
        tried({{"name", "q"}, {"outcome", "vigor"}, {"compare", "rigg"}, {"family", "normall"}});
    EXPECT_FALSE(wrong.finding);
    EXPECT_THAT(keys_of(wrong.complaints), testing::IsSupersetOf({"outcome", "compare", "family"}));
    for (const auto& complaint : wrong.complaints) {
        EXPECT_FALSE(complaint.error.place.line) << complaint.error.text();
        if (complaint.error.place.column == "outcome") {
            EXPECT_THAT(complaint.error.remedy, HasSubstr("\"vigour\""));
        }
    }
    EXPECT_THAT(keys_of(tried({{"name", "q"}, {"outcome", "vigour"}}).complaints), Contains("compare"));
}

TEST(Ask, a_name_that_is_taken_is_told_and_the_answer_there) {
    const auto taken = tried({{"name", "vigour_by_rig"}, {"outcome", "mass_g"}, {"compare", "rig"}});
    EXPECT_THAT(keys_of(taken.complaints), Contains("name"));
    EXPECT_TRUE(taken.finding);
}

TEST(Ask, a_model_too_large_to_wait_for_is_not_tried) {
    const auto large = tried({{"name", "q"},
                              {"outcome", "vigour"},
                              {"compare", "rig"},
                              {"adjust_for", std::vector<std::string>{"fish x day"}}});
    EXPECT_FALSE(large.finding);
    ASSERT_THAT(keys_of(large.complaints), Contains("adjust_for"));
}

TEST(Ask, a_later_column_is_warned_of) {
    const auto later = tried({{"name", "q"},
                              {"outcome", "vigour"},
                              {"compare", "rig"},
                              {"adjust_for", std::vector<std::string>{"landing"}}});
    ASSERT_TRUE(later.finding);
    const auto mass = tried({{"name", "q"},
                             {"outcome", "vigour"},
                             {"compare", "rig"},
                             {"adjust_for", std::vector<std::string>{"mass_g"}}});
    ASSERT_TRUE(mass.finding);
    EXPECT_TRUE(mass.finding->unanswered.empty()) << mass.finding->unanswered;
}

TEST(Ask, what_was_asked_to_stop_gives_no_answer) {
    std::stop_source stop;
    stop.request_stop();
    const auto stopped = try_question(
        asked_study(run()),
        {.text = intake::question_text({{"name", "q"}, {"outcome", "vigour"}, {"compare", "rig"}}),
         .instead = {},
         .stop = stop.get_token()});
    EXPECT_FALSE(stopped.finding);
}

TEST(Ask, columns_say_what_they_are_and_where_there_is_something) {
    const auto all = askable_columns(asked_study(run()));
    const auto named = [&](const std::string& name) {
        const auto found = std::ranges::find(all, name, &AskableColumn::name);
        EXPECT_NE(found, all.end()) << name;
        return found == all.end() ? AskableColumn() : *found;
    };
    const auto rig = named("rig");
    EXPECT_TRUE(rig.is_words);
    EXPECT_EQ(rig.levels, (std::vector<std::string>{"single_hook", "treble_hooks"}));
    const auto own = named("vigour");
    EXPECT_TRUE(own.is_own);
    EXPECT_FALSE(own.is_words);
    EXPECT_GE(own.filled, 25U);
    EXPECT_EQ(named("mass_g").unit, "g");
    EXPECT_FALSE(named("mass_g").is_own);
    EXPECT_EQ(named("cortisol_ng_per_ml").filled, 0U) << "nothing of it here, and told";
    EXPECT_EQ(named("peak_after_capture").stage, study::Stage::after);
}

} // namespace
} // namespace backeddy::app
