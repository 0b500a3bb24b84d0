// What a question is told of a small study's fish.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/observe.hpp"
#include "app/run.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

/// Why a time of the small study's one fish will not come any more; its stays end as `ended` says.
std::optional<findings::Ending> ending_of(const std::string& column, const char* stay, const char* ended,
                                          const char* event = "") {
    static int count = 0;
    const test::ScratchFolder folder("observe_" + std::to_string(++count));
    auto files = test::small_study();
    auto& stays = files["stays.csv"];
    const auto row = stays.find(std::string(stay) + ",T01");
    stays.replace(stays.find(",done", row), 5, std::string(",") + ended);
    files["events.csv"] += event;
    test::write_all(folder, files);
    auto opened = open_study(folder.path(), {});
    EXPECT_TRUE(opened) << opened.error().text();
    const auto run = run_study(*opened, {});
    const auto rows = observe(opened->study, run->fish, run->condition);
    const auto* found = rows.front().column(column);
    EXPECT_TRUE(found != nullptr && found->tells_endings);
    if (const auto* within = std::get_if<findings::Within>(&found->cells.at(0))) {
        return within->ending;
    }
    const auto* absent = std::get_if<findings::Absent>(&found->cells.at(0));
    EXPECT_TRUE(absent != nullptr) << "the fish was seen to recover";
    return absent == nullptr ? std::nullopt : absent->ending;
}

// Back in water at 08:01, at rest until 20:04; out of the chase's air at 20:09:30, watched until 21:02.
TEST(Observed, a_fish_that_died_escaped_or_was_withdrawn_will_not_recover) {
    const auto died = ending_of("recovery_h", "s2", "died");
    ASSERT_TRUE(died);
    EXPECT_EQ(died->word, "died");
    EXPECT_NEAR(died->at, 12.05, 1e-9);
    const auto escaped = ending_of("recovery_after_chase_h", "s3", "escaped");
    ASSERT_TRUE(escaped);
    EXPECT_EQ(escaped->word, "escaped");
    EXPECT_NEAR(escaped->at, 0.875, 1e-9);
    EXPECT_EQ(ending_of("recovery_h", "s2", "welfare_stop")->word, "withdrawn");
    // The event says when.
    const auto seen = ending_of("recovery_h", "s2", "done", "2026-06-14T15:01:00Z,60,died,T01,shore\n");
    ASSERT_TRUE(seen);
    EXPECT_NEAR(seen->at, 7.0, 1e-9);
}

TEST(Observed, an_end_of_looking_is_no_fate) {
    EXPECT_FALSE(ending_of("recovery_h", "s2", "done"));
    EXPECT_FALSE(ending_of("recovery_h", "s2", "equipment"));
    EXPECT_FALSE(ending_of("recovery_h", "s3", "died")) << "it died after the chase, hours after that watch";
}

// ---------------------------------------------------------------- dead or alive

/// T01 of the small study, and T02 that was caught and never held, of which `fates` tells.
findings::Cell died_of(std::size_t fish, const std::string& fates, const char* ended = "done") {
    static int count = 0;
    const test::ScratchFolder folder("died_" + std::to_string(++count));
    auto files = test::small_study();
    files["fish.csv"] += "T02,Salmo trutta,500,2\n";
    files["encounters.csv"] += "e2,T02,2026-06-14T10:00:00Z,angling,single_hook\n";
    auto& stays = files["stays.csv"];
    const std::string ending = std::string(",") + ended;
    for (auto at = stays.find(",done"); at != std::string::npos;
         at = stays.find(",done", at + ending.size())) {
        stays.replace(at, 5, ending);
    }
    files["fates.csv"] = "fish,at,what,last_alive,cause\n" + fates;
    test::write_all(folder, files);
    auto opened = open_study(folder.path(), {});
    EXPECT_TRUE(opened) << opened.error().text();
    const auto run = run_study(*opened, {});
    const auto rows = observe(opened->study, run->fish, run->condition);
    const auto* column = rows.front().column("died");
    EXPECT_EQ(column->negative, "alive when last seen");
    EXPECT_EQ(column->followed_h.size(), 2U);
    return column->cells.at(fish);
}

std::string word_of(const findings::Cell& cell) {
    const auto* word = std::get_if<findings::Word>(&cell);
    return word != nullptr ? word->text : std::get<findings::Absent>(cell).why;
}

TEST(Observed, a_fish_of_unknown_fate_did_not_survive_nor_die) {
    EXPECT_EQ(word_of(died_of(1, "")), "nothing is written down of its fate");
    EXPECT_EQ(
        word_of(died_of(1, "T02,2026-06-14T10:05:00Z,tagged,,\n"
                           "T02,2026-06-14T10:06:00Z,released,,\n")),
        "not seen since it was released at 2026-06-14T10:06:00Z: alive then, and nothing is known since");
    EXPECT_EQ(word_of(died_of(1, "T02,2026-06-14T10:03:00Z,seen_alive,,\n"
                                 "T02,2026-06-14T10:06:00Z,released,,\n"))
                  .substr(0, 8),
              "not seen")
        << "a look before its release tells no more than its release";
    EXPECT_EQ(word_of(died_of(1, "T02,2026-06-14T10:06:00Z,released,,\n"
                                 "T02,2026-06-15T10:06:00Z,lost,,out of reach\n")),
              "lost to follow-up (out of reach)");
    EXPECT_EQ(word_of(died_of(0, "", "equipment")), "nothing is written down of its fate")
        << "a broken pump says nothing of the fish";
}

TEST(Observed, a_fish_is_alive_that_was_seen_so_after_release_or_at_the_end_of_holding) {
    EXPECT_EQ(word_of(died_of(0, "")), "no") << "its stays ended as they should";
    EXPECT_EQ(word_of(died_of(0, "T01,2026-06-14T21:10:00Z,released,,\n", "equipment")), "no")
        << "let go alive after it was held";
    EXPECT_EQ(word_of(died_of(1, "T02,2026-06-14T10:06:00Z,released,,\n"
                                 "T02,2026-06-15T10:06:00Z,recaptured,,\n")),
              "no");
    EXPECT_EQ(word_of(died_of(1, "T02,2026-06-14T10:06:00Z,held,,\n"
                                 "T02,2026-06-15T10:06:00Z,released,,\n")),
              "no");
    EXPECT_EQ(word_of(died_of(1, "T02,2026-06-14T10:06:00Z,released,,\n"
                                 "T02,2026-06-15T10:06:00Z,dead,,\n")),
              "yes");
}

// ---------------------------------------------------------------- met more than once

/// Rows of fish, events and spells of the small study, whose fish was met at other times too.
std::vector<findings::Observations> met_again(const std::string& encounters) {
    static int count = 0;
    const test::ScratchFolder folder("met_" + std::to_string(++count));
    auto files = test::small_study();
    files["encounters.csv"] = "encounter,fish,at,method,rig,depth_m\n"
                              "e1,T01,2026-06-14T07:55:00Z,angling,single_hook,4\n" +
                              encounters;
    test::write_all(folder, files);
    auto opened = open_study(folder.path(), {});
    EXPECT_TRUE(opened) << opened.error().text();
    const auto run = run_study(*opened, {});
    return observe(opened->study, run->fish, run->condition);
}

std::string told_of(const findings::Observations& rows, std::size_t row, const std::string& column) {
    const auto& told = rows.column(column)->told;
    const auto found = told.find(row);
    return found == told.end() ? std::string() : found->second;
}

TEST(Observed, of_a_fish_met_before_its_capture_the_encounter_of_its_stay_counts_and_is_told) {
    const auto rows = met_again("e0,T01,2026-06-01T10:00:00Z,angling,treble_hooks,9\n");
    const auto& fish = rows.front();
    EXPECT_EQ(word_of(fish.column("rig")->cells.at(0)), "single_hook");
    EXPECT_EQ(std::get<findings::Value>(fish.column("depth_m")->cells.at(0)).value, 4.0);
    EXPECT_EQ(told_of(fish, 0, "depth_m"),
              "T01 was met more than once: depth_m is 4 of 2026-06-14T07:55:00Z, not "
              "9 of 2026-06-01T10:00:00Z");
    EXPECT_EQ(told_of(fish, 0, "rig"),
              "T01 was met more than once: rig is single_hook of 2026-06-14T07:55:00Z, "
              "not treble_hooks of 2026-06-01T10:00:00Z");
    EXPECT_EQ(told_of(fish, 0, "method"), "") << "both say angling";
}

TEST(Observed, each_event_and_spell_belongs_to_the_encounter_before_its_stay) {
    const auto rows = met_again("e2,T01,2026-06-14T20:06:00Z,angling,treble_hooks,9\n");
    EXPECT_EQ(word_of(rows.at(0).column("rig")->cells.at(0)), "single_hook");
    const auto& events = rows.at(1);
    ASSERT_EQ(events.rows(), 2U);
    EXPECT_EQ(word_of(events.column("rig")->cells.at(0)), "single_hook");
    EXPECT_EQ(word_of(events.column("rig")->cells.at(1)), "treble_hooks");
    const auto& spells = rows.at(2);
    EXPECT_EQ(word_of(spells.column("rig")->cells.front()), "single_hook");
    EXPECT_EQ(word_of(spells.column("rig")->cells.back()), "treble_hooks");
}

} // namespace
} // namespace backeddy::app
