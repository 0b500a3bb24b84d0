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

} // namespace
} // namespace backeddy::app
