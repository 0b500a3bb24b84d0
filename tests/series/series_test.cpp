#include <algorithm>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "series/instant.hpp"
#include "series/trace.hpp"

namespace backeddy {
namespace {

// RFC 3339, section 5.8, examples: the first two name these moments; 1985-04-12T23:20:50.52Z is 482196050.52
// s.
TEST(Instant, reads_the_examples_of_rfc_3339) {
    EXPECT_EQ(parse_iso("1985-04-12T23:20:50.52Z")->unix_nanoseconds(), 482196050520000000);
    EXPECT_EQ(parse_iso("1996-12-19T16:39:57-08:00"), parse_iso("1996-12-20T00:39:57Z"));
    EXPECT_EQ(parse_iso("1937-01-01T12:00:27.87+00:20"), parse_iso("1937-01-01T11:40:27.87Z"));
}

TEST(Instant, refuses_what_is_no_moment) {
    for (const auto* text :
         {"2026-02-30T10:00:00Z", "2026-02-03T10:00:00", "2026-02-03", "2026-02-03T24:00:00Z",
          "2026-02-03T10:00:00Zx", "26-02-03T10:00:00Z", "2026-02-03T10:00:00.Z", ""}) {
        EXPECT_EQ(parse_iso(text), std::nullopt) << text;
    }
}

// Found by the fuzz target: a year outside what 64 bits of nanoseconds hold overflowed into another century.
TEST(Instant, refuses_years_that_it_cannot_hold) {
    for (const auto* text : {"0001-01-01T00:00:00Z", "1677-12-31T23:59:59Z", "2262-01-01T00:00:00Z"}) {
        EXPECT_EQ(parse_iso(text), std::nullopt) << text;
    }
    for (const auto* text : {"1678-01-01T00:00:00Z", "2261-12-31T23:59:59.999999999Z"}) {
        EXPECT_EQ(iso_text(parse_iso(text).value()), text);
    }
}

TEST(Instant, text_reads_back) {
    for (const std::int64_t ns : {0LL, 1LL, -1LL, 1781471103250000000LL}) {
        const auto moment = Instant::unix_nanoseconds(ns);
        EXPECT_EQ(parse_iso(iso_text(moment)), moment) << iso_text(moment);
    }
    EXPECT_EQ(iso_text(Instant::unix_nanoseconds(1781471103250000000)), "2026-06-14T21:05:03.25Z");
    // 2^63 nanoseconds on either side of 1970, as numpy's manual gives the span of datetime64[ns].
    EXPECT_EQ(iso_text(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::max())),
              "2262-04-11T23:47:16.854775807Z");
    EXPECT_EQ(iso_text(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min())),
              "1677-09-21T00:12:43.145224192Z");
}

// The middle by definition: the steps sorted, the one at half their number. Steps that are all alike, that
// take turns (so that a sample of them misleads), that repeat or run backward.
TEST(Trace, the_median_interval_is_the_middle_one_of_all_steps) {
    for (const std::size_t rows : {2U, 3U, 4U, 7U, 999U, 1002U, 1003U, 4000U}) {
        for (const std::int64_t unlike : {0, -5, 1, 3, 50}) {
            for (const std::size_t every : {1U, 2U, 3U, 4U, 700U}) {
                std::vector<std::int64_t> times{1'000};
                while (times.size() < rows) {
                    const bool is_unlike = times.size() % every == 0;
                    times.push_back(times.back() +
                                    (is_unlike ? unlike + static_cast<std::int64_t>(times.size() % 5) : 7));
                }
                std::vector<std::int64_t> steps;
                for (std::size_t i = 1; i < times.size(); ++i) {
                    steps.push_back(times[i] - times[i - 1]);
                }
                std::sort(steps.begin(), steps.end());
                EXPECT_EQ(median_interval_s(times), static_cast<double>(steps[steps.size() / 2]) * 1e-9)
                    << rows << " rows, each " << every << "th step " << unlike;
            }
        }
    }
}

TEST(Trace, gaps_and_interpolation) {
    const std::vector<std::int64_t> times{0, 1000000000, 2000000000, 10000000000};
    const std::vector<double> values{1.0, 2.0, missing, 5.0};
    EXPECT_DOUBLE_EQ(median_interval_s(times), 1.0);
    ASSERT_EQ(gaps(times, 3.0).size(), 1U);
    EXPECT_DOUBLE_EQ(interpolated(times, values, Instant::unix_seconds(0.25), Duration::seconds(2)), 1.25);
    EXPECT_TRUE(std::isnan(interpolated(times, values, Instant::unix_seconds(1.5), Duration::seconds(2))));
    EXPECT_TRUE(std::isnan(interpolated(times, values, Instant::unix_seconds(5.0), Duration::seconds(2))));
    EXPECT_TRUE(std::isnan(interpolated(times, values, Instant::unix_seconds(11.0), Duration::seconds(2))));
}

} // namespace
} // namespace backeddy
