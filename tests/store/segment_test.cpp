#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/file.hpp"
#include "base/random.hpp"
#include "store/heard.hpp"
#include "store/recording_files.hpp"
#include "store/segment.hpp"

namespace backeddy::store {
namespace {

using test::error_text;
using test::Folder;
using test::head;
using test::heard;
using test::kept_in;
using test::value_of;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

SegmentWriter writer_in(const Folder& folder, SegmentOptions options = {}) {
    return value_of(SegmentWriter::open(folder.path(), head(), std::move(options)));
}

std::vector<Heard> hear(SegmentWriter& writer, std::uint64_t from, std::uint64_t to,
                        std::size_t padding = 0) {
    std::vector<Heard> out;
    for (std::uint64_t number = from; number <= to; ++number) {
        out.push_back(heard(number, padding));
        EXPECT_EQ(value_of(writer.hear(out.back())), number);
    }
    return out;
}

std::vector<std::filesystem::path> files_of(const Folder& folder) {
    std::vector<std::filesystem::path> out;
    for (const auto& each : std::filesystem::directory_iterator(folder.path())) {
        if (each.path().extension() == ".segment") {
            out.push_back(each.path());
        }
    }
    std::sort(out.begin(), out.end());
    return out;
}

void change(const std::filesystem::path& file, const std::function<void(std::string&)>& how) {
    std::string bytes = value_of(read_file(file));
    how(bytes);
    std::ofstream(file, std::ios::binary | std::ios::trunc) << bytes;
}

TEST(Segment, gives_back_every_byte_and_time_under_its_head) {
    const Folder folder;
    auto writer = writer_in(folder);
    Heard odd = heard(1);
    odd.bytes = std::string("\0\xff\x80 BKYDATA\n\r", 13);
    odd.received = Instant::unix_nanoseconds(-7);
    odd.monotonic_ns = INT64_MAX;
    value_of(writer.hear(odd));
    EXPECT_EQ(writer.through(), 0U);
    EXPECT_THAT(kept_in(folder.path()), IsEmpty()) << "what only waits is nowhere";
    EXPECT_EQ(value_of(writer.commit()), 1U);
    EXPECT_EQ(writer.waiting(), 0U);
    EXPECT_THAT(kept_in(folder.path()), ElementsAre(odd));
    EXPECT_EQ(*value_of(SegmentReader(folder.path()).read()).front().head, head());
}

TEST(Segment, whatever_the_cuts_between_commits_files_and_programs_the_pieces_are_the_same) {
    Random random(20'261'130);
    for (int round = 0; round < 40; ++round) {
        const Folder folder;
        std::vector<Heard> all;
        for (int opened = 0; opened < 3; ++opened) {
            auto writer = writer_in(folder, {.file_bytes = 1 + random.below(6'000)});
            for (std::uint64_t i = random.below(60); i > 0; --i) {
                const auto some = hear(writer, all.size() + 1, all.size() + 1, random.below(200));
                all.push_back(some.front());
                if (random.below(4) == 0) {
                    value_of(writer.commit());
                }
            }
            value_of(writer.commit());
        }
        std::vector<SegmentDamage> damage;
        ASSERT_EQ(kept_in(folder.path(), &damage), all) << round;
        ASSERT_THAT(damage, IsEmpty()) << round;
    }
}

TEST(Segment, a_commit_of_more_than_a_block_takes_is_whole) {
    const Folder folder;
    auto writer = writer_in(folder);
    const auto all = hear(writer, 1, 60, 60'000);
    value_of(writer.commit());
    EXPECT_EQ(kept_in(folder.path()), all);
}

TEST(Segment, is_followed_while_it_is_written_and_no_further_than_was_acknowledged) {
    const Folder folder;
    auto writer = writer_in(folder, {.file_bytes = 400});
    SegmentReader reader(folder.path());
    EXPECT_THAT(value_of(reader.read()), IsEmpty());
    std::uint64_t last = 0;
    for (int round = 0; round < 20; ++round) {
        hear(writer, last + 1, last + 3);
        EXPECT_THAT(value_of(reader.read()), IsEmpty());
        const auto through = value_of(writer.commit());
        EXPECT_THAT(value_of(reader.read(last)), IsEmpty());
        const auto news = value_of(reader.read(through));
        ASSERT_THAT(news, SizeIs(3));
        EXPECT_EQ(news.front().heard, heard(last + 1));
        last = through;
        EXPECT_EQ(reader.last(), last);
    }
    EXPECT_GT(files_of(folder).size(), 5U);
}

TEST(Segment, a_block_that_is_half_written_is_waited_for) {
    const Folder folder;
    auto writer = writer_in(folder);
    hear(writer, 1, 5);
    value_of(writer.commit());
    const std::string bytes = value_of(read_file(files_of(folder)[0]));
    for (std::size_t cut = 0; cut < bytes.size(); ++cut) {
        const Folder half;
        const auto file = half.path() / "000001.segment";
        std::ofstream(file, std::ios::binary) << bytes.substr(0, cut);
        SegmentReader reader(half.path());
        ASSERT_THAT(value_of(reader.read()), IsEmpty()) << cut;
        ASSERT_THAT(reader.damage(), IsEmpty()) << cut;
        std::ofstream(file, std::ios::binary | std::ios::app) << bytes.substr(cut);
        ASSERT_THAT(value_of(reader.read()), SizeIs(5)) << cut;
    }
}

TEST(Segment, any_byte_that_changed_is_found_and_costs_its_block_alone) {
    const Folder folder;
    {
        auto writer = writer_in(folder);
        for (std::uint64_t number = 1; number <= 6; number += 2) {
            hear(writer, number, number + 1);
            value_of(writer.commit());
        }
    }
    const auto file = files_of(folder)[0];
    const std::string bytes = value_of(read_file(file));
    const auto all = kept_in(folder.path());
    for (std::size_t at = 0; at < bytes.size(); ++at) {
        change(file, [&](std::string& now) { now = bytes, now[at] = static_cast<char>(now[at] ^ 0x10); });
        std::vector<SegmentDamage> damage;
        const auto kept = kept_in(folder.path(), &damage);
        ASSERT_THAT(damage, SizeIs(1)) << at;
        ASSERT_LE(damage[0].at_byte, at);
        ASSERT_GT(damage[0].at_byte + damage[0].bytes, at);
        std::vector<Heard> expected = all;
        if (damage[0].at_byte > 0) {
            const auto first = kept.size() == 4 && kept[0].number == 1 ? (kept[2].number == 3 ? 5 : 3) : 1;
            expected.erase(expected.begin() + first - 1, expected.begin() + first + 1);
            if (first < 5) {
                ASSERT_EQ(damage[0].lost, (std::pair<std::uint64_t, std::uint64_t>(first, first + 1))) << at;
                ASSERT_FALSE(damage[0].is_torn_end);
            }
        }
        ASSERT_EQ(kept, expected) << at;
    }
}

TEST(Segment, a_missing_file_is_told_by_its_numbers) {
    const Folder folder;
    {
        auto writer = writer_in(folder, {.file_bytes = 1});
        for (std::uint64_t number = 1; number <= 3; ++number) {
            hear(writer, number, number);
            value_of(writer.commit());
        }
    }
    std::filesystem::remove(files_of(folder)[1]);
    std::vector<SegmentDamage> damage;
    EXPECT_THAT(kept_in(folder.path(), &damage), ElementsAre(heard(1), heard(3)));
    ASSERT_THAT(damage, SizeIs(1));
    EXPECT_EQ(damage[0].lost, (std::pair<std::uint64_t, std::uint64_t>(2, 2)));
    EXPECT_EQ(damage[0].file, files_of(folder)[1]);
}

TEST(Segment, a_torn_end_stays_as_it_is_and_the_numbers_go_on) {
    const Folder folder;
    {
        auto writer = writer_in(folder);
        hear(writer, 1, 2);
        value_of(writer.commit());
        hear(writer, 3, 4);
        value_of(writer.commit());
    }
    const auto torn = files_of(folder)[0];
    change(torn, [](std::string& bytes) { bytes.resize(bytes.size() - 5); });
    const std::string left = value_of(read_file(torn));
    auto writer = writer_in(folder);
    EXPECT_EQ(writer.through(), 2U);
    hear(writer, 3, 3);
    value_of(writer.commit());
    EXPECT_EQ(value_of(read_file(torn)), left);
    std::vector<SegmentDamage> damage;
    EXPECT_THAT(kept_in(folder.path(), &damage), ElementsAre(heard(1), heard(2), heard(3)));
    ASSERT_THAT(damage, SizeIs(1));
    EXPECT_TRUE(damage[0].is_torn_end);
    EXPECT_EQ(damage[0].lost, std::nullopt);
}

TEST(Segment, has_one_writer) {
    const Folder folder;
    {
        const auto writer = writer_in(folder);
        EXPECT_THAT(error_text(SegmentWriter::open(folder.path(), head())),
                    HasSubstr("another program writes samples into this folder"));
    }
    EXPECT_TRUE(SegmentWriter::open(folder.path(), head()));
}

TEST(Segment, refuses_what_its_head_does_not_name_and_keeps_the_rest) {
    const Folder folder;
    auto writer = writer_in(folder);
    Heard foreign = heard(1);
    foreign.source = 3;
    EXPECT_THAT(error_text(writer.hear(foreign)),
                HasSubstr("of source 3; 1 to 65536 bytes of one of 3 sources"));
    Heard empty = heard(1);
    empty.bytes.clear();
    EXPECT_FALSE(writer.hear(empty));
    Heard large = heard(1);
    large.bytes.assign(most_heard_bytes + 1, 'x');
    EXPECT_FALSE(writer.hear(large));
    hear(writer, 1, 1);
    value_of(writer.commit());
    EXPECT_THAT(kept_in(folder.path()), ElementsAre(heard(1)));
    SegmentHead endless = head();
    endless.sources.assign(40'000, "a sensor");
    const Folder other;
    EXPECT_THAT(error_text(SegmentWriter::open(other.path(), endless)),
                HasSubstr("40000 devices are too long"));
}

TEST(Segment, says_when_what_waits_is_too_much_and_still_writes_what_waited) {
    const Folder folder;
    auto files = std::make_shared<test::RecordingFiles>();
    files->room = 0;
    auto writer = writer_in(folder, {.waiting_bytes = 1'000, .layer = files});
    std::uint64_t taken = 0;
    while (writer.hear(heard(taken + 1))) {
        EXPECT_FALSE(writer.commit());
        ASSERT_LT(++taken, 1'000U);
    }
    EXPECT_GT(taken, 20U);
    EXPECT_THAT(error_text(writer.hear(heard(taken + 1))), HasSubstr("pieces wait for the disk already"));
    EXPECT_THAT(files_of(folder), IsEmpty()) << "a full disk is not filled with beginnings of files";
    files->room.reset();
    EXPECT_EQ(value_of(writer.commit()), taken);
    EXPECT_THAT(kept_in(folder.path()), SizeIs(taken));
}

TEST(Segment, a_full_disk_at_any_byte_loses_nothing_and_repeats_nothing) {
    std::size_t was_full = 0;
    for (std::uint64_t room = 0; room < 4'000; room += 37) {
        const Folder folder;
        auto files = std::make_shared<test::RecordingFiles>();
        files->room = room;
        auto writer = writer_in(folder, {.file_bytes = 1'500, .layer = files});
        SegmentReader live(folder.path());
        std::vector<Heard> all;
        std::vector<std::uint64_t> seen;
        for (std::uint64_t number = 1; number <= 40; ++number) {
            all.push_back(heard(number));
            value_of(writer.hear(all.back()));
            if (!writer.commit()) {
                ++was_full;
                if (number % 3 == 0) {
                    files->room = 200 + room % 211;
                }
            }
            for (const auto& piece : value_of(live.read())) {
                seen.push_back(piece.heard.number);
            }
        }
        files->room.reset();
        ASSERT_EQ(value_of(writer.commit()), 40U);
        ASSERT_EQ(kept_in(folder.path()), all) << room;
        for (const auto& piece : value_of(live.read())) {
            seen.push_back(piece.heard.number);
        }
        ASSERT_THAT(seen, SizeIs(40)) << room;
        ASSERT_TRUE(std::is_sorted(seen.begin(), seen.end())) << room;
    }
    EXPECT_GT(was_full, 100U);
}

} // namespace
} // namespace backeddy::store
