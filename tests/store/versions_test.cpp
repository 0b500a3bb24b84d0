// One kept file per version of the format, under kept/. BACKEDDY_WRITE_KEPT=1 writes the present version's
// where there is none; a kept file is never written anew.

#include <array>
#include <cstdlib>
#include <filesystem>
#include <string>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "store/detail/schema.hpp"
#include "store/detail/sqlite.hpp"
#include "store/invented.hpp"
#include "store/journal.hpp"

namespace backeddy::store {
namespace {

using test::entries_of;
using test::entry;
using test::error_text;
using test::Folder;
using test::value_of;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

std::filesystem::path kept(int version) {
    return std::filesystem::path(BACKEDDY_SOURCE_DIR) / "tests/store/kept" /
           fmt::format("version_{}.sqlite", version);
}

Entry kept_aside() {
    Entry out = entry(2, 3);
    out.content = "{\"rig\":\"other\"}";
    return out;
}

/// What every kept file holds: entries 1 to 5 of device 1, 1 to 4 of device 2, one kept aside.
void write_kept(const std::filesystem::path& file) {
    auto journal = value_of(Journal::open(
        file, Access::write,
        {.now = [] { return Instant::unix_seconds(1'781'438'400.0); }, .identity = "5caff01d5caff01d"}));
    value_of(journal.append(entries_of(1, 1, 5)));
    value_of(journal.append(entries_of(2, 1, 4)));
    value_of(journal.append({{kept_aside()}}));
}

int version_of(const std::filesystem::path& file) {
    return SQLite::Database(file.string()).execAndGet("PRAGMA user_version").getInt();
}

TEST(Versions, of_every_one_so_far_a_kept_file_opens_with_all_it_had) {
    if (std::getenv("BACKEDDY_WRITE_KEPT") != nullptr &&
        !std::filesystem::exists(kept(detail::format_version))) {
        write_kept(kept(detail::format_version));
    }
    for (int version = 1; version <= detail::format_version; ++version) {
        ASSERT_TRUE(std::filesystem::exists(kept(version))) << "no kept file of version " << version;
        const Folder folder;
        std::filesystem::copy_file(kept(version), folder.journal());
        auto journal = value_of(Journal::open(folder.journal()));
        EXPECT_EQ(journal.identity(), "5caff01d5caff01d");
        EXPECT_THAT(value_of(journal.entries()), SizeIs(9));
        auto device = value_of(journal.received_since(Position{0}, 5));
        for (std::size_t i = 0; i < 5; ++i) {
            EXPECT_EQ(device[i].entry, entry(1, i + 1));
            EXPECT_EQ(iso_text(device[i].at), "2026-06-14T12:00:00Z");
        }
        ASSERT_THAT(value_of(journal.kept_aside()), SizeIs(1));
        EXPECT_EQ(value_of(journal.kept_aside())[0].received.entry, kept_aside());
        EXPECT_THAT(value_of(journal.readable()).damage, IsEmpty());
        EXPECT_FALSE(journal.why_read_only());
        EXPECT_TRUE(journal.append({{entry(1, 6)}}));
    }
}

TEST(Versions, a_file_of_a_newer_one_is_read_and_not_written_and_says_so) {
    const Folder folder;
    std::filesystem::copy_file(kept(1), folder.journal());
    {
        SQLite::Database database(folder.journal().string(), SQLite::OPEN_READWRITE);
        database.exec("ALTER TABLE entries ADD COLUMN place TEXT; CREATE TABLE photos (sha256 TEXT) STRICT; "
                      "PRAGMA user_version = 2; PRAGMA journal_mode = DELETE");
    }
    const auto before = value_of(read_file(folder.journal()));
    {
        auto journal = value_of(Journal::open(folder.journal()));
        EXPECT_THAT(value_of(journal.entries()), SizeIs(9));
        EXPECT_EQ(error_text(journal.append({{entry(1, 6)}})),
                  folder.journal().string() +
                      ": this journal has version 2 and was made by a newer program; at most version 1 for "
                      "entries to be "
                      "added; it can be read only; open the study with the newer program");
        EXPECT_THAT(journal.why_read_only()->text(), HasSubstr("made by a newer program"));
    }
    EXPECT_EQ(value_of(read_file(folder.journal())), before);
}

TEST(Versions, a_newer_one_whose_entries_have_other_columns_is_refused_and_says_so) {
    const Folder folder;
    std::filesystem::copy_file(kept(1), folder.journal());
    {
        SQLite::Database database(folder.journal().string(), SQLite::OPEN_READWRITE);
        database.exec("ALTER TABLE entries RENAME COLUMN content TO json; PRAGMA user_version = 2");
    }
    EXPECT_EQ(error_text(Journal::open(folder.journal(), Access::read)),
              folder.journal().string() +
                  ": this journal has version 2 and was made by a newer program; a version whose "
                  "entries this program can read; it knows 1; open the study with the newer "
                  "program");
}

// There is no version before the first, so that the way from one to the next is walked with an invented next.
constexpr std::array invented_steps{
    detail::Step{.from = 1,
                 .sql =
                     "ALTER TABLE entries ADD COLUMN place TEXT; CREATE TABLE photos (sha256 TEXT) STRICT"},
    detail::Step{.from = 2, .sql = "CREATE TABLE tides (at_us INTEGER) STRICT"}};

Expected<void> migrated(const std::filesystem::path& file, int to, std::span<const detail::Step> steps) {
    return detail::guarded(file, [&]() -> Expected<void> {
        SQLite::Database database(file.string(), SQLite::OPEN_READWRITE);
        return detail::migrate(database, file, 1, to, steps);
    });
}

TEST(Versions, an_older_file_becomes_the_new_one_and_is_kept_beside_as_it_was) {
    const Folder folder;
    std::filesystem::copy_file(kept(1), folder.journal());
    {
        auto journal = value_of(Journal::open(folder.journal()));
        ASSERT_TRUE(journal.append({{entry(1, 6)}}));
    }
    ASSERT_TRUE(migrated(folder.journal(), 3, invented_steps));
    EXPECT_EQ(version_of(folder.journal()), 3);
    EXPECT_THAT(value_of(value_of(Journal::open(folder.journal())).entries()),
                SizeIs(10)); // read as a newer one
    const std::filesystem::path before = folder.journal().string() + ".version-1";
    EXPECT_EQ(version_of(before), 1);
    EXPECT_THAT(value_of(value_of(Journal::open(before)).entries()), SizeIs(10));
}

TEST(Versions, a_step_that_fails_leaves_the_file_as_it_was) {
    constexpr std::array failing{invented_steps[0],
                                 detail::Step{.from = 2, .sql = "CREATE TABLE entries (x)"}};
    const Folder folder;
    std::filesystem::copy_file(kept(1), folder.journal());
    EXPECT_FALSE(migrated(folder.journal(), 3, failing));
    EXPECT_EQ(version_of(folder.journal()), 1);
    EXPECT_THAT(value_of(value_of(Journal::open(folder.journal())).entries()), SizeIs(9));
    EXPECT_THAT(error_text(migrated(folder.journal(), 4, invented_steps)),
                HasSubstr("a journal of version 3, which this program cannot read; version 4"));
    EXPECT_EQ(version_of(folder.journal()), 1);
    // The copies made on the way stand beside each other.
    EXPECT_TRUE(std::filesystem::exists(folder.journal().string() + ".version-1"));
    EXPECT_TRUE(std::filesystem::exists(folder.journal().string() + ".version-1-2"));
}

} // namespace
} // namespace backeddy::store
