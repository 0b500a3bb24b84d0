// Results that were kept are shown at once where all they were made of is as it was, and never else.

#include <chrono>
#include <filesystem>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "app/desk.hpp"
#include "app/folder_watch.hpp"
#include "app/kept_results.hpp"
#include "app/run.hpp"
#include "base/file.hpp"
#include "base/random.hpp"
#include "store/segment.hpp"
#include "support/small_study.hpp"

namespace backeddy::app {
namespace {

namespace fs = std::filesystem;

Instant some_moment() {
    return *parse_iso("2026-06-15T06:00:00Z");
}

/// A study that was computed and whose results were kept.
class KeptResults : public testing::Test {
  protected:
    void SetUp() override {
        test::write_all(folder_, test::small_study());
        keep();
    }

    void keep() {
        auto opened = open_study(folder_.path(), {});
        ASSERT_TRUE(opened);
        const auto run = run_study(*opened, {});
        const ResultSet set(*run);
        ASSERT_TRUE(replace_result_folder(folder_.path() / "results", set.all({})));
        const auto kept = keep_made_of(folder_.path(), set.inputs(), journal(), set.all({}), {});
        ASSERT_TRUE(kept) << kept.error().text();
        files_ = set.all({});
    }

    [[nodiscard]] std::string journal() const { return journal_sha256(read_journal(folder_.path())); }
    [[nodiscard]] bool holds() const { return kept_results(folder_.path(), {}).has_value(); }
    [[nodiscard]] fs::path list() const { return folder_.path() / made_of_path; }

    test::ScratchFolder folder_{"kept_results"};
    std::vector<ResultFile> files_;
};

TEST_F(KeptResults, are_the_files_that_were_written_in_their_order) {
    const auto kept = kept_results(folder_.path(), {});
    ASSERT_TRUE(kept);
    ASSERT_EQ(kept->size(), files_.size());
    for (std::size_t i = 0; i < files_.size(); ++i) {
        EXPECT_EQ((*kept)[i].name, files_[i].name);
        EXPECT_TRUE((*kept)[i].bytes == files_[i].bytes) << files_[i].name;
    }
}

TEST_F(KeptResults, hold_no_longer_when_any_file_of_the_study_has_changed_come_or_gone) {
    for (const auto& [name, bytes] : test::small_study()) {
        folder_.write(name, bytes + "\n");
        EXPECT_FALSE(holds()) << name << " changed";
        fs::remove(folder_.path() / name);
        EXPECT_FALSE(holds()) << name << " is gone";
        folder_.write(name, bytes);
        EXPECT_TRUE(holds()) << name << " is as it was";
    }
    folder_.write("raw/more.csv", "time,o2\n");
    EXPECT_FALSE(holds());
    fs::remove(folder_.path() / "raw/more.csv");
    folder_.write("decisions.csv", "stay,moment,act,value,reason,author,at\n");
    EXPECT_FALSE(holds());
}

// What a watch over live chambers writes grows all night; no number comes from it.
TEST_F(KeptResults, hold_while_a_watch_writes_and_nothing_is_told_of_what_it_writes) {
    FolderWatch changes(folder_.path(), folder_.path() / "results");
    fs::create_directories(folder_.path() / store::watch_folder);
    ASSERT_TRUE(write_file_whole(folder_.path() / store::watch_folder / "000001.segment", "heard"));
    EXPECT_TRUE(holds());
    EXPECT_TRUE(changes.changed().empty());
    EXPECT_TRUE(changes.changed().empty());
    ASSERT_TRUE(write_file_whole(folder_.path() / "note.txt", "new"));
    EXPECT_TRUE(changes.changed().empty()) << "it may still be changing";
    EXPECT_EQ(changes.changed(), std::set<std::string>{"note.txt"});
}

TEST_F(KeptResults, hold_no_longer_when_a_result_was_changed_by_hand) {
    for (const auto& file : files_) {
        folder_.write("results/" + file.name, file.bytes + " ");
        EXPECT_FALSE(holds()) << file.name;
        folder_.write("results/" + file.name, file.bytes);
    }
    EXPECT_TRUE(holds());
    fs::remove_all(folder_.path() / "results");
    EXPECT_FALSE(holds());
}

TEST_F(KeptResults, a_list_with_any_byte_changed_or_cut_anywhere_says_nothing) {
    const auto text = *read_file(list());
    Random random(3);
    for (int i = 0; i < 60; ++i) {
        auto damaged = text;
        char& byte = damaged[random.below(damaged.size())];
        byte = byte == 'x' ? 'y' : 'x';
        ASSERT_TRUE(write_file_whole(list(), damaged));
        EXPECT_FALSE(holds()) << i;
        ASSERT_TRUE(write_file_whole(list(), text.substr(0, random.below(text.size()))));
        EXPECT_FALSE(holds()) << i;
    }
    ASSERT_TRUE(write_file_whole(list(), text));
    EXPECT_TRUE(holds());
}

TEST_F(KeptResults, a_list_may_be_deleted_and_a_folder_that_takes_none_does_no_harm) {
    fs::remove_all(list().parent_path());
    EXPECT_FALSE(holds());
    folder_.write(".cache", "a file where the folder would be");
    EXPECT_FALSE(keep_made_of(folder_.path(), {}, journal(), files_, {}));
    EXPECT_FALSE(holds());
}

TEST_F(KeptResults, are_not_kept_of_a_file_behind_a_link_whose_changes_would_not_be_seen) {
    report::Input input;
    input.path = "elsewhere/boat.csv";
    input.sha256 = std::string(64, 'a');
    const std::vector<report::Input> inputs{input};
    EXPECT_FALSE(keep_made_of(folder_.path(), inputs, journal(), files_, {}));
}

/// The first states of a desk until its study is computed.
std::vector<DeskState> states_until_ready(const fs::path& folder, std::shared_ptr<const DeskAnswer>& first) {
    std::vector<DeskState> out;
    std::mutex guard;
    Desk desk({.folder = folder, .threads = {}, .now = some_moment, .on_change = [&](const DeskState& state) {
                   const std::lock_guard lock(guard);
                   out.push_back(state);
               }});
    for (int i = 0; i < 2000; ++i) {
        if (!first) {
            first = desk.answer();
        }
        if (desk.state().phase == DeskPhase::ready) {
            break;
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    const std::lock_guard lock(guard);
    return out;
}

TEST_F(KeptResults, are_a_desks_answer_before_it_has_computed_and_keep_their_revision_then) {
    std::shared_ptr<const DeskAnswer> first;
    const auto states = states_until_ready(folder_.path(), first);
    ASSERT_TRUE(first);
    ASSERT_FALSE(states.empty());
    EXPECT_EQ(states.front().revision, 1U) << "shown before anything is read";
    EXPECT_NE(states.front().phase, DeskPhase::ready);
    EXPECT_EQ(states.back().phase, DeskPhase::ready);
    EXPECT_EQ(states.back().revision, 1U);
    EXPECT_EQ(states.back().answered_at, states.front().answered_at);
    EXPECT_EQ(first->study, "One fish of nowhere");
}

TEST_F(KeptResults, that_are_not_what_is_computed_are_replaced_by_it) {
    // As if another program of the same version had made them: list and results agree.
    auto files = files_;
    files.front().bytes += "\n";
    ASSERT_TRUE(replace_result_folder(folder_.path() / "results", files));
    auto opened = open_study(folder_.path(), {});
    const ResultSet set(*run_study(*opened, {}));
    ASSERT_TRUE(keep_made_of(folder_.path(), set.inputs(), journal(), files, {}));
    ASSERT_TRUE(holds());
    std::shared_ptr<const DeskAnswer> first;
    const auto states = states_until_ready(folder_.path(), first);
    ASSERT_FALSE(states.empty());
    EXPECT_EQ(states.back().revision, 2U);
    EXPECT_TRUE(*read_file(folder_.path() / "results/results.json") == files_.front().bytes)
        << "the last is kept when the desk is closed";
}

TEST_F(KeptResults, of_a_desk_hold_for_the_next) {
    fs::remove_all(list().parent_path());
    std::shared_ptr<const DeskAnswer> first;
    (void)states_until_ready(folder_.path(), first);
    EXPECT_TRUE(holds());
}

} // namespace
} // namespace backeddy::app
