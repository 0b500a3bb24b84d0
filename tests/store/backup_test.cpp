#include "store/backup.hpp"

#include <algorithm>
#include <fstream>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/random.hpp"
#include "store/invented.hpp"
#include "store/recording_layer.hpp"

namespace backeddy::store {
namespace {

using test::entries_of;
using test::entry;
using test::error_text;
using test::Folder;
using test::RecordingLayer;
using test::value_of;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::vector<std::string> names_in(const std::filesystem::path& folder) {
    std::vector<std::string> out;
    for (const auto& item : std::filesystem::directory_iterator(folder)) {
        out.push_back(item.path().filename().string());
    }
    std::sort(out.begin(), out.end());
    return out;
}

Instant noon() {
    return Instant::unix_seconds(1'781'438'400.25); // 2026-06-14T12:00:00.25Z
}

JournalOptions at_noon() {
    return {.now = noon};
}

std::vector<Entry> entries_in(const std::filesystem::path& file) {
    return value_of(value_of(Journal::open(file, Access::read)).entries());
}

void overwrite(const std::filesystem::path& file, std::size_t at, const std::string& bytes) {
    std::fstream out(file, std::ios::binary | std::ios::in | std::ios::out);
    out.seekp(static_cast<std::streamoff>(at));
    out << bytes;
}

TEST(Copy, follows_each_batch_and_what_was_kept_aside) {
    const Folder home;
    const Folder stick;
    auto journal = value_of(Journal::open(home.journal()));
    ASSERT_TRUE(journal.append(entries_of(1, 1, 3)));
    ASSERT_TRUE(begin_copy(journal, stick.path()));
    Copy copy(stick.path(), at_noon());
    EXPECT_FALSE(copy.follow(journal).trouble);
    Entry other = entry(1, 2);
    other.reason = "other";
    ASSERT_TRUE(journal.append(std::vector{other, entry(2, 1)}));
    const auto& state = copy.follow(journal);
    EXPECT_FALSE(state.trouble);
    EXPECT_EQ(state.behind, 0);
    EXPECT_EQ(state.complete, noon());
    const auto second = value_of(Journal::open(stick.path() / copy_name));
    EXPECT_EQ(second.identity(), journal.identity());
    EXPECT_EQ(value_of(second.entries()), value_of(journal.entries()));
    ASSERT_THAT(value_of(second.kept_aside()), SizeIs(1));
    EXPECT_EQ(value_of(second.kept_aside())[0].received.entry, other);
}

TEST(Copy, a_disk_that_is_away_stops_nothing_is_told_and_catches_up_when_it_is_back) {
    const Folder home;
    const Folder stick;
    auto journal = value_of(Journal::open(home.journal()));
    ASSERT_TRUE(begin_copy(journal, stick.path() / "."));
    Copy copy(stick.path());
    ASSERT_TRUE(journal.append(entries_of(1, 1, 3)));
    ASSERT_FALSE(copy.follow(journal).trouble);
    const auto away = stick.path().string() + "-away";
    std::filesystem::rename(stick.path(), away);
    ASSERT_TRUE(journal.append(entries_of(1, 4, 5)));
    EXPECT_EQ(copy.follow(journal).behind, 2);
    ASSERT_TRUE(copy.state().trouble);
    ASSERT_TRUE(journal.append({{entry(1, 6)}}));
    EXPECT_EQ(copy.follow(journal).behind, 3);
    EXPECT_THAT(copy.state().trouble->text(),
                HasSubstr("the journal's copy is not there; the copy that was begun here; plug its disk in"));
    // An empty folder where the disk should be is no new copy.
    std::filesystem::create_directory(stick.path());
    EXPECT_EQ(copy.follow(journal).behind, 3);
    EXPECT_THAT(names_in(stick.path()), IsEmpty());
    std::filesystem::remove(stick.path());
    std::filesystem::rename(away, stick.path());
    EXPECT_EQ(copy.follow(journal).behind, 0);
    EXPECT_FALSE(copy.state().trouble);
    EXPECT_EQ(entries_in(stick.path() / copy_name), entries_of(1, 1, 6));
}

TEST(Copy, a_disk_unplugged_in_mid_work_is_told_and_what_it_has_is_sound) {
    const Folder home;
    const Folder stick;
    RecordingLayer layer;
    auto journal = value_of(Journal::open(home.journal()));
    ASSERT_TRUE(begin_copy(journal, stick.path(), {.file_layer = layer.name()}));
    Copy copy(stick.path(), {.file_layer = layer.name()});
    ASSERT_TRUE(journal.append(entries_of(1, 1, 10)));
    ASSERT_FALSE(copy.follow(journal).trouble);
    layer.is_away = true;
    ASSERT_TRUE(journal.append(entries_of(1, 11, 20)));
    EXPECT_EQ(copy.follow(journal).behind, 10);
    EXPECT_THAT(copy.state().trouble->text(), HasSubstr("the disk failed"));
    layer.is_away = false;
    EXPECT_EQ(copy.follow(journal).behind, 0);
    EXPECT_EQ(entries_in(stick.path() / copy_name), entries_of(1, 1, 20));
}

TEST(Copy, a_full_disk_is_told_and_what_fits_is_kept) {
    const Folder home;
    const Folder stick;
    RecordingLayer layer;
    layer.room = 200'000;
    auto journal = value_of(Journal::open(home.journal()));
    ASSERT_TRUE(begin_copy(journal, stick.path(), {.file_layer = layer.name()}));
    Copy copy(stick.path(), {.file_layer = layer.name()});
    for (std::uint64_t sequence = 1; sequence <= 60; ++sequence) {
        ASSERT_TRUE(journal.append({{entry(1, sequence, 5'000)}}));
        copy.follow(journal);
    }
    EXPECT_GT(copy.state().behind, 0);
    EXPECT_LT(copy.state().behind, 60);
    EXPECT_THAT(copy.state().trouble->text(), AllOf(HasSubstr(copy_name), HasSubstr("the disk is full")));
    layer.room.reset();
    EXPECT_EQ(copy.follow(journal).behind, 0);
    EXPECT_THAT(entries_in(stick.path() / copy_name), SizeIs(60));
}

TEST(Copy, of_another_study_is_never_mixed_with_this_one) {
    const Folder one;
    const Folder two;
    const Folder stick;
    auto first = value_of(Journal::open(one.journal()));
    auto second = value_of(Journal::open(two.journal()));
    ASSERT_TRUE(begin_copy(first, stick.path()));
    EXPECT_THAT(error_text(begin_copy(second, stick.path())),
                HasSubstr("the copy of another study's journal"));
    ASSERT_TRUE(second.append({{entry(1, 1)}}));
    Copy copy(stick.path());
    EXPECT_THAT(copy.follow(second).trouble->text(), HasSubstr("another study's journal"));
    EXPECT_THAT(entries_in(stick.path() / copy_name), IsEmpty());
    EXPECT_THAT(error_text(restore(two.journal(), stick.path() / copy_name)),
                HasSubstr("another study's journal"));
}

TEST(Copy, in_the_journal_s_own_folder_or_on_its_disk_is_refused_or_warned_of) {
    const Folder home;
    auto journal = value_of(Journal::open(home.journal()));
    EXPECT_THAT(error_text(begin_copy(journal, home.path())), HasSubstr("the journal's own folder"));
    std::filesystem::create_directory(home.path() / "copy");
    EXPECT_THAT(same_disk_warning(home.journal(), home.path() / "copy").value_or("none"),
                HasSubstr("is on the same disk as the journal"));
    EXPECT_FALSE(same_disk_warning(home.journal(), "/proc"));
    EXPECT_FALSE(same_disk_warning(home.journal(), home.path() / "not there"));
}

TEST(Copy, of_large_entries_goes_in_batches_that_fit) {
    const Folder home;
    const Folder stick;
    auto journal = value_of(Journal::open(home.journal()));
    for (std::uint64_t sequence = 1; sequence <= 70; ++sequence) {
        ASSERT_TRUE(journal.append({{entry(1, sequence, limits::content_bytes - 100)}}));
    }
    ASSERT_TRUE(begin_copy(journal, stick.path()));
    Copy copy(stick.path());
    EXPECT_FALSE(copy.follow(journal).trouble);
    EXPECT_EQ(copy.state().behind, 0);
    EXPECT_THAT(entries_in(stick.path() / copy_name), SizeIs(70));
}

/// A study with a copy that is two entries behind.
struct Season {
    Season() {
        auto journal = value_of(Journal::open(home.journal()));
        identity = journal.identity();
        value_of(journal.append(entries_of(1, 1, 40)));
        if (!begin_copy(journal, stick.path())) {
            throw std::runtime_error("no copy");
        }
        Copy copy(stick.path());
        copy.follow(journal);
        value_of(journal.append(entries_of(1, 41, 42)));
    }
    [[nodiscard]] std::filesystem::path copy_file() const { return stick.path() / copy_name; }
    Folder home;
    Folder stick;
    std::string identity;
};

TEST(Restore, of_a_journal_that_is_gone_makes_one_of_what_the_copy_has) {
    const Season season;
    std::filesystem::remove(season.home.journal());
    const auto restored = value_of(restore(season.home.journal(), season.copy_file()));
    EXPECT_EQ(restored.from_copy, 40U);
    EXPECT_EQ(restored.from_journal, 0U);
    EXPECT_FALSE(restored.set_aside);
    const auto journal = value_of(Journal::open(season.home.journal()));
    EXPECT_EQ(journal.identity(), season.identity);
    EXPECT_EQ(value_of(journal.entries()), entries_of(1, 1, 40));
    Copy copy(season.stick.path());
    EXPECT_FALSE(copy.follow(journal).trouble); // and the copy follows it as before
}

TEST(Restore, of_a_sound_journal_only_adds_what_the_copy_has_more) {
    const Season season;
    {
        auto copy = value_of(Journal::open(season.copy_file()));
        ASSERT_TRUE(copy.append({{entry(2, 1)}}));
    }
    const auto restored = value_of(restore(season.home.journal(), season.copy_file()));
    EXPECT_EQ(restored.from_journal, 42U);
    EXPECT_EQ(restored.from_copy, 1U);
    EXPECT_THAT(restored.damage, IsEmpty());
    EXPECT_THAT(names_in(season.home.path()), testing::ElementsAre(journal_name));
    EXPECT_THAT(entries_in(season.home.journal()), SizeIs(43));
    const auto again = value_of(restore(season.home.journal(), season.copy_file()));
    EXPECT_EQ(again.from_copy, 0U);
}

TEST(Restore, of_a_damaged_journal_joins_what_can_be_read_with_the_copy_and_keeps_the_damaged_one) {
    const Season season;
    const auto before = value_of(read_file(season.home.journal()));
    const auto content = before.find("\"n\":17}");
    ASSERT_NE(content, std::string::npos);
    overwrite(season.home.journal(), content, "\"n\":71}");
    const auto damaged = value_of(read_file(season.home.journal()));
    const auto restored = value_of(restore(season.home.journal(), season.copy_file(), at_noon()));
    EXPECT_EQ(restored.from_journal, 41U); // with the two that the copy did not have
    EXPECT_EQ(restored.from_copy, 1U);     // the damaged one
    EXPECT_THAT(restored.conflicts, IsEmpty());
    ASSERT_THAT(restored.damage, SizeIs(1));
    EXPECT_THAT(restored.damage[0], HasSubstr("the entry at position 17: its SHA-256 is not that"));
    EXPECT_EQ(restored.set_aside, season.home.journal().string() + ".damaged-2026-06-14T120000Z");
    EXPECT_EQ(value_of(read_file(*restored.set_aside)), damaged);
    const auto journal = value_of(Journal::open(season.home.journal()));
    EXPECT_EQ(value_of(journal.entries()), entries_of(1, 1, 42));
    EXPECT_EQ(journal.identity(), season.identity);
    EXPECT_THAT(value_of(journal.readable()).damage, IsEmpty());
}

TEST(Restore, of_a_damaged_journal_without_a_copy_keeps_all_that_can_be_read) {
    const Season season;
    overwrite(season.home.journal(), 0, std::string(4'096, '\0')); // no SQLite file any more
    EXPECT_THAT(error_text(Journal::open(season.home.journal())),
                HasSubstr("not a journal, or its beginning is damaged"));
    const auto restored = value_of(restore(season.home.journal(), std::nullopt, at_noon()));
    EXPECT_EQ(restored.from_journal, 42U);
    EXPECT_EQ(entries_in(season.home.journal()), entries_of(1, 1, 42));
}

TEST(Restore, of_a_journal_and_a_copy_both_damaged_joins_what_is_left_of_each) {
    const Season season;
    const auto smash = [](const std::filesystem::path& file, const std::string& text) {
        const auto bytes = value_of(read_file(file));
        const auto at = bytes.find(text);
        ASSERT_NE(at, std::string::npos);
        overwrite(file, at, "x");
        overwrite(file, 0, std::string(100, 'x'));
    };
    smash(season.home.journal(), "\"n\":17}");
    smash(season.copy_file(), "\"n\":23}");
    const auto restored = value_of(restore(season.home.journal(), season.copy_file(), at_noon()));
    EXPECT_EQ(restored.from_journal, 41U);
    EXPECT_EQ(restored.from_copy, 1U);
    EXPECT_THAT(restored.damage, SizeIs(2));
    EXPECT_EQ(entries_in(season.home.journal()), entries_of(1, 1, 42));
}

TEST(Restore, that_was_interrupted_is_not_overlooked_and_goes_on) {
    const Season season;
    // As it is left when the power goes after the damaged journal was taken away and before the new one is in
    // place.
    std::filesystem::rename(season.home.journal(), season.home.journal().string() + restoring_suffix);
    EXPECT_THAT(error_text(Journal::open(season.home.journal())),
                HasSubstr("a restore of this journal was interrupted"));
    const auto restored = value_of(restore(season.home.journal(), season.copy_file(), at_noon()));
    EXPECT_EQ(restored.from_copy, 0U);
    EXPECT_THAT(names_in(season.home.path()), testing::ElementsAre(journal_name));
    EXPECT_EQ(entries_in(season.home.journal()), entries_of(1, 1, 42));
}

TEST(Restore, from_nothing_says_what_is_not_there) {
    const Folder home;
    EXPECT_THAT(error_text(restore(home.journal(), home.path() / "copy.sqlite")),
                HasSubstr("copy.sqlite: there is no copy; something to restore from"));
    EXPECT_THAT(error_text(restore(home.journal(), std::nullopt)), HasSubstr("there is no journal"));
    EXPECT_THAT(names_in(home.path()), IsEmpty());
}

} // namespace
} // namespace backeddy::store
