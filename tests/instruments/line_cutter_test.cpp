#include "instruments/line_cutter.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::instruments {
namespace {

using Begin = LineCutter::Begin;
using testing::ElementsAre;

std::vector<std::string> lines(const std::vector<Cut>& cuts) {
    std::vector<std::string> out;
    for (const auto& cut : cuts) {
        out.push_back(cut.complaint.empty() ? cut.bytes : "! " + cut.complaint);
    }
    return out;
}

TEST(LineCutter, takes_each_of_the_three_line_ends) {
    LineCutter cutter(Begin::at_a_line);
    EXPECT_THAT(lines(cutter.feed("a\nb\r\nc\rd\n\n\r\n")), ElementsAre("a", "b", "c", "d"));
}

TEST(LineCutter, joins_a_line_split_over_packets) {
    LineCutter cutter(Begin::at_a_line);
    EXPECT_THAT(cutter.feed("c1=8."), ElementsAre());
    EXPECT_THAT(cutter.feed("41\r"), ElementsAre(Cut{.bytes = "c1=8.41", .length = 7}));
    EXPECT_THAT(lines(cutter.feed("\nc1=8.40\n")), ElementsAre("c1=8.40"));
}

TEST(LineCutter, leaves_out_the_tail_of_a_line_that_it_came_in_upon) {
    // "12.5" may be the end of "112.5".
    LineCutter cutter(Begin::in_midst_of);
    EXPECT_THAT(lines(cutter.feed("12.5\n112.4\n")), ElementsAre("112.4"));
}

TEST(LineCutter, says_that_a_line_has_no_end_and_goes_on_with_the_next) {
    LineCutter cutter(Begin::at_a_line);
    std::string endless(3 * longest_line, 'x');
    endless += "\nc1=8\n"; // not by +: GCC 12 sees a bound there that is none
    const auto cuts = cutter.feed(endless);
    EXPECT_THAT(lines(cuts), ElementsAre("! no line end after 4096 bytes", "c1=8"));
    EXPECT_EQ(cuts[0].bytes.size(), 256U);
    EXPECT_EQ(cuts[0].length, longest_line);
}

TEST(LineCutter, takes_a_line_of_the_longest_length_and_none_longer) {
    for (const std::size_t more : {0U, 1U}) {
        LineCutter cutter(Begin::at_a_line);
        std::string line(longest_line + more, 'x');
        line += '\n';
        const auto cuts = cutter.feed(line);
        ASSERT_EQ(cuts.size(), 1U);
        EXPECT_EQ(cuts[0].complaint.empty(), more == 0);
    }
}

TEST(LineCutter, complains_of_what_is_cut_off_at_the_end) {
    LineCutter cutter(Begin::at_a_line);
    EXPECT_THAT(lines(cutter.feed("a\nc1=8.")), ElementsAre("a"));
    EXPECT_THAT(lines(cutter.finish()), ElementsAre("! cut off before its line end"));
    EXPECT_THAT(lines(cutter.feed("b\n")), ElementsAre("b")) << "begins anew";
}

TEST(LineCutter, gives_the_same_lines_however_the_bytes_are_split) {
    Random random(7);
    for (int round = 0; round < 300; ++round) {
        std::string bytes;
        while (random.uniform() > 0.02) {
            bytes += "ab\r\n;1"[random.below(6)];
        }
        LineCutter whole(Begin::at_a_line);
        const auto expected = whole.feed(bytes);
        LineCutter split(Begin::at_a_line);
        std::vector<Cut> got;
        for (std::size_t at = 0; at < bytes.size();) {
            const auto size = 1 + random.below(9);
            for (auto& cut : split.feed(std::string_view(bytes).substr(at, size))) {
                got.push_back(std::move(cut));
            }
            at += size;
        }
        EXPECT_EQ(got, expected) << "round " << round << ": " << bytes;
    }
}

} // namespace
} // namespace backeddy::instruments
