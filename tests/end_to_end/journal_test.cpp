// The journal from the command line: read, copied, rehearsed and brought back.

#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/journal.hpp"
#include "end_to_end/program.hpp"

namespace {

using namespace backeddy;
using namespace backeddy::test;
using testing::HasSubstr;

class JournalCommand : public testing::Test {
  protected:
    JournalCommand() : scratch_("journal_command") {
        for (const auto& [name, bytes] : small_study()) {
            scratch_.write("study/" + name, bytes);
        }
        std::filesystem::create_directories(stick());
        app::JournalWriter writer(study(), [] { return *parse_iso("2026-06-20T12:00:00Z"); });
        const app::Wished wish{.act = "add",
                               .content = R"({"table":"decisions","row":{"stay":"s2","act":"exclude"}})",
                               .reason = "the tube leaked"};
        EXPECT_TRUE(writer.write({wish}, {.name = "A. Tester", .role = store::Role::scientist}));
    }
    [[nodiscard]] std::filesystem::path study() const { return scratch_.path() / "study"; }
    [[nodiscard]] std::filesystem::path stick() const { return scratch_.path() / "stick"; }
    [[nodiscard]] Ran journal(std::vector<std::string> words) const {
        words.insert(words.begin(), "journal");
        return run_program(scratch_, words);
    }

    ScratchFolder scratch_;
};

TEST_F(JournalCommand, shows_every_entry) {
    const Ran shown = journal({"show", study().string()});
    EXPECT_EQ(shown.status, 0) << shown.err;
    EXPECT_THAT(shown.out, HasSubstr("A. Tester (scientist)"));
    EXPECT_THAT(shown.out, HasSubstr("the tube leaked"));
    EXPECT_THAT(shown.out, HasSubstr("1 entries in "));
    EXPECT_THAT(journal({"show", stick().string()}).err, HasSubstr("no study.toml"));
}

TEST_F(JournalCommand, comes_back_from_its_copy_after_it_was_smashed) {
    const Ran copied = journal({"copy", study().string(), stick().string()});
    EXPECT_EQ(copied.status, 0) << copied.err;
    EXPECT_THAT(copied.out, HasSubstr("has all 1 entries"));

    const auto file = (study() / "journal.sqlite").string();
    scratch_.write("study/journal.sqlite", std::string(8192, 'x'));
    EXPECT_NE(journal({"show", study().string()}).status, 0);
    const Ran trial = journal({"restore", study().string(), "--from", stick().string(), "--rehearse"});
    EXPECT_EQ(trial.status, 0) << trial.err;
    EXPECT_THAT(trial.out, HasSubstr("1 more that only the copy had"));
    EXPECT_EQ(*read_file(file), std::string(8192, 'x')) << "rehearsed, not done";

    const Ran restored = journal({"restore", study().string(), "--from", stick().string()});
    EXPECT_EQ(restored.status, 0) << restored.err;
    EXPECT_THAT(restored.out, HasSubstr(".damaged-"));
    EXPECT_THAT(journal({"show", study().string()}).out, HasSubstr("the tube leaked"));
}

TEST_F(JournalCommand, a_copy_that_was_never_made_is_no_copy) {
    const Ran served = run_program(scratch_, {"serve", study().string(), "--copy-to", stick().string()});
    EXPECT_EQ(served.status, 1);
    EXPECT_THAT(served.err, HasSubstr("backeddy journal copy"));
    const Ran restored = journal({"restore", study().string(), "--from", stick().string(), "--rehearse"});
    EXPECT_EQ(restored.status, 1);
}

TEST_F(JournalCommand, takes_in_a_queue_file_once_and_another_studys_only_when_told) {
    app::JournalWriter writer(study(), [] { return *parse_iso("2026-06-20T12:00:00Z"); });
    const auto queue = [&](const std::string& identity) {
        scratch_.write(
            "queue.json",
            R"({"backeddy_queue":1,"study":"One fish of nowhere","identity":")" + identity +
                R"(","device":"00c0ffee00c0ffee","made_us":1781949600000000,"photos":{},"entries":[)"
                R"({"device":"00c0ffee00c0ffee","sequence":1,"hybrid_wall_us":1781949600000000,)"
                R"("hybrid_count":0,"wall_us":1781949600000000,"monotonic_us":5,"boot":"b",)"
                R"("clock_offset_us":null,"author":"C. Phone","role":"crew","act":"add",)"
                R"("content":"{\"table\":\"fish\",\"row\":{\"fish\":\"0614-C1\"}}","reason":""}]})");
        return (scratch_.path() / "queue.json").string();
    };
    const Ran refused = journal({"take-in", study().string(), queue("00000000000000aa")});
    EXPECT_EQ(refused.status, 1);
    EXPECT_THAT(refused.err, HasSubstr("--of-another-study"));
    const Ran taken = journal({"take-in", study().string(), queue(*writer.identity())});
    EXPECT_EQ(taken.status, 0) << taken.err;
    EXPECT_THAT(taken.out, HasSubstr("1 entries of device 00c0ffee00c0ffee: 1 taken in, 0 here already"));
    const Ran again = journal({"take-in", study().string(), queue("00000000000000aa"), "--of-another-study"});
    EXPECT_EQ(again.status, 0) << again.err;
    EXPECT_THAT(again.out, HasSubstr("0 taken in, 1 here already"));
    EXPECT_THAT(journal({"show", study().string()}).out, HasSubstr("C. Phone (crew)"));
    scratch_.write("broken.json", "{\"backeddy_queue\":1");
    EXPECT_THAT(journal({"take-in", study().string(), (scratch_.path() / "broken.json").string()}).err,
                HasSubstr("broken.json"));
}

} // namespace
