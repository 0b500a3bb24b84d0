#include "store/hybrid_time.hpp"

#include <algorithm>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::store {
namespace {

// By hand from the figure's cases (Kulkarni et al. 2014, figure 5).
TEST(HybridTime, of_an_own_entry_is_the_wall_s_or_counts_on) {
    EXPECT_EQ(tick({.wall_us = 10, .count = 3}, 11), (HybridTime{.wall_us = 11, .count = 0}));
    EXPECT_EQ(tick({.wall_us = 10, .count = 3}, 10), (HybridTime{.wall_us = 10, .count = 4}));
    EXPECT_EQ(tick({.wall_us = 10, .count = 3}, 2), (HybridTime{.wall_us = 10, .count = 4})); // wall set back
}

TEST(HybridTime, of_an_entry_received_follows_the_four_cases) {
    const HybridTime last{.wall_us = 10, .count = 3};
    EXPECT_EQ(receive(last, {.wall_us = 10, .count = 7}, 9), (HybridTime{.wall_us = 10, .count = 8}));
    EXPECT_EQ(receive(last, {.wall_us = 9, .count = 7}, 9), (HybridTime{.wall_us = 10, .count = 4}));
    EXPECT_EQ(receive(last, {.wall_us = 12, .count = 7}, 9), (HybridTime{.wall_us = 12, .count = 8}));
    EXPECT_EQ(receive(last, {.wall_us = 12, .count = 7}, 20), (HybridTime{.wall_us = 20, .count = 0}));
}

TEST(HybridTime, does_not_follow_a_clock_that_is_wrong_by_more_than_a_day) {
    const std::int64_t now = 1'780'000'000'000'000;
    const HybridTime last{.wall_us = now - 5, .count = 0};
    const HybridTime fast{.wall_us = now + most_ahead_us, .count = 1};
    const HybridTime wrong{.wall_us = now + most_ahead_us + 1, .count = 1};
    EXPECT_EQ(receive(last, fast, now), (HybridTime{.wall_us = fast.wall_us, .count = 2}));
    EXPECT_EQ(receive(last, wrong, now), (HybridTime{.wall_us = now, .count = 0}));
}

TEST(HybridTime, carries_a_full_count) {
    const HybridTime full{.wall_us = 10, .count = std::numeric_limits<std::uint32_t>::max()};
    EXPECT_GT(tick(full, 3), full);
    EXPECT_EQ(tick(full, 3), (HybridTime{.wall_us = 11, .count = 0}));
}

// Theorem 1 of the paper (what happened before has the smaller time) and its bound (a time is never behind
// its own wall, nor ahead of every wall that led to it), on devices whose clocks are wrong, drift and are
// set.
TEST(HybridTime, what_was_seen_before_has_the_smaller_time_whatever_the_clocks_do) {
    struct Event {
        std::size_t device;
        HybridTime time;
        std::int64_t wall;
    };
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        Random random(seed);
        constexpr std::size_t devices = 4;
        std::vector<std::int64_t> offset(devices);
        for (auto& one : offset) {
            one = static_cast<std::int64_t>(random.below(4'000));
        }
        std::vector<HybridTime> last(devices);
        std::vector<Event> events;
        std::int64_t latest_wall = 0;
        for (std::int64_t now = 10'000; now < 14'000; now += static_cast<std::int64_t>(random.below(4))) {
            const std::size_t device = random.below(devices);
            if (random.below(50) == 0) {
                offset[device] = static_cast<std::int64_t>(random.below(4'000));
            }
            const std::int64_t wall = now + offset[device];
            latest_wall = std::max(latest_wall, wall);
            const HybridTime before = last[device];
            if (random.below(3) == 0 && !events.empty()) {
                const Event& seen = events[random.below(events.size())];
                last[device] = receive(before, seen.time, wall);
                EXPECT_GT(last[device], seen.time) << "seed " << seed;
            } else {
                last[device] = tick(before, wall);
                events.push_back({.device = device, .time = last[device], .wall = wall});
            }
            ASSERT_GT(last[device], before) << "seed " << seed;
            ASSERT_GE(last[device].wall_us, wall) << "seed " << seed;
            ASSERT_LE(last[device].wall_us, latest_wall) << "seed " << seed;
        }
        ASSERT_GT(events.size(), 500U);
    }
}

} // namespace
} // namespace backeddy::store
