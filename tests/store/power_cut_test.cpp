#include <algorithm>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "store/invented.hpp"
#include "store/journal.hpp"
#include "store/recording_layer.hpp"

namespace backeddy::store {
namespace {

using test::CutDisk;
using test::entry;
using test::Folder;
using test::Operation;
using test::RecordingLayer;
using test::value_of;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

/// From operation `after` on, entries 1 to `through` are acknowledged.
struct Acknowledged {
    std::size_t after = 0;
    std::uint64_t through = 0;
};

struct Recorded {
    std::vector<Operation> operations;
    std::vector<Acknowledged> acknowledged;
    std::vector<Entry> entries; ///< all that were appended, in that order
};

/// Twice opened and closed; small entries and some that need overflow pages, so that the log is moved into
/// the file in mid-work and when it is closed.
Recorded recorded_work() {
    const Folder folder;
    RecordingLayer layer;
    Recorded out;
    std::uint64_t sequence = 0;
    for (int opened = 0; opened < 2; ++opened) {
        auto journal = value_of(Journal::open(folder.journal(), Access::write, {.file_layer = layer.name()}));
        for (int batch = 0; batch < 28; ++batch) {
            std::vector<Entry> some;
            for (int i = 0; i <= batch % 3; ++i) {
                ++sequence;
                some.push_back(entry(1, sequence, sequence % 9 == 0 ? 40'000 : 0));
            }
            value_of(journal.append(some));
            out.entries.insert(out.entries.end(), some.begin(), some.end());
            out.acknowledged.push_back({.after = layer.operations().size(), .through = sequence});
        }
    }
    out.operations = layer.operations();
    return out;
}

/// What is wrong with the journal that a cut left, or nothing.
std::string wrong_with(const std::filesystem::path& file, const Recorded& work, std::uint64_t acknowledged) {
    auto journal = Journal::open(file);
    if (!journal) {
        return "does not open: " + journal.error().text();
    }
    const auto readable = value_of(journal->readable());
    if (!readable.damage.empty()) {
        return "damaged: " + test::damage_text(readable);
    }
    const auto& entries = readable.sound;
    if (entries.size() < acknowledged) {
        return fmt::format("lost: {} of {} acknowledged entries are there", entries.size(), acknowledged);
    }
    if (!std::equal(
            entries.begin(), entries.end(), work.entries.begin(),
            [](const Arrival& arrival, const Entry& written) { return arrival.received.entry == written; })) {
        return "holds what was never written";
    }
    const auto next = work.entries.size() + 1;
    return journal->append({{entry(1, next)}}) ? "" : "takes nothing more";
}

/// The power cut after every operation, or every `step`-th, three ways each; complaints.
std::vector<std::string> cut_everywhere(const Recorded& work, CutDisk::Honours honours, std::uint64_t seed,
                                        std::size_t step = 1) {
    std::vector<std::string> out;
    CutDisk disk(honours);
    Random random(seed);
    std::uint64_t acknowledged = 0;
    auto next = work.acknowledged.begin();
    for (std::size_t done = 0; done <= work.operations.size(); ++done) {
        for (; next != work.acknowledged.end() && next->after <= done; ++next) {
            acknowledged = next->through;
        }
        if (done % step == 0) {
            for (const auto unsynced :
                 {CutDisk::Unsynced::lost, CutDisk::Unsynced::kept, CutDisk::Unsynced::some}) {
                const Folder folder;
                disk.write_to(folder.path(), unsynced, random);
                if (const auto wrong = wrong_with(folder.journal(), work, acknowledged); !wrong.empty()) {
                    out.push_back(fmt::format("cut after {} operations (seed {}, kind {}): {}", done, seed,
                                              static_cast<int>(unsynced), wrong));
                }
            }
        }
        if (done < work.operations.size()) {
            disk.apply(work.operations[done]);
        }
    }
    return out;
}

TEST(PowerCut, at_every_moment_leaves_every_acknowledged_entry_and_a_journal_that_opens) {
    const Recorded work = recorded_work();
    const auto count = [&](Operation::Kind kind, const std::string& file) {
        return std::count_if(work.operations.begin(), work.operations.end(),
                             [&](const Operation& o) { return o.kind == kind && o.file == file; });
    };
    // The work reaches what can go wrong: commits, moves of the log into the file, both files removed.
    EXPECT_GE(count(Operation::Kind::sync, "journal.sqlite-wal"), 56);
    EXPECT_GE(count(Operation::Kind::sync, "journal.sqlite"), 4);
    EXPECT_GE(count(Operation::Kind::remove, "journal.sqlite-wal"), 1);
    EXPECT_GE(count(Operation::Kind::remove, "journal.sqlite-journal"), 1);
    RecordProperty("operations", static_cast<int>(work.operations.size()));
    EXPECT_THAT(cut_everywhere(work, CutDisk::Honours::syncs, 20'261'129), IsEmpty());
}

// The check is one only if it fails where nothing is synced, as with SQLite's synchronous = OFF: its calls
// are the same but for the syncs.
TEST(PowerCut, would_be_found_to_lose_entries_where_nothing_is_synced) {
    const auto complaints = cut_everywhere(recorded_work(), CutDisk::Honours::nothing, 20'261'129, 5);
    EXPECT_THAT(complaints, Contains(HasSubstr("lost: 0 of")));
    EXPECT_THAT(complaints, Contains(HasSubstr("kind 2): lost:")));
    EXPECT_GT(complaints.size(), 100U);
}

// And it sees a single sync that is left out.
TEST(PowerCut, would_be_found_to_lose_an_entry_where_one_commit_is_not_synced) {
    Recorded work = recorded_work();
    const auto& mark = work.acknowledged[10];
    const auto commit =
        std::find_if(work.operations.rend() - static_cast<std::ptrdiff_t>(mark.after), work.operations.rend(),
                     [](const Operation& o) { return o.kind == Operation::Kind::sync; });
    ASSERT_EQ(commit->file, "journal.sqlite-wal");
    commit->file = "nothing";
    work.operations.resize(mark.after); // up to where the next commit would sync the log again
    EXPECT_THAT(cut_everywhere(work, CutDisk::Honours::syncs, 1), Contains(HasSubstr("lost: ")));
}

TEST(SlowDisk, changes_nothing_but_the_time_it_takes) {
    // 200 ms a sync in the field; the ratio to everything else is what counts, so 4 ms here.
    std::vector<std::vector<std::string>> done(2);
    for (std::size_t i = 0; i < 2; ++i) {
        const Folder folder;
        RecordingLayer layer;
        layer.sync_takes = std::chrono::milliseconds(i == 0 ? 0 : 4);
        auto journal = value_of(Journal::open(folder.journal(), Access::write, {.file_layer = layer.name()}));
        for (std::uint64_t sequence = 1; sequence <= 40; ++sequence) {
            value_of(journal.append({{entry(1, sequence)}}));
        }
        EXPECT_EQ(value_of(journal.entries()), test::entries_of(1, 1, 40));
        for (const Operation& operation : layer.operations()) {
            done[i].push_back(fmt::format("{} {} {} {}", static_cast<int>(operation.kind), operation.file,
                                          operation.at, operation.bytes.size()));
        }
    }
    EXPECT_EQ(done[0], done[1]);
}

TEST(FullDisk, at_any_size_loses_nothing_acknowledged_and_says_so_and_goes_on_when_there_is_room) {
    std::size_t was_full = 0;
    for (std::uint64_t room = 0; room < 400'000; room += 5'000) {
        const Folder folder;
        RecordingLayer layer;
        layer.room = room;
        std::vector<Entry> acknowledged;
        {
            auto journal = Journal::open(folder.journal(), Access::write, {.file_layer = layer.name()});
            if (!journal) {
                ASSERT_THAT(journal.error().text(), HasSubstr("the disk is full")) << room;
                ++was_full;
                layer.room.reset();
                journal = Journal::open(folder.journal(), Access::write, {.file_layer = layer.name()});
                ASSERT_TRUE(journal) << room << ": " << journal.error().text();
            }
            for (std::uint64_t sequence = 1; sequence <= 40; ++sequence) {
                const Entry one = entry(1, sequence, sequence == 20 ? 50'000 : 0);
                const auto added = journal->append({{one}});
                if (added) {
                    acknowledged.push_back(one);
                    continue;
                }
                ASSERT_EQ(added.error().text(), folder.journal().string() +
                                                    ": the disk is full: nothing of this was kept; room for "
                                                    "the journal to grow; free some "
                                                    "space, then send again what is shown as unsent");
                ++was_full;
                ASSERT_EQ(value_of(journal->entries()), acknowledged) << room;
                layer.room.reset();
                --sequence; // send again
            }
            ASSERT_THAT(acknowledged, SizeIs(40));
        }
        const auto again = value_of(Journal::open(folder.journal()));
        ASSERT_EQ(value_of(again.entries()), acknowledged) << room;
        ASSERT_THAT(value_of(again.readable()).damage, IsEmpty()) << room;
    }
    EXPECT_GT(was_full, 20U);
}

TEST(FailingDisk, at_any_sync_acknowledges_nothing_that_is_not_there_afterwards) {
    std::size_t failed = 0;
    for (std::uint64_t left = 0; left < 60; ++left) {
        const Folder folder;
        RecordingLayer layer;
        layer.syncs_left = left;
        std::uint64_t acknowledged = 0;
        for (int opened = 0; opened < 3; ++opened) {
            auto journal = Journal::open(folder.journal(), Access::write, {.file_layer = layer.name()});
            if (!journal) {
                ASSERT_THAT(journal.error().text(), HasSubstr("the disk failed")) << left;
                ++failed;
                continue;
            }
            for (int i = 0; i < 15; ++i) {
                const auto added = journal->append({{entry(1, acknowledged + 1, 30'000)}});
                if (added) {
                    ++acknowledged;
                } else {
                    ASSERT_THAT(added.error().text(), HasSubstr("the disk failed")) << left;
                    ++failed;
                }
            }
        }
        const auto again = value_of(Journal::open(folder.journal()));
        const auto entries = value_of(again.entries());
        ASSERT_GE(entries.size(), acknowledged) << left;
        for (std::uint64_t sequence = 1; sequence <= acknowledged; ++sequence) {
            ASSERT_EQ(entries[sequence - 1], entry(1, sequence, 30'000)) << left;
        }
        ASSERT_THAT(value_of(again.readable()).damage, IsEmpty()) << left;
    }
    EXPECT_GT(failed, 20U);
}

} // namespace
} // namespace backeddy::store
