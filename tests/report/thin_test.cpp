#include "report/thin.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <gmock/gmock.h>

#include "base/random.hpp"
#include "series/trace.hpp"

namespace backeddy::report {
namespace {

uptake::ChamberTrace trace_of(std::size_t rows) {
    uptake::ChamberTrace trace;
    for (std::size_t i = 0; i < rows; ++i) {
        trace.times_ns.push_back(static_cast<std::int64_t>(i) * 1'000'000'000);
        trace.oxygen_mg_per_l.push_back(8.0 + std::sin(static_cast<double>(i) / 50.0));
        trace.state.push_back(i % 600 < 200 ? uptake::ChamberState::flush : uptake::ChamberState::sealed);
    }
    return trace;
}

Instant second(double s) {
    return Instant::unix_seconds(s);
}

TEST(Thinned, keeps_every_extreme) {
    auto trace = trace_of(20000);
    trace.oxygen_mg_per_l[7777] = 2.5;
    trace.oxygen_mg_per_l[15001] = 14.5;
    const DrawnTrace drawn = thinned(trace, second(0.0), second(20000.0), {.slices = 100});
    EXPECT_LE(drawn.at_s.size(), 200U);
    EXPECT_EQ(drawn.rows, 20000U);
    EXPECT_EQ(std::ranges::min(drawn.oxygen_mg_per_l), 2.5);
    EXPECT_EQ(std::ranges::max(drawn.oxygen_mg_per_l), 14.5);
    EXPECT_TRUE(std::ranges::is_sorted(drawn.at_s));
}

TEST(Thinned, keeps_a_short_trace_as_it_is) {
    const auto trace = trace_of(150);
    const DrawnTrace drawn = thinned(trace, second(0.0), second(149.0), {.slices = 100});
    EXPECT_EQ(drawn.oxygen_mg_per_l, trace.oxygen_mg_per_l);
}

TEST(Thinned, draws_a_gap_as_a_gap) {
    auto trace = trace_of(2000);
    for (std::size_t i = 500; i < 700; ++i) {
        trace.oxygen_mg_per_l[i] = missing;
    }
    const DrawnTrace drawn = thinned(trace, second(0.0), second(2000.0), {.slices = 50});
    EXPECT_EQ(std::ranges::count_if(drawn.oxygen_mg_per_l, [](double v) { return std::isnan(v); }), 1);
}

TEST(Thinned, of_no_readings_is_empty) {
    EXPECT_TRUE(thinned({}, second(0.0), second(10.0)).at_s.empty());
    EXPECT_TRUE(thinned(trace_of(10), second(100.0), second(200.0)).at_s.empty());
}

TEST(StateRuns, follow_each_other_without_holes) {
    const auto runs = state_runs(trace_of(1800), second(0.0), second(1799.0));
    ASSERT_EQ(runs.size(), 6U);
    EXPECT_EQ(runs[0].state, uptake::ChamberState::flush);
    EXPECT_EQ(runs[1].state, uptake::ChamberState::sealed);
    for (std::size_t i = 1; i < runs.size(); ++i) {
        EXPECT_EQ(runs[i].from, runs[i - 1].to);
    }
    EXPECT_EQ(runs[1].from, second(200.0));
}

TEST(ThinCurve, every_extreme_is_kept_and_pieces_stay_apart) {
    Curve curve;
    std::vector<int> piece;
    for (int i = 0; i < 10000; ++i) {
        curve.x.push_back(0.001 * i);
        curve.y.push_back(i == 4321 ? 99.0 : i == 8765 ? -7.0 : std::sin(0.01 * i));
        curve.low.push_back(curve.y.back() - 1.0);
        curve.high.push_back(curve.y.back() + 1.0);
        piece.push_back(i / 2500);
    }
    const Curve thin = thinned(curve, piece, 100);
    EXPECT_LE(thin.x.size(), 2U * 104U + 3U);
    EXPECT_EQ(*std::max_element(thin.high.begin(), thin.high.end()), 100.0);
    EXPECT_EQ(std::count_if(thin.y.begin(), thin.y.end(), [](double v) { return v == -7.0; }), 1);
    EXPECT_EQ(std::count_if(thin.y.begin(), thin.y.end(), [](double v) { return std::isnan(v); }), 3);
    EXPECT_TRUE(std::is_sorted(thin.x.begin(), thin.x.end()));
    for (std::size_t i = 0; i < thin.x.size(); ++i) {
        if (!std::isnan(thin.y[i])) {
            EXPECT_EQ(thin.low[i], thin.y[i] - 1.0);
        }
    }
}

TEST(ThinCurve, a_short_one_stays_whole_and_none_stays_none) {
    const Curve curve{.x = {0, 1, 2}, .y = {5, 6, 7}, .low = {4, 5, 6}, .high = {6, 7, 8}};
    const std::vector<int> piece{0, 0, 0};
    EXPECT_EQ(thinned(curve, piece, 10).y, curve.y);
    EXPECT_TRUE(thinned({}, {}, 10).x.empty());
}

/// A second apart, with holes in time, missing readings alone and in long runs, and equal extremes.
uptake::ChamberTrace ragged_trace(Random& random, std::size_t rows) {
    uptake::ChamberTrace trace;
    std::int64_t at = 0;
    bool is_missing = false;
    for (std::size_t i = 0; i < rows; ++i) {
        at +=
            1'000'000'000 * (random.below(500) == 0 ? 1 + static_cast<std::int64_t>(random.below(4000)) : 1);
        is_missing = random.below(is_missing ? 200 : 900) == 0 ? !is_missing : is_missing;
        const bool is_none = is_missing || random.below(40) == 0;
        trace.times_ns.push_back(at);
        trace.oxygen_mg_per_l.push_back(is_none ? missing : static_cast<double>(random.below(60)) / 8.0);
    }
    return trace;
}

TEST(Pyramid, gives_of_any_rows_what_looking_at_each_of_them_gives) {
    Random random(21);
    for (const std::size_t rows : {0U, 1U, 63U, 64U, 65U, 4096U, 4097U, 9000U, 300'000U}) {
        const auto trace = ragged_trace(random, rows);
        const TracePyramid pyramid(trace);
        for (int i = 0; i < 300; ++i) {
            std::size_t first = random.below(rows + 1);
            std::size_t end = random.below(rows + 1);
            if (end < first) {
                std::swap(first, end);
            }
            Outline expected;
            for (std::size_t row = first; row < end; ++row) {
                const double oxygen = trace.oxygen_mg_per_l[row];
                if (!std::isfinite(oxygen)) {
                    continue;
                }
                if (expected.readable == 0) {
                    expected = {.readable = 1, .first = row, .last = row, .low = row, .high = row};
                    continue;
                }
                ++expected.readable;
                expected.low = oxygen < trace.oxygen_mg_per_l[expected.low] ? row : expected.low;
                expected.high = oxygen > trace.oxygen_mg_per_l[expected.high] ? row : expected.high;
                expected.longest_step =
                    std::max(expected.longest_step, trace.times_ns[row] - trace.times_ns[expected.last]);
                expected.last = row;
            }
            ASSERT_TRUE(pyramid.of(first, end) == expected) << rows << " rows, " << first << " to " << end;
        }
    }
}

TEST(Pyramid, draws_the_same_points_as_looking_at_each_reading) {
    Random random(22);
    for (int i = 0; i < 60; ++i) {
        const auto trace = ragged_trace(random, 500 + random.below(60'000));
        const TracePyramid pyramid(trace);
        const auto span = static_cast<double>(trace.times_ns.back()) / 1e9;
        const double from = random.uniform() * 0.5 * span;
        const double to = from + ((0.3 + (0.7 * random.uniform())) * (span - from));
        const ThinLimits limits{.slices = 1 + random.below(700)};
        const auto plain = thinned(trace, second(from), second(to), limits);
        const auto quick = thinned(trace, pyramid, second(from), second(to), limits);
        EXPECT_EQ(quick.rows, plain.rows);
        ASSERT_EQ(quick.at_s, plain.at_s) << i;
        ASSERT_EQ(quick.oxygen_mg_per_l.size(), plain.oxygen_mg_per_l.size());
        for (std::size_t k = 0; k < plain.oxygen_mg_per_l.size(); ++k) {
            const double a = quick.oxygen_mg_per_l[k];
            const double b = plain.oxygen_mg_per_l[k];
            EXPECT_TRUE(a == b || (std::isnan(a) && std::isnan(b))) << i << ", point " << k;
        }
    }
}

} // namespace
} // namespace backeddy::report
