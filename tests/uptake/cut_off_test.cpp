#include "uptake/detail/cut_off.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "fit/quantile.hpp"

namespace backeddy::uptake::detail {
namespace {

// As Theil (1950) and Sen (1968) define it.
double plain_slope(std::span<const double> hours, std::span<const double> values) {
    std::vector<double> slopes;
    for (std::size_t i = 0; i < hours.size(); ++i) {
        for (std::size_t j = i + 1; j < hours.size(); ++j) {
            if (hours[j] > hours[i]) {
                slopes.push_back((values[j] - values[i]) / (hours[j] - hours[i]));
            }
        }
    }
    return fit::quantile(slopes, 0.5).value_or(0.0);
}

TEST(PairwiseSlope, of_a_long_record_is_the_median_of_all_slopes_to_the_bit) {
    for (const std::size_t n : {2U, 24U, 200U, 201U, 202U, 500U, 1001U}) {
        for (const int kind : {0, 1, 2, 3}) {
            Random random(n, static_cast<std::uint64_t>(kind));
            std::vector<double> hours;
            std::vector<double> values;
            for (std::size_t i = 0; i < n; ++i) {
                const auto at = static_cast<double>(i);
                hours.push_back(kind == 3 ? std::floor(at / 7.0) : 0.25 * at); // several values at one hour
                const double fall = kind == 1 ? 50.0 * std::exp(-at / 40.0) : -0.01 * at;
                values.push_back(kind == 2 ? std::floor(4.0 * random.uniform())
                                           : 60.0 + fall + random.normal());
            }
            EXPECT_EQ(pairwise_slope(hours, values), plain_slope(hours, values)) << n << ", kind " << kind;
        }
    }
}

TEST(PairwiseSlope, of_equal_values_or_of_one_moment_is_none) {
    const std::vector<double> equal(400, 5.0);
    std::vector<double> hours;
    for (int i = 0; i < 400; ++i) {
        hours.push_back(i);
    }
    EXPECT_EQ(pairwise_slope(hours, equal), 0.0);
    EXPECT_EQ(pairwise_slope(equal, hours), 0.0);
}

} // namespace
} // namespace backeddy::uptake::detail
