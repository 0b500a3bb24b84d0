#include "live/recent.hpp"

#include <algorithm>
#include <limits>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "base/random.hpp"

namespace backeddy::live {
namespace {

TEST(Recent, never_hides_an_extreme_and_keeps_no_more_than_it_should) {
    Random random(5);
    Recent recent(1, Duration::seconds(5.0), Duration::seconds(500.0));
    double lowest = std::numeric_limits<double>::infinity();
    double highest = -lowest;
    for (int i = 0; i < 400; ++i) { // a second each: less than is kept
        const double value = 8.0 + random.normal();
        lowest = std::min(lowest, value);
        highest = std::max(highest, value);
        recent.take(0, Instant::unix_seconds(1.78e9 + i), value,
                    (i / 60) % 2 == 0 ? watch::Phase::flush : watch::Phase::sealed);
        recent.take(0, Instant::unix_seconds(1.78e9 + i), std::numeric_limits<double>::quiet_NaN(),
                    watch::Phase::flush);
    }
    const auto& course = recent.of(0);
    const auto lowest_of = [](const auto& a, const auto& b) { return a.lowest < b.lowest; };
    const auto highest_of = [](const auto& a, const auto& b) { return a.highest < b.highest; };
    EXPECT_EQ(std::min_element(course.begin(), course.end(), lowest_of)->lowest, lowest);
    EXPECT_EQ(std::max_element(course.begin(), course.end(), highest_of)->highest, highest);
    EXPECT_LE(course.size(), 87U) << "80 stretches, and one more at most for each change of phase";
    for (int i = 400; i < 5'000; ++i) {
        recent.take(0, Instant::unix_seconds(1.78e9 + i), 8.0, watch::Phase::flush);
    }
    EXPECT_EQ(course.size(), 100U);
}

TEST(Recent, goes_on_when_the_clock_steps_back) {
    Recent recent(1);
    recent.take(0, Instant::unix_seconds(1.78e9), 8.0, watch::Phase::flush);
    recent.take(0, Instant::unix_seconds(1.78e9 - 3600.0), 7.0, watch::Phase::flush);
    ASSERT_EQ(recent.of(0).size(), 2U);
    EXPECT_EQ(recent.of(0)[1].lowest, 7.0);
}

TEST(Recent, is_columns_of_one_length) {
    Recent recent(2);
    for (int i = 0; i < 30; ++i) {
        recent.take(1, Instant::unix_seconds(1.78e9 + i), 8.0 - 0.01 * i,
                    i < 15 ? watch::Phase::flush : watch::Phase::sealed);
    }
    const auto said = nlohmann::json::parse(recent.json(1));
    EXPECT_EQ(said["from"].size(), 6U);
    EXPECT_EQ(said["from"][0], 1'780'000'000'000);
    for (const char* column : {"lowest", "highest", "sealed"}) {
        EXPECT_EQ(said[column].size(), 6U) << column;
    }
    EXPECT_EQ(said["sealed"][2], 0);
    EXPECT_EQ(said["sealed"][3], 1);
    EXPECT_EQ(nlohmann::json::parse(recent.json(0))["from"].size(), 0U);
}

} // namespace
} // namespace backeddy::live
