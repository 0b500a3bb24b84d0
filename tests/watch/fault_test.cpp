// Every fault that can be seeded is caught within its time, over the chamber's physics.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "watch/faults.hpp"

namespace backeddy::watch::test {
namespace {

class SeededFault : public testing::TestWithParam<SeededCase> {};

TEST_P(SeededFault, is_caught_within_its_time) {
    const auto& seeded = GetParam();
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
        const auto found = play(seeded, seed);
        EXPECT_TRUE(found.caught_after_s) << seeded.name << ", seed " << seed
                                          << ": not caught; raised: " << testing::PrintToString(found.raised);
        if (seeded.keeps_the_floor) {
            EXPECT_GE(found.lowest_percent, 78.0) << seeded.name << ", seed " << seed;
        }
        if (found.caught_after_s) {
            EXPECT_LE(*found.caught_after_s, found.within_s)
                << seeded.name << ", seed " << seed << ": " << testing::PrintToString(found.raised);
        }
    }
}

INSTANTIATE_TEST_SUITE_P(All, SeededFault, testing::ValuesIn(seeded_cases()),
                         [](const auto& tested) { return tested.param.name; });

} // namespace
} // namespace backeddy::watch::test
