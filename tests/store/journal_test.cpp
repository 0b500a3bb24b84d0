#include "store/journal.hpp"

#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.hpp"
#include "store/invented.hpp"

namespace backeddy::store {
namespace {

using test::entries_of;
using test::entry;
using test::error_text;
using test::Folder;
using test::value_of;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

Journal opened(const std::filesystem::path& file, Access access = Access::write,
               JournalOptions options = {}) {
    return value_of(Journal::open(file, access, std::move(options)));
}

/// What another tool does to the file, and what it is told.
std::string by_hand(const std::filesystem::path& file, const std::string& sql) {
    sqlite3* database = nullptr;
    sqlite3_open(file.c_str(), &database);
    char* words = nullptr;
    sqlite3_exec(database, sql.c_str(), nullptr, nullptr, &words);
    std::string out = words == nullptr ? "" : words;
    sqlite3_free(words);
    sqlite3_close(database);
    return out;
}

std::string pragma(const std::filesystem::path& file, const std::string& name) {
    sqlite3* database = nullptr;
    sqlite3_open(file.c_str(), &database);
    std::string out;
    sqlite3_exec(
        database, ("PRAGMA " + name).c_str(),
        [](void* into, int, char** values, char**) {
            *static_cast<std::string*>(into) = values[0];
            return 0;
        },
        &out, nullptr);
    sqlite3_close(database);
    return out;
}

TEST(Journal, gives_back_what_was_added_in_order_after_it_was_closed) {
    const Folder folder;
    std::string identity;
    {
        Journal journal = opened(folder.journal());
        identity = journal.identity();
        const auto added = value_of(journal.append(std::vector{entry(1, 2), entry(1, 1), entry(2, 1)}));
        EXPECT_EQ(added.added, 3U);
        EXPECT_EQ(added.through, Position{3});
    }
    const Journal journal = opened(folder.journal());
    EXPECT_EQ(journal.identity(), identity);
    EXPECT_TRUE(DeviceId::parse(identity));
    EXPECT_THAT(value_of(journal.entries()), ElementsAre(entry(1, 1), entry(2, 1), entry(1, 2)));
    const auto readable = value_of(journal.readable());
    EXPECT_THAT(readable.sound, SizeIs(3));
    EXPECT_THAT(readable.damage, IsEmpty());
    EXPECT_EQ(value_of(journal.last_position()), Position{3});
}

TEST(Journal, is_a_file_of_the_kind_that_the_page_says) {
    const Folder folder;
    opened(folder.journal());
    EXPECT_EQ(pragma(folder.journal(), "journal_mode"), "wal");
    EXPECT_EQ(pragma(folder.journal(), "application_id"), std::to_string(0x426B4564));
    EXPECT_EQ(pragma(folder.journal(), "user_version"), "1");
    EXPECT_EQ(pragma(folder.journal(), "page_size"), "4096");
}

TEST(Journal, a_duplicate_is_harmless_and_counted) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    ASSERT_TRUE(journal.append(entries_of(1, 1, 3)));
    const auto again = value_of(journal.append(std::vector{entry(1, 2), entry(1, 4), entry(1, 4)}));
    EXPECT_EQ(again.added, 1U);
    EXPECT_EQ(again.duplicates, 2U);
    EXPECT_THAT(again.conflicts, IsEmpty());
    EXPECT_EQ(value_of(journal.entries()), entries_of(1, 1, 4));
}

TEST(Journal, other_content_under_the_same_id_overwrites_nothing_and_is_kept_and_shown) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    ASSERT_TRUE(journal.append(entries_of(1, 1, 3)));
    Entry other = entry(1, 2);
    other.content = "{\"rig\":\"another\"}";
    for (int time = 1; time <= 2; ++time) { // also when it comes again
        const auto added = value_of(journal.append({{other}}));
        EXPECT_EQ(added.added, 0U);
        ASSERT_THAT(added.conflicts, SizeIs(1));
        EXPECT_EQ(added.conflicts[0].standing, entry(1, 2));
        EXPECT_EQ(added.conflicts[0].kept_aside, other);
        EXPECT_EQ(added.through, Position{4});
    }
    EXPECT_EQ(value_of(journal.entries()), entries_of(1, 1, 3));
    const auto aside = value_of(journal.kept_aside());
    ASSERT_THAT(aside, SizeIs(1));
    EXPECT_EQ(aside[0].received.entry, other);
    EXPECT_EQ(aside[0].standing_sha256, sha256_of(entry(1, 2)));
    EXPECT_THAT(value_of(journal.readable()).damage, IsEmpty());
    EXPECT_EQ(value_of(journal.append({{entry(1, 4)}})).through, Position{5});
}

TEST(Journal, a_follower_gets_what_arrives_in_the_order_of_arrival) {
    const Folder folder;
    Journal journal =
        opened(folder.journal(), Access::write, {.now = [] { return Instant::unix_nanoseconds(5'000); }});
    const Journal follower = opened(folder.journal(), Access::read);
    ASSERT_TRUE(journal.append(std::vector{entry(1, 3), entry(2, 9)}));
    auto news = value_of(follower.received_since(Position{0}));
    ASSERT_THAT(news, SizeIs(2));
    EXPECT_EQ(news[0].entry, entry(1, 3));
    EXPECT_EQ(news[0].at, Instant::unix_nanoseconds(5'000));
    ASSERT_TRUE(journal.append(std::vector{entry(1, 1), entry(1, 2)}));
    news = value_of(follower.received_since(news.back().position, 1));
    ASSERT_THAT(news, SizeIs(1));
    EXPECT_EQ(news[0].entry, entry(1, 1));
    EXPECT_EQ(news[0].position, Position{3});
    EXPECT_THAT(value_of(follower.received_since(Position{4})), IsEmpty());
}

TEST(Journal, readers_in_other_threads_go_on_while_one_writes) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    constexpr std::size_t count = 300;
    std::vector<std::vector<Entry>> seen(3);
    {
        std::vector<std::jthread> readers;
        for (auto& mine : seen) {
            readers.emplace_back([&folder, &mine] {
                const Journal reader = opened(folder.journal(), Access::read);
                Position position{0};
                while (mine.size() < count) {
                    for (auto& received : value_of(reader.received_since(position, 7))) {
                        position = received.position;
                        mine.push_back(std::move(received.entry));
                    }
                }
            });
        }
        for (std::uint64_t sequence = 1; sequence <= count; ++sequence) {
            ASSERT_TRUE(journal.append({{entry(1, sequence)}}));
        }
    }
    for (const auto& mine : seen) {
        EXPECT_EQ(mine, entries_of(1, 1, count));
    }
}

TEST(Journal, two_writers_take_turns_and_lose_nothing) {
    const Folder folder;
    opened(folder.journal());
    {
        std::vector<std::jthread> writers;
        for (unsigned number = 1; number <= 2; ++number) {
            writers.emplace_back([&folder, number] {
                Journal journal =
                    opened(folder.journal(), Access::write, {.lock_patience = std::chrono::minutes(1)});
                for (std::uint64_t sequence = 1; sequence <= 100; ++sequence) {
                    value_of(journal.append({{entry(number, sequence)}}));
                }
            });
        }
    }
    const Journal journal = opened(folder.journal());
    EXPECT_THAT(value_of(journal.entries()), SizeIs(200));
    EXPECT_EQ(value_of(journal.last_position()), Position{200});
}

TEST(Journal, knows_each_device_s_last_entry_and_what_is_lacking_before_it) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    ASSERT_TRUE(journal.append(std::vector{entry(2, 1), entry(2, 2), entry(1, 3), entry(1, 4), entry(1, 8)}));
    const auto devices = value_of(journal.devices());
    ASSERT_THAT(devices, SizeIs(2));
    EXPECT_EQ(devices[0].device, test::device(1));
    EXPECT_EQ(devices[0].last_sequence, 8U);
    EXPECT_THAT(devices[0].lacking, ElementsAre(Lacking{1, 2}, Lacking{5, 7}));
    EXPECT_EQ(devices[1].last_sequence, 2U);
    EXPECT_THAT(devices[1].lacking, IsEmpty());
}

TEST(Journal, one_entry_that_cannot_be_keeps_the_whole_batch_out) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    Entry bad = entry(1, 2);
    bad.author = "";
    const auto error = error_text(journal.append(std::vector{entry(1, 1), bad}));
    EXPECT_THAT(error, HasSubstr(folder.journal().string() + ": the author of entry 2 of device d0d0"));
    EXPECT_THAT(value_of(journal.entries()), IsEmpty());
    const auto many = error_text(journal.append(std::vector<Entry>(most_entries_at_once + 1, entry(1, 1))));
    EXPECT_THAT(many, HasSubstr("10001 entries with"));
    EXPECT_THAT(many, HasSubstr("at most 10000 entries and 67108864 bytes; send them in smaller batches"));
    EXPECT_THAT(error_text(journal.append(std::vector<Entry>(65, entry(1, 1, limits::content_bytes - 100)))),
                HasSubstr("smaller batches"));
}

TEST(Journal, the_largest_entry_comes_back_whole) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    Entry large = entry(1, 1);
    large.content = std::string(limits::content_bytes, 'x');
    large.reason = std::string(limits::reason_bytes, 'y');
    large.time = {.wall_us = limits::whole_number, .count = UINT32_MAX};
    large.moment = {.wall_us = limits::whole_number,
                    .monotonic_us = limits::whole_number,
                    .boot = std::string(limits::boot_bytes, 'b'),
                    .clock_offset_us = -limits::whole_number};
    large.id.sequence = static_cast<std::uint64_t>(limits::whole_number);
    ASSERT_TRUE(journal.append({{large}}));
    EXPECT_THAT(value_of(journal.entries()), ElementsAre(large));
}

TEST(Journal, other_tools_cannot_change_delete_or_replace_an_entry) {
    const Folder folder;
    Entry other = entry(1, 1);
    other.content = "{}";
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append(std::vector{entry(1, 1), entry(1, 2), other}));
    }
    const auto file = folder.journal();
    for (const char* table : {"entries", "kept_aside"}) {
        const std::string name = table;
        EXPECT_THAT(by_hand(file, "UPDATE " + name + " SET content = '{}'"),
                    HasSubstr("an entry is never changed"));
        EXPECT_THAT(by_hand(file, "DELETE FROM " + name), HasSubstr("an entry is never deleted"));
        EXPECT_THAT(by_hand(file, "INSERT OR REPLACE INTO " + name + " SELECT * FROM " + name + " LIMIT 1"),
                    HasSubstr("an entry is never replaced"));
    }
    EXPECT_THAT(by_hand(file, "UPDATE about SET identity = 'x'"), HasSubstr("never changed"));
    EXPECT_THAT(by_hand(file, "DELETE FROM about"), HasSubstr("never deleted"));
    const Journal journal = opened(file);
    EXPECT_EQ(value_of(journal.entries()), entries_of(1, 1, 2));
    EXPECT_THAT(value_of(journal.kept_aside()), SizeIs(1));
}

// The triggers taken away first, as somebody determined would.
TEST(Journal, an_entry_changed_by_other_means_is_named) {
    const Folder folder;
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append(entries_of(1, 1, 5)));
    }
    const std::string trigger =
        "CREATE TRIGGER entries_are_never_changed BEFORE UPDATE ON entries "
        "BEGIN SELECT RAISE(ABORT, 'an entry is never changed: write another that corrects "
        "it'); END";
    ASSERT_EQ(by_hand(folder.journal(), "DROP TRIGGER entries_are_never_changed; "
                                        "UPDATE entries SET content = '{\"rig\":\"2\"}' WHERE sequence = 4"),
              "");
    EXPECT_THAT(error_text(Journal::open(folder.journal())),
                HasSubstr("its tables are not as this program makes them (one that is not there)"));
    ASSERT_EQ(by_hand(folder.journal(), trigger), "");
    const Journal journal = opened(folder.journal());
    const auto readable = value_of(journal.readable());
    EXPECT_THAT(readable.sound, SizeIs(4));
    ASSERT_THAT(readable.damage, SizeIs(1));
    EXPECT_EQ(readable.damage[0].position, Position{4});
    EXPECT_EQ(readable.damage[0].what,
              "the entry at position 4: its SHA-256 is not that of what stands there");
    EXPECT_EQ(error_text(journal.entries()), folder.journal().string() +
                                                 ": this journal is damaged: the entry at position 4: its "
                                                 "SHA-256 is not that of what stands there; "
                                                 "a journal whose every entry can be read; stop writing to "
                                                 "it, keep it and the files beside it that "
                                                 "begin with its name, and restore: what can be read in it "
                                                 "and what its copy has are joined, and it "
                                                 "is kept");
    EXPECT_THAT(error_text(journal.received_since(Position{2})), HasSubstr("position 4"));
}

TEST(Journal, an_entry_that_is_gone_is_missed) {
    const Folder folder;
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append(entries_of(1, 1, 5)));
    }
    const std::string trigger =
        "CREATE TRIGGER entries_are_never_deleted BEFORE DELETE ON entries "
        "BEGIN SELECT RAISE(ABORT, 'an entry is never deleted: write another that undoes it'); "
        "END";
    ASSERT_EQ(by_hand(folder.journal(),
                      "DROP TRIGGER entries_are_never_deleted; DELETE FROM entries WHERE sequence "
                      "IN (2, 3); " +
                          trigger),
              "");
    const Journal journal = opened(folder.journal());
    EXPECT_THAT(error_text(journal.entries()), HasSubstr("the entries at positions 2 to 3 are lacking"));
    EXPECT_THAT(test::damage_text(value_of(journal.readable())), HasSubstr("positions 2 to 3 are lacking"));
}

TEST(Journal, every_byte_flipped_is_noticed_or_changes_no_entry) {
    const Folder folder;
    const auto all = entries_of(1, 1, 12);
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append(all));
    }
    const std::string bytes = value_of(read_file(folder.journal()));
    const Folder other;
    std::size_t noticed = 0;
    for (std::size_t at = 0; at < bytes.size(); at += bytes[at] == '\0' ? 7 : 1) {
        std::string flipped = bytes;
        flipped[at] = static_cast<char>(flipped[at] ^ 0x15);
        std::filesystem::remove(other.journal().string() + "-wal");
        std::filesystem::remove(other.journal().string() + "-shm");
        std::ofstream(other.journal(), std::ios::binary | std::ios::trunc) << flipped;
        const auto journal = Journal::open(other.journal());
        const auto entries =
            journal ? journal->entries() : Expected<std::vector<Entry>>(fail(journal.error()));
        if (entries) {
            ASSERT_EQ(*entries, all) << "byte " << at;
        } else {
            ++noticed;
            ASSERT_NE(entries.error().code, ErrorCode::our_bug)
                << "byte " << at << ": " << entries.error().text();
        }
    }
    EXPECT_GT(noticed, 2'000U);
}

TEST(Journal, says_what_is_in_the_way_where_it_cannot_be_opened) {
    const Folder folder;
    const auto said = [&](const std::string& name, Access access = Access::write) {
        const auto journal = Journal::open(folder.path() / name, access);
        return journal ? std::string("opened") : journal.error().text();
    };
    EXPECT_THAT(said("none", Access::read), HasSubstr("there is no journal"));
    EXPECT_THAT(said("gone/journal.sqlite"),
                HasSubstr("its folder is not there; a folder that is there; check its name"));
    EXPECT_THAT(said(""), HasSubstr("no file is named"));
    EXPECT_THAT(error_text(Journal::open("")), HasSubstr("no file is named"));
    std::filesystem::create_directory(folder.path() / "folder");
    EXPECT_THAT(said("folder"), HasSubstr("this is a folder"));
    std::ofstream(folder.path() / "text.csv") << std::string(3'000, 'x');
    EXPECT_THAT(said("text.csv"), HasSubstr("this is not a journal, or its beginning is damaged"));
    EXPECT_THAT(said("text.csv", Access::read), HasSubstr("not a journal"));
    ASSERT_EQ(by_hand(folder.path() / "other.sqlite", "CREATE TABLE fish (id)"), "");
    EXPECT_THAT(said("other.sqlite"), HasSubstr("this is not a journal; a journal that this program made"));
    ASSERT_EQ(by_hand(folder.path() / "other.sqlite", "SELECT id FROM fish"),
              ""); // nothing of it was touched
    std::ofstream(folder.path() / "empty.sqlite").close();
    EXPECT_THAT(said("empty.sqlite", Access::read), HasSubstr("this is not a journal"));
    EXPECT_EQ(said("empty.sqlite"), "opened");
}

TEST(Journal, a_log_without_its_journal_is_not_thrown_away) {
    const Folder folder;
    std::ofstream(folder.journal().string() + "-wal") << "entries";
    EXPECT_THAT(error_text(Journal::open(folder.journal())),
                HasSubstr("the journal is not there, but journal.sqlite-wal beside it has entries of it"));
    std::ofstream(folder.journal()).close();
    EXPECT_THAT(error_text(Journal::open(folder.journal())), HasSubstr("the journal is empty, but"));
    EXPECT_EQ(value_of(read_file(folder.journal().string() + "-wal")), "entries");
}

TEST(Journal, locked_by_another_program_it_waits_and_then_says_so) {
    const Folder folder;
    Journal journal =
        opened(folder.journal(), Access::write, {.lock_patience = std::chrono::milliseconds(20)});
    sqlite3* other = nullptr;
    sqlite3_open(folder.journal().c_str(), &other);
    ASSERT_EQ(sqlite3_exec(other, "BEGIN IMMEDIATE", nullptr, nullptr, nullptr), SQLITE_OK);
    EXPECT_EQ(error_text(journal.append({{entry(1, 1)}})),
              folder.journal().string() +
                  ": another program holds the journal locked; the lock to be free within "
                  "seconds; close the other program that has this study open, then try again");
    EXPECT_THAT(value_of(journal.entries()), IsEmpty()); // reading goes on
    sqlite3_exec(other, "ROLLBACK", nullptr, nullptr, nullptr);
    sqlite3_close(other);
    EXPECT_TRUE(journal.append({{entry(1, 1)}}));
}

TEST(Journal, moved_or_deleted_while_it_is_open_nothing_is_acknowledged) {
    const Folder folder;
    Journal journal = opened(folder.journal());
    ASSERT_TRUE(journal.append({{entry(1, 1)}}));
    std::filesystem::rename(folder.journal(), folder.path() / "elsewhere.sqlite");
    EXPECT_THAT(error_text(journal.append({{entry(1, 2)}})),
                HasSubstr("the journal was moved, deleted or replaced while it was open"));
    std::filesystem::rename(folder.path() / "elsewhere.sqlite", folder.journal());
    EXPECT_TRUE(journal.append({{entry(1, 2)}}));
}

TEST(Journal, opened_to_be_read_it_takes_nothing_in) {
    const Folder folder;
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append({{entry(1, 1)}}));
    }
    Journal reader = opened(folder.journal(), Access::read);
    EXPECT_THAT(error_text(reader.append({{entry(1, 2)}})), HasSubstr("the journal was opened to be read"));
    EXPECT_TRUE(reader.why_read_only());
    EXPECT_THAT(value_of(reader.entries()), ElementsAre(entry(1, 1)));
}

/// Runs in a child that may write only where everybody may.
template <typename Work>
void as_nobody(Work work) {
    const ::pid_t child = ::fork();
    if (child == 0) {
        constexpr ::uid_t nobody = 65'534;
        if (::geteuid() == 0 && (::setgid(nobody) != 0 || ::setuid(nobody) != 0)) {
            ::_exit(2);
        }
        ::_exit(work() ? 0 : 1);
    }
    int status = -1;
    ::waitpid(child, &status, 0);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0) << "status " << status;
}

bool says(const std::string& text, const std::string& part) {
    if (text.find(part) == std::string::npos) {
        std::fprintf(stderr, "expected \"%s\" in: %s\n", part.c_str(), text.c_str());
        return false;
    }
    return true;
}

TEST(Journal, in_a_folder_that_is_read_only_it_says_so) {
    const Folder folder;
    {
        Journal journal = opened(folder.journal());
        ASSERT_TRUE(journal.append({{entry(1, 1)}}));
    }
    namespace fs = std::filesystem;
    fs::permissions(folder.path(), fs::perms::owner_read | fs::perms::owner_exec | fs::perms::others_read |
                                       fs::perms::others_exec);
    fs::permissions(folder.journal(), fs::perms::owner_read | fs::perms::others_read);
    const std::string words =
        "the journal or its folder cannot be written to; a file and a folder that this user may "
        "write to, on a disk that is not write-protected; mend the permissions, or copy the study "
        "to a folder of your own";
    as_nobody([&] {
        return says(error_text(Journal::open(folder.journal())), folder.journal().string() + ": " + words) &&
               says(error_text(Journal::open(folder.path() / "new.sqlite")), words);
    });
    fs::permissions(folder.path(), fs::perms::owner_all);
}

} // namespace
} // namespace backeddy::store
