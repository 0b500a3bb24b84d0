#include "uptake/detail/deconvolve.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <gtest/gtest.h>

#include "base/random.hpp"

namespace backeddy::uptake::detail {
namespace {

struct Night {
    std::vector<double> values;
    std::vector<double> errors;
};

Night night_of(std::size_t n, std::uint64_t seed) {
    Random random(seed);
    Night out;
    for (std::size_t i = 0; i < n; ++i) {
        const double truth =
            60.0 + (3.0 * random.normal()) + (random.uniform() < 0.3 ? 20.0 * random.exponential() : 0.0);
        const double error = i % 17 == 0 ? 0.0 : 0.3 + (2.0 * random.uniform());
        out.values.push_back(truth + (error * random.normal()));
        out.errors.push_back(error);
    }
    return out;
}

// Laird's EM as it is written (1978, J Am Stat Assoc 73:805): every value at every point, in extended
// precision, a value's likelihoods relative to its greatest, which cancels.
std::vector<long double> dense(const Night& night, std::span<const double> points, std::size_t steps) {
    const std::size_t m = points.size();
    const std::size_t n = night.values.size();
    const double least = 1e-4 * (points.back() - points.front());
    std::vector<std::vector<long double>> likelihood(n, std::vector<long double>(m));
    for (std::size_t i = 0; i < n; ++i) {
        long double nearest = std::numeric_limits<long double>::infinity();
        for (std::size_t j = 0; j < m; ++j) {
            const long double z =
                (static_cast<long double>(night.values[i]) - points[j]) / std::max(night.errors[i], least);
            likelihood[i][j] = z * z;
            nearest = std::min(nearest, z * z);
        }
        for (auto& one : likelihood[i]) {
            one = std::exp(-0.5L * (one - nearest));
        }
    }
    std::vector<long double> weights(m, 1.0L / static_cast<long double>(m));
    for (std::size_t step = 0; step < steps; ++step) {
        std::vector<long double> next(m, 0.0L);
        for (const auto& row : likelihood) {
            long double sum = 0.0L;
            for (std::size_t j = 0; j < m; ++j) {
                sum += weights[j] * row[j];
            }
            for (std::size_t j = 0; j < m; ++j) {
                next[j] += weights[j] * row[j] / (sum * static_cast<long double>(n));
            }
        }
        weights = next;
    }
    return weights;
}

TEST(Deconvolved, only_what_is_in_reach_gives_what_every_pair_of_value_and_point_gives) {
    for (const std::size_t n : {5U, 41U, 150U, 333U}) {
        const auto night = night_of(n, n);
        const auto got = deconvolved(night.values, night.errors);
        const auto plain = dense(night, got.points, 100);
        for (std::size_t j = 0; j < plain.size(); ++j) {
            EXPECT_NEAR(got.weights[j], static_cast<double>(plain[j]), 1e-13) << n << " values, point " << j;
        }
    }
}

// exp(-38.6^2 / 2) is below the least double: a value as far as that from every point of a long night's
// thinned support used to be lost, and one a little nearer made every weight not a number.
TEST(Deconvolved, a_value_far_from_every_point_keeps_its_share) {
    Random random(5);
    Night night;
    for (int i = 0; i < 1000; ++i) {
        night.values.push_back(60.0 + random.normal());
        night.errors.push_back(0.05);
    }
    for (int i = 0; i < 60; ++i) {
        night.values.push_back(100.0 + (1.9 * i));
        night.errors.push_back(0.05);
    }
    const auto got = deconvolved(night.values, night.errors);
    EXPECT_NEAR(std::accumulate(got.weights.begin(), got.weights.end(), 0.0), 1.0, 1e-12);
    double high = 0.0;
    for (std::size_t j = 0; j < got.points.size(); ++j) {
        high += got.points[j] > 80.0 ? got.weights[j] : 0.0;
    }
    EXPECT_NEAR(high, 60.0 / 1060.0, 1e-3);
}

// The same with the library's search and sort.
std::vector<NoiseBias> plain_bias(const Spread& spread, std::span<const double> errors,
                                  const Statistics& statistics, std::size_t draws, std::uint64_t seed) {
    std::vector<double> cumulative(spread.weights.size());
    std::partial_sum(spread.weights.begin(), spread.weights.end(), cumulative.begin());
    std::vector<NoiseBias> out;
    std::vector<double> truth(errors.size());
    std::vector<double> noisy(errors.size());
    for (std::size_t draw = 0; draw < draws; ++draw) {
        Random random(seed, draw);
        for (std::size_t i = 0; i < errors.size(); ++i) {
            const auto found =
                std::upper_bound(cumulative.begin(), cumulative.end(), random.uniform() * cumulative.back());
            truth[i] = spread.points[static_cast<std::size_t>(found - cumulative.begin())];
            noisy[i] = truth[i] + (errors[i] * random.normal());
        }
        std::sort(truth.begin(), truth.end());
        std::sort(noisy.begin(), noisy.end());
        const auto without = statistics(truth);
        const auto with = statistics(noisy);
        out.resize(with.size());
        for (std::size_t k = 0; k < with.size(); ++k) {
            out[k].bias += (with[k] - without[k]) / static_cast<double>(draws);
        }
    }
    return out;
}

TEST(NoiseBias, is_that_of_the_same_draws_searched_and_sorted_plainly) {
    const auto every = [](std::span<const double> ascending) {
        EXPECT_TRUE(std::is_sorted(ascending.begin(), ascending.end()));
        return std::vector<double>(ascending.begin(), ascending.end());
    };
    for (const std::size_t n : {1U, 2U, 40U, 700U}) {
        auto night = night_of(n, 100 + n);
        if (n == 700) {
            night.values.back() = 1e6; // all others in one step of the sort
            night.errors.back() = 1.0;
        }
        const auto spread = deconvolved(night.values, night.errors);
        const auto got = noise_bias(spread, night.errors, every, 50, 9);
        const auto plain = plain_bias(spread, night.errors, every, 50, 9);
        ASSERT_EQ(got.size(), n);
        for (std::size_t k = 0; k < n; ++k) {
            EXPECT_NEAR(got[k].bias, plain[k].bias, 1e-12 * std::max(1.0, spread.points.back()))
                << n << ", rank " << k;
        }
    }
}

} // namespace
} // namespace backeddy::uptake::detail
