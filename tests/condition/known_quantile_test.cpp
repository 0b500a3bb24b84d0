#include "condition/known_quantile.hpp"

#include <algorithm>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

namespace backeddy::condition {

namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();
using Values = std::vector<stats::Interval>;

stats::Interval below(double limit) {
    return {0.0, limit};
}
stats::Interval at(double value) {
    return {value, value};
}

stats::Interval quantile(const Values& values, double p) {
    return known_quantile(values, p).value_or(stats::Interval{-1.0, -1.0});
}

void expect(const Values& values, double p, double lower, double upper) {
    const auto got = quantile(values, p);
    EXPECT_DOUBLE_EQ(got.lower, lower) << "share " << p;
    EXPECT_DOUBLE_EQ(got.upper, upper) << "share " << p;
}

// By hand. Three of four below 5 and one of 1.6: the three may all be below 1.6, or all above it.
TEST(KnownQuantile, a_value_below_a_high_limit_may_be_on_either_side_of_a_low_value) {
    const Values glucose{below(5.0), below(5.0), below(5.0), at(1.6)};
    expect(glucose, 0.25, 0.0, (1.6 + 5.0) / 2.0);
    expect(glucose, 0.5, 0.0, 5.0);
    expect(glucose, 0.75, (0.0 + 1.6) / 2.0, 5.0);
    const Values lactate{below(5.0), below(5.0), below(5.0), below(0.2), below(18.4), at(37.0)};
    expect(lactate, 0.25, 0.0, 5.0);
    expect(lactate, 0.5, 0.0, 5.0);
    expect(lactate, 0.75, 0.0, 18.4);
}

// quantile(c(0.5, 1, 2, 3, 4), c(0.25, 0.5, 0.75), type = 2) of R is 1, 2, 3; and of 1 to 4 1.5, 2.5, 3.5 (by
// hand: the mean of the two beside the share).
TEST(KnownQuantile, values_known_exactly_have_their_plain_quantiles) {
    const Values five{at(4.0), at(1.0), at(0.5), at(3.0), at(2.0)};
    expect(five, 0.25, 1.0, 1.0);
    expect(five, 0.5, 2.0, 2.0);
    expect(five, 0.75, 3.0, 3.0);
    const Values four{at(4.0), at(1.0), at(3.0), at(2.0)};
    expect(four, 0.25, 1.5, 1.5);
    expect(four, 0.5, 2.5, 2.5);
    expect(four, 0.75, 3.5, 3.5);
    expect({at(7.0)}, 0.25, 7.0, 7.0);
}

TEST(KnownQuantile, a_value_above_a_limit_has_no_upper_bound) {
    expect({at(1.0), {8.0, infinite}, {9.0, infinite}}, 0.5, 8.0, infinite);
    expect({at(1.0), at(2.0), {9.0, infinite}}, 0.5, 2.0, 2.0);
}

/// The quantile from its definition: the middle of all x with a share p at least at or below, and a share 1 -
/// p at least at or above.
double by_definition(const std::vector<double>& values, double p) {
    double least = infinite;
    double most = -infinite;
    const auto n = static_cast<double>(values.size());
    for (const double x : values) {
        const auto at_most = std::ranges::count_if(values, [&](double v) { return v <= x; });
        const auto at_least = std::ranges::count_if(values, [&](double v) { return v >= x; });
        if (static_cast<double>(at_most) >= p * n && static_cast<double>(at_least) >= (1.0 - p) * n) {
            least = std::min(least, x);
            most = std::max(most, x);
        }
    }
    return (least + most) / 2.0;
}

/// Least and most of the quantile over all truths, each value put at each whole number of its interval.
stats::Interval by_enumeration(const Values& values, double p) {
    stats::Interval out{infinite, -infinite};
    std::vector<double> truth;
    for (const auto& value : values) {
        truth.push_back(value.lower);
    }
    for (;;) {
        const double q = by_definition(truth, p);
        out = {std::min(out.lower, q), std::max(out.upper, q)};
        std::size_t i = 0;
        while (i < truth.size() && truth[i] == values[i].upper) {
            truth[i] = values[i].lower;
            ++i;
        }
        if (i == truth.size()) {
            return out;
        }
        truth[i] += 1.0;
    }
}

// Every sample of one to four values out of six intervals, against every truth that they leave open.
TEST(KnownQuantile, bounds_are_the_least_and_most_of_every_truth) {
    const Values kinds{at(1.0), at(3.0), below(2.0), below(4.0), {1.0, 3.0}, {2.0, 4.0}};
    std::size_t met = 0;
    for (std::size_t n = 1; n <= 4; ++n) {
        std::size_t samples = 1;
        for (std::size_t i = 0; i < n; ++i) {
            samples *= kinds.size();
        }
        for (std::size_t number = 0; number < samples; ++number) {
            Values values;
            for (std::size_t i = 0, rest = number; i < n; ++i, rest /= kinds.size()) {
                values.push_back(kinds[rest % kinds.size()]);
            }
            for (const double p : {0.25, 0.5, 0.75}) {
                const auto truth = by_enumeration(values, p);
                expect(values, p, truth.lower, truth.upper);
                ++met;
            }
        }
    }
    EXPECT_EQ(met, 3U * (6U + 36U + 216U + 1296U));
}

TEST(KnownQuantile, what_cannot_be_is_refused) {
    EXPECT_EQ(known_quantile({}, 0.5).error().code, ErrorCode::too_few);
    const Values upside_down{{2.0, 1.0}};
    EXPECT_EQ(known_quantile(upside_down, 0.5).error().code, ErrorCode::out_of_range);
    const Values fine{at(1.0)};
    EXPECT_EQ(known_quantile(fine, 0.0).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(known_quantile(fine, 1.0).error().code, ErrorCode::out_of_range);
}

} // namespace

} // namespace backeddy::condition
