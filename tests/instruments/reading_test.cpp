#include "instruments/reading.hpp"

#include <gtest/gtest.h>

namespace backeddy::instruments {
namespace {

const Stamp at{.wall = *parse_iso("2026-06-14T03:00:00Z"), .monotonic_ns = 90'000'000'000};

TEST(EventInWords, says_device_and_what_happened) {
    const auto words = [](auto what) {
        return in_words(Event{.device = {"probe"}, .at = at, .what = std::move(what)});
    };
    EXPECT_EQ(words(Connected{.to = "192.0.2.7:502"}), "probe connected to 192.0.2.7:502");
    EXPECT_EQ(words(Lost{.why = "no answer for 3 s", .next_try = Duration::seconds(2)}),
              "probe lost: no answer for 3 s; tried again in 2 s");
    EXPECT_EQ(words(Gap{.channel = {"c1_oxygen"},
                        .from = {.wall = at.wall - Duration::seconds(75), .monotonic_ns = 15'000'000'000},
                        .to = at}),
              "probe channel c1_oxygen gave no number for 75 s, until 2026-06-14T03:00:00Z");
    EXPECT_EQ(words(CommandFailed{.pump = "c1", .why = "not connected"}),
              "probe pump c1 not reached: not connected");
}

TEST(EventInWords, shows_bytes_that_are_no_text_without_sending_them_to_a_terminal) {
    EXPECT_EQ(in_words(Event{.device = {"probe"},
                             .at = at,
                             .what = Garbage{.bytes = "a\x1b[2J\xff", .length = 6, .why = "no field"}}),
              "probe 6 bytes that are no reading (no field): a\\x1b[2J\\xff");
}

TEST(EventInWords, measures_a_gap_by_the_clock_that_does_not_step) {
    // The wall clock was set back by an hour in the meantime.
    EXPECT_EQ(in_words(Event{.device = {"probe"},
                             .at = at,
                             .what = Gap{.channel = {"t"},
                                         .from = {.wall = at.wall + Duration::hours(1), .monotonic_ns = 0},
                                         .to = at}}),
              "probe channel t gave no number for 90 s, until 2026-06-14T03:00:00Z");
}

} // namespace
} // namespace backeddy::instruments
