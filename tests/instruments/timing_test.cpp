// Waiting, gaps and heartbeats: what depends on time, by times that are handed in.

#include <gtest/gtest.h>

#include "instruments/backoff.hpp"
#include "instruments/gap_watch.hpp"
#include "instruments/pump_heart.hpp"
#include "instruments/support.hpp"

namespace backeddy::instruments {
namespace {

TEST(Backoff, waits_longer_each_time_and_never_beyond_half_a_minute) {
    Backoff backoff(1);
    double expected_s = 1.0;
    for (int i = 0; i < 20; ++i) {
        const double wait_s = backoff.next().seconds();
        EXPECT_GE(wait_s, 0.75 * expected_s) << i;
        EXPECT_LE(wait_s, 1.25 * expected_s) << i;
        expected_s = std::min(2.0 * expected_s, 24.0);
    }
    backoff.reset();
    EXPECT_LE(backoff.next().seconds(), 1.25);
}

TEST(Backoff, spreads_devices_that_were_lost_together) {
    Backoff one(1);
    Backoff other(2);
    EXPECT_NE(one.next(), other.next());
}

TEST(GapWatch, tells_of_a_gap_when_the_channel_speaks_again) {
    const std::vector<Channel> channels{channel("a"), channel("b")}; // gap_after 10 s
    GapWatch gaps(channels, noon);
    const auto heard = [&](double at_s, const std::string& id) {
        return gaps.heard({.channel = {id}, .value = 8.0, .received = later(at_s)});
    };
    EXPECT_FALSE(heard(1, "a"));
    EXPECT_FALSE(heard(11, "a")) << "ten seconds are allowed";
    const auto gap = heard(90, "a");
    ASSERT_TRUE(gap);
    EXPECT_EQ(gap->channel.text, "a");
    EXPECT_EQ(gap->from, later(11));
    EXPECT_EQ(gap->to, later(90));
    EXPECT_FALSE(heard(91, "a"));
    ASSERT_TRUE(heard(92, "b")) << "silent since the program began";
    EXPECT_FALSE(heard(1000, "another's"));
}

TEST(GapWatch, is_not_ended_by_a_reading_without_a_number) {
    const std::vector<Channel> channels{channel("a")};
    GapWatch gaps(channels, noon);
    EXPECT_FALSE(gaps.heard(without_number(channels[0], Missing::no_number, later(60), std::nullopt)));
    const auto gap = gaps.heard({.channel = {"a"}, .value = 8.0, .received = later(70)});
    ASSERT_TRUE(gap);
    EXPECT_EQ(gap->from, noon);
}

TEST(GapWatch, counts_by_the_clock_that_does_not_step) {
    const std::vector<Channel> channels{channel("a")};
    GapWatch gaps(channels, noon);
    auto stepped = later(5);
    stepped.wall = stepped.wall + Duration::hours(1);
    EXPECT_FALSE(gaps.heard({.channel = {"a"}, .value = 8.0, .received = stepped}));
}

constexpr std::int64_t s = 1'000'000'000;

TEST(PumpHeart, flushes_until_it_is_told_to_seal_and_says_so_again_and_again) {
    PumpHeart heart(Duration::seconds(5));
    EXPECT_EQ(heart.due(0), PumpState::flush);
    heart.sent(PumpState::flush, 0);
    EXPECT_EQ(heart.due(4 * s), std::nullopt);
    EXPECT_EQ(heart.due(5 * s), PumpState::flush);
    heart.sent(PumpState::flush, 5 * s);
    heart.seal(6 * s, Duration::seconds(20));
    EXPECT_EQ(heart.due(6 * s), PumpState::sealed) << "a change goes out at once";
    heart.sent(PumpState::sealed, 6 * s);
    EXPECT_EQ(heart.due(10 * s), std::nullopt);
    EXPECT_EQ(heart.due(11 * s), PumpState::sealed);
}

TEST(PumpHeart, flushes_when_nobody_renews_the_seal) {
    PumpHeart heart(Duration::seconds(5));
    heart.seal(0, Duration::seconds(8));
    heart.sent(PumpState::sealed, 5 * s);
    EXPECT_EQ(heart.due(7 * s), std::nullopt);
    EXPECT_EQ(heart.due(8 * s), PumpState::flush);
    heart.seal(9 * s, Duration::seconds(8));
    heart.seal(12 * s, Duration::seconds(8));
    EXPECT_EQ(heart.wanted(19 * s), PumpState::sealed) << "renewed";
    EXPECT_EQ(heart.wanted(20 * s), PumpState::flush);
}

TEST(PumpHeart, ends_a_seal_at_once_when_told_to_flush) {
    PumpHeart heart(Duration::seconds(5));
    heart.seal(0, Duration::hours(1));
    heart.sent(PumpState::sealed, 0);
    heart.flush();
    EXPECT_EQ(heart.due(1), PumpState::flush);
}

TEST(PumpHeart, says_its_word_anew_to_a_device_that_came_back) {
    PumpHeart heart(Duration::seconds(5));
    heart.sent(PumpState::flush, 0);
    heart.forget();
    EXPECT_EQ(heart.due(1), PumpState::flush);
}

} // namespace
} // namespace backeddy::instruments
