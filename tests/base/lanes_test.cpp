#include "base/lanes.hpp"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy {
namespace {

// Beside the C library in extended precision: 64 bits of mantissa, eleven more than a double's.
double worst_error(double got, long double truth) {
    return static_cast<double>(std::abs((static_cast<long double>(got) - truth) / truth));
}

constexpr double allowed = 4.5e-16; // as the header says

TEST(Lanes, exponentials_of_negative_numbers_agree_with_extended_precision) {
    Random random(1);
    double worst = 0.0;
    for (int i = 0; i < 200'000; ++i) {
        const double a = -700.0 * random.uniform();
        const double b = -std::exp2((-60.0 * random.uniform()) + 3.0);
        const Lanes got = exp_of_negative(Lanes{a, b});
        worst = std::max({worst, worst_error(got[0], std::exp(static_cast<long double>(a))),
                          worst_error(got[1], std::exp(static_cast<long double>(b)))});
    }
    EXPECT_LT(worst, allowed);
    const Lanes ends = exp_of_negative(Lanes{0.0, -1e9});
    EXPECT_EQ(ends[0], 1.0);
    EXPECT_GT(ends[1], 0.0);
    EXPECT_LT(ends[1], 1e-303);
}

TEST(Lanes, exponentials_in_single_precision_agree_with_double) {
    Random random(3);
    double worst = 0.0;
    for (int i = 0; i < 100'000; ++i) {
        RoughLanes x{};
        for (int lane = 0; lane < 4; ++lane) {
            x[lane] = static_cast<float>(lane % 2 == 0 ? -80.0 * random.uniform()
                                                       : -std::exp2((-30.0 * random.uniform()) + 1.0));
        }
        const RoughLanes got = exp_of_negative(x);
        for (int lane = 0; lane < 4; ++lane) {
            worst = std::max(worst, worst_error(static_cast<double>(got[lane]),
                                                std::exp(static_cast<long double>(x[lane]))));
        }
    }
    EXPECT_LT(worst, 2.4e-7);
}

TEST(Lanes, logarithms_from_one_to_four_agree_with_extended_precision) {
    Random random(2);
    double worst = 0.0;
    for (int i = 0; i < 200'000; ++i) {
        const double a = 1.0 + (3.0 * random.uniform());
        const double b = 1.0 + std::exp2(-50.0 * random.uniform());
        const Lanes got = log_of_one_to_four(Lanes{a, b});
        if (a > 1.0) {
            worst = std::max(worst, worst_error(got[0], std::log(static_cast<long double>(a))));
        }
        worst = std::max(worst, worst_error(got[1], std::log(static_cast<long double>(b))));
    }
    EXPECT_LT(worst, allowed);
    const Lanes ends = log_of_one_to_four(Lanes{1.0, 4.0});
    EXPECT_EQ(ends[0], 0.0);
    EXPECT_NEAR(ends[1], std::log(4.0), allowed);
}

} // namespace
} // namespace backeddy
