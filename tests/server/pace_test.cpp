#include "server/pace.hpp"

#include <gtest/gtest.h>

namespace {

using namespace backeddy::server;
using std::chrono::milliseconds;
using std::chrono::minutes;
using std::chrono::seconds;

const Moment start{};

TEST(Pace, an_address_is_itself_and_an_ipv6_one_its_first_half) {
    EXPECT_EQ(address_group("192.0.2.7"), "192.0.2.7");
    EXPECT_EQ(address_group("2001:db8:1:2:3:4:5:6"), address_group("2001:db8:1:2::9"));
    EXPECT_NE(address_group("2001:db8:1:2::9"), address_group("2001:db8:1:3::9"));
    EXPECT_EQ(address_group("fe80::1%wlan0"), address_group("fe80::2%wlan0"));
    EXPECT_TRUE(is_loopback("127.0.0.1"));
    EXPECT_TRUE(is_loopback("::1"));
    EXPECT_FALSE(is_loopback("192.0.2.7"));
    EXPECT_FALSE(is_loopback("1270.0.0.1"));
}

TEST(Pace, so_many_at_once_then_so_many_a_second) {
    Pace pace(10, 3);
    for (int i = 0; i < 3; ++i) {
        EXPECT_TRUE(pace.take("a", start));
    }
    EXPECT_FALSE(pace.take("a", start));
    EXPECT_TRUE(pace.take("b", start)) << "another address has its own";
    EXPECT_FALSE(pace.take("a", start + milliseconds(90)));
    EXPECT_TRUE(pace.take("a", start + milliseconds(200)));
    for (int i = 0; i < 3; ++i) {
        EXPECT_TRUE(pace.take("a", start + seconds(100))) << "never more than at once";
    }
    EXPECT_FALSE(pace.take("a", start + seconds(100)));
}

TEST(Pace, remembers_no_more_addresses_than_it_may) {
    Pace pace(10, 3);
    for (std::size_t i = 0; i < Pace::most_keys; ++i) {
        EXPECT_TRUE(pace.take(std::to_string(i), start));
    }
    EXPECT_FALSE(pace.take("one more", start));
    EXPECT_TRUE(pace.take("one more", start + seconds(1))) << "those at rest are forgotten";
}

TEST(Guesses, wait_longer_each_time_up_to_a_limit) {
    Guesses guesses{minutes(15)};
    std::vector<long> waits;
    Moment now = start;
    for (int i = 0; i < 14; ++i) {
        guesses.wrong("a", now);
        const auto wait = guesses.wait("a", now);
        waits.push_back(std::chrono::duration_cast<seconds>(wait).count());
        now += wait;
        EXPECT_EQ(guesses.wait("a", now), Length::zero());
    }
    EXPECT_EQ(waits, (std::vector<long>{0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900}));
    EXPECT_EQ(guesses.wait("b", now), Length::zero());
}

TEST(Guesses, are_forgotten_after_an_hour_and_by_the_right_one) {
    Guesses guesses{minutes(15)};
    for (int i = 0; i < 8; ++i) {
        guesses.wrong("a", start);
        guesses.wrong("b", start);
    }
    EXPECT_GT(guesses.wait("a", start), Length::zero());
    EXPECT_EQ(guesses.wait("a", start + std::chrono::hours(1)), Length::zero());
    guesses.right("b");
    EXPECT_EQ(guesses.wait("b", start), Length::zero());
}

TEST(Guesses, of_more_keys_than_it_keeps_the_oldest_goes) {
    Guesses guesses{minutes(15)};
    for (int i = 0; i < 8; ++i) {
        guesses.wrong("oldest", start);
    }
    for (std::size_t i = 0; i < Guesses::most_keys; ++i) {
        guesses.wrong(std::to_string(i), start + seconds(1));
    }
    EXPECT_EQ(guesses.wait("oldest", start + seconds(1)), Length::zero());
}

} // namespace
