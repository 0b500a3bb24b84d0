// Held against modelled_slope() and modelled_curvature(), which noise_test.cpp holds against closed forms and
// the whole covariance matrix.

#include "fit/line_errors.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::fit {
namespace {

std::vector<double> readings(std::span<const double> times, double bend, Random& random) {
    std::vector<double> out;
    for (const double t : times) {
        out.push_back(9.0 - (0.001 * t) + (bend * t * t) + (0.01 * random.normal()));
    }
    return out;
}

TEST(LineErrors, are_those_of_each_line_by_itself) {
    Random random(5);
    std::vector<double> irregular{0.0};
    std::vector<double> regular{0.0};
    while (regular.size() < 200) {
        regular.push_back(regular.back() + 1.0);
        irregular.push_back(irregular.back() + 0.5 + random.uniform());
    }
    for (const auto& times : {regular, irregular}) {
        for (const auto& x : {times, lagged_times(times, -60.0, 12.0)}) {
            for (const NoiseModel& noise :
                 {NoiseModel{.white_sd = 0.01},
                  NoiseModel{.white_sd = 0.004, .coloured_sd = 0.01, .correlation_time = 15.0}}) {
                const auto first = fit_line(x, readings(times, 0.0, random)).value();
                const auto errors = LineErrors::make(noise, first, times, x).value();
                EXPECT_TRUE(errors.serves(noise, times, x));
                EXPECT_EQ(errors.slope().slope_se, modelled_slope(noise, times, x)->slope_se);
                EXPECT_EQ(errors.slope().effective_n, modelled_slope(noise, times, x)->effective_n);
                for (const double bend : {0.0, 1e-6, -4e-6}) {
                    const auto y = readings(times, bend, random);
                    const auto line = fit_line(x, y).value();
                    const auto wanted = modelled_curvature(noise, line, x, y, times).value();
                    const auto found = errors.curvature(line, y).value();
                    EXPECT_EQ(found.bend, wanted.bend);
                    EXPECT_EQ(found.share, wanted.share);
                    EXPECT_EQ(found.bend_se, wanted.bend_se);
                    EXPECT_EQ(found.change_se, wanted.change_se);
                    EXPECT_NEAR(found.share_se, wanted.share_se, 1e-12 * wanted.share_se);
                }
            }
        }
    }
}

TEST(LineErrors, serve_only_what_they_were_made_for) {
    const NoiseModel noise{.white_sd = 0.01};
    const std::vector<double> times{0, 1, 2, 3, 4};
    const std::vector<double> longer{0, 1, 2, 3, 4, 5};
    const std::vector<double> later{0, 1, 2, 3, 5};
    const std::vector<double> y{5, 4, 3.5, 2, 1};
    const auto errors = LineErrors::make(noise, fit_line(times, y).value(), times, times).value();
    EXPECT_FALSE(errors.serves(noise, longer, longer));
    EXPECT_FALSE(errors.serves(noise, later, later));
    EXPECT_FALSE(errors.serves(noise, times, later));
    EXPECT_FALSE(errors.serves({.white_sd = 0.02}, times, times));
}

TEST(LineErrors, see_no_bend_where_there_is_none_to_see) {
    const NoiseModel noise{.white_sd = 0.01};
    const std::vector<double> three{0, 1, 2};
    const std::vector<double> two_places{0, 0, 1, 1};
    const std::vector<double> once{2, 2, 2};
    for (const auto& x : {three, two_places}) {
        const auto line = fit_line(x, x).value();
        EXPECT_FALSE(LineErrors::make(noise, line, x, x).value().curvature(line, x));
    }
    EXPECT_FALSE(LineErrors::make(noise, fit_line(three, three).value(), once, once));
}

} // namespace
} // namespace backeddy::fit
