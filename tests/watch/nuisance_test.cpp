// Nights in which nothing is wrong: at most one unneeded alarm per chamber-week, at the thresholds at which
// fault_test.cpp catches every seeded fault. BACKEDDY_NIGHTS sets how many nights (20 when not set; each is
// seven chamber-nights); docs/watch.md has the numbers of a long run.

#include <cstdio>
#include <cstdlib>
#include <map>

#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "watch/faults.hpp"
#include "watch/nights.hpp"

namespace backeddy::watch::test {
namespace {

long long nights() {
    const char* said = std::getenv("BACKEDDY_NIGHTS");
    return said == nullptr ? 20 : parse_whole(said).value_or(0);
}

struct Tally {
    double hours = 0.0;
    int alarms = 0;
};

TEST(NuisanceNights, wake_nobody_for_nothing_more_than_once_in_a_chamber_week) {
    const long long all = nights();
    ASSERT_GT(all, 0) << "BACKEDDY_NIGHTS is no number";
    std::map<std::string, Tally> kinds;
    std::map<std::string, int> causes_seen;
    Tally sum;
    for (long long night = 1; night <= all; ++night) {
        for (int k = 0; k < night_kinds; ++k) {
            const auto kind = static_cast<NightKind>(k);
            const auto found = play_night(kind, static_cast<std::uint64_t>(night));
            auto& tally = kinds[word(kind)];
            tally.hours += found.hours;
            sum.hours += found.hours;
            for (const auto& [cause, count] : found.alarms) {
                tally.alarms += count;
                sum.alarms += count;
                causes_seen[cause] += count;
            }
            if (std::getenv("BACKEDDY_NIGHTS_TELL") != nullptr) {
                for (const auto& line : found.raised) {
                    std::printf("%s %lld: %s\n", word(kind).c_str(), night, line.c_str());
                }
            }
        }
    }
    for (const auto& [kind, tally] : kinds) {
        std::printf("%-10s %8.1f chamber-weeks %5d alarms\n", kind.c_str(), tally.hours / 168.0,
                    tally.alarms);
    }
    for (const auto& [cause, count] : causes_seen) {
        std::printf("  %-20s %5d\n", cause.c_str(), count);
    }
    std::printf("all: %d alarms in %.1f chamber-weeks\n", sum.alarms, sum.hours / 168.0);
    EXPECT_LE(sum.alarms, sum.hours / 168.0);
}

TEST(NuisanceNights, every_seeded_fault_is_caught_at_the_same_thresholds) {
    int played = 0;
    for (long long seed = 4; seed < 4 + (nights() / 10); ++seed) {
        for (const auto& seeded : seeded_cases()) {
            const auto found = play(seeded, static_cast<std::uint64_t>(seed));
            ++played;
            EXPECT_TRUE(found.caught_after_s && *found.caught_after_s <= found.within_s)
                << seeded.name << ", seed " << seed << ", within " << found.within_s
                << " s: " << testing::PrintToString(found.caught_after_s)
                << testing::PrintToString(found.raised);
        }
    }
    std::printf("%d seeded faults\n", played);
}

} // namespace
} // namespace backeddy::watch::test
