#include "store/salvage.hpp"

#include <algorithm>
#include <fstream>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/random.hpp"
#include "store/invented.hpp"
#include "store/journal.hpp"

namespace backeddy::store {
namespace {

using test::entry;
using test::Folder;
using test::value_of;
using testing::IsEmpty;
using testing::IsSubsetOf;

/// Of every size that SQLite stores in another way: on one page, with one overflow page, with many.
std::vector<Entry> of_all_sizes() {
    std::vector<Entry> out;
    std::uint64_t sequence = 0;
    for (const std::size_t padding :
         {0, 0, 3'000, 3'600, 3'650, 3'700, 3'750, 4'000, 8'000, 8'180, 8'200, 100'000, 0}) {
        ++sequence;
        out.push_back(entry(1, sequence, padding));
    }
    out.push_back(entry(2, 300)); // numbers of other widths
    out.back().moment.clock_offset_us = 0;
    out.back().moment.monotonic_us = 1;
    return out;
}

/// The files of a journal that a program left open: the log has all of it, or the last of it.
struct Left {
    std::string file;
    std::string log;
};

Left left_by_work(const std::vector<Entry>& entries, bool closed_in_between) {
    const Folder folder;
    auto journal = value_of(Journal::open(folder.journal()));
    const auto half = static_cast<std::ptrdiff_t>(entries.size() / 2);
    value_of(journal.append(std::vector(entries.begin(), entries.begin() + half)));
    if (closed_in_between) {
        {
            const auto gone = std::move(journal);
        }
        journal = value_of(Journal::open(folder.journal()));
    }
    value_of(journal.append(std::vector(entries.begin() + half, entries.end())));
    return {.file = value_of(read_file(folder.journal())),
            .log = value_of(read_file(folder.journal().string() + "-wal"))};
}

Salvaged salvaged(const Left& left) {
    const Folder folder;
    std::ofstream(folder.journal(), std::ios::binary) << left.file;
    std::ofstream(folder.journal().string() + "-wal", std::ios::binary) << left.log;
    return value_of(salvage(folder.journal()));
}

TEST(Salvage, of_sound_files_is_all_of_them_in_order_of_arrival) {
    const auto entries = of_all_sizes();
    for (const bool closed : {false, true}) {
        const auto out = salvaged(left_by_work(entries, closed));
        EXPECT_EQ(out.standing, entries);
        EXPECT_THAT(out.kept_aside, IsEmpty());
        EXPECT_TRUE(DeviceId::parse(out.identity));
    }
}

TEST(Salvage, tells_what_was_kept_aside_from_what_stands) {
    Entry other = entry(1, 2);
    other.content = "{}";
    const auto out = salvaged(left_by_work({entry(1, 1), entry(1, 2), other, entry(1, 3)}, true));
    EXPECT_EQ(out.standing, test::entries_of(1, 1, 3));
    EXPECT_THAT(out.kept_aside, testing::ElementsAre(other));
}

// SQLite itself drops everything from the first frame of the log whose sum is wrong.
TEST(Salvage, finds_entries_behind_a_damaged_frame_of_the_log_and_without_the_file_s_beginning) {
    const auto entries = of_all_sizes();
    Left left = left_by_work(entries, false);
    left.log[40] = static_cast<char>(left.log[40] ^ 1);
    left.file.replace(0, std::min<std::size_t>(left.file.size(), 200), std::string(200, '\xFF'));
    EXPECT_EQ(salvaged(left).standing, entries);
    left.file.clear();
    EXPECT_EQ(salvaged(left).standing, entries);
}

TEST(Salvage, of_files_damaged_anywhere_loses_only_what_was_hit_and_invents_nothing) {
    const auto entries = of_all_sizes();
    const Left sound = left_by_work(entries, true);
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        Random random(seed);
        Left left = sound;
        const std::size_t hits = 1 + random.below(3);
        for (std::size_t hit = 0; hit < hits; ++hit) {
            std::string& bytes = random.below(2) == 0 ? left.file : left.log;
            const std::size_t at = random.below(bytes.size());
            for (std::size_t i = at; i < std::min(bytes.size(), at + 1 + random.below(16)); ++i) {
                bytes[i] = static_cast<char>(random.below(256));
            }
        }
        const auto out = salvaged(left).standing;
        EXPECT_THAT(out, IsSubsetOf(entries)) << "seed " << seed;
        // A hit of 16 bytes reaches at most two entries' rows, and a page's number in an overflow chain one.
        EXPECT_GE(out.size() + 2 * hits, entries.size()) << "seed " << seed;
    }
}

TEST(Salvage, of_anything_at_all_comes_to_an_end_and_invents_nothing) {
    Random random(7);
    for (int round = 0; round < 200; ++round) {
        std::string bytes(random.below(20'000), '\0');
        for (char& byte : bytes) {
            byte = static_cast<char>(random.below(round % 2 == 0 ? 256 : 3) + (round % 2 == 0 ? 0 : 44));
        }
        const auto out = salvaged({.file = bytes, .log = bytes});
        EXPECT_THAT(out.standing, IsEmpty());
        EXPECT_THAT(out.kept_aside, IsEmpty());
    }
    const Folder folder;
    EXPECT_THAT(value_of(salvage(folder.journal())).standing, IsEmpty());
    EXPECT_FALSE(salvage(folder.path()));
}

} // namespace
} // namespace backeddy::store
