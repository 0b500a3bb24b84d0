// Sources: closed forms of the bootstrap's variance (Kunsch 1989 for blocks); sorting in full.

#include "fit/bootstrap.hpp"

#include <cmath>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "fit/lowest.hpp"

namespace backeddy::fit {
namespace {

double mean_of(std::span<const double> v) {
    return std::accumulate(v.begin(), v.end(), 0.0) / static_cast<double>(v.size());
}

std::vector<double> coloured(std::size_t n, double phi, std::uint64_t seed) {
    Random random(seed);
    std::vector<double> out(n);
    double state = random.normal();
    for (auto& v : out) {
        v = 100 + (10 * state);
        state = (phi * state) + (std::sqrt(1 - (phi * phi)) * random.normal());
    }
    return out;
}

TEST(Bootstrap, of_a_mean_with_blocks_of_one_has_the_textbook_error) {
    const auto values = coloured(200, 0.0, 3);
    const auto out = block_bootstrap(values, mean_of, {.draws = 20000, .block = 1});
    ASSERT_TRUE(out);
    double variance = 0;
    const double mean = mean_of(values);
    for (const double v : values) {
        variance += (v - mean) * (v - mean) / 200;
    }
    // Standard error of a standard deviation from 20,000 draws: 0.5 %.
    EXPECT_NEAR(out->se, std::sqrt(variance / 200), 0.02 * std::sqrt(variance / 200));
    EXPECT_EQ(out->estimate, mean);
    EXPECT_NEAR(out->mean, mean, 5 * out->se / std::sqrt(20000.0));
}

TEST(Bootstrap, of_a_mean_with_blocks_has_the_variance_of_block_means) {
    // 240 values in blocks of 12: twenty blocks drawn alike from 229 block means, so the variance of the mean
    // is that of the block means over 20 (Kunsch 1989, eq. 2.3).
    const auto values = coloured(240, 0.8, 5);
    std::vector<double> blocks;
    for (std::size_t i = 0; i + 12 <= values.size(); ++i) {
        blocks.push_back(mean_of(std::span(values).subspan(i, 12)));
    }
    double variance = 0;
    const double mean = mean_of(blocks);
    for (const double b : blocks) {
        variance += (b - mean) * (b - mean) / static_cast<double>(blocks.size());
    }
    const auto out = block_bootstrap(values, mean_of, {.draws = 20000, .block = 12});
    ASSERT_TRUE(out);
    const double want = std::sqrt(variance / 20);
    EXPECT_NEAR(out->se, want, 0.02 * want);
    const auto alone = block_bootstrap(values, mean_of, {.draws = 4000, .block = 1});
    EXPECT_GT(out->se, 1.5 * alone->se); // neighbours that resemble each other are worth less
}

TEST(Bootstrap, of_a_quantile_by_counted_ranks_is_bit_for_bit_that_by_sorting) {
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        auto values = coloured(60 + (7 * seed), 0.5, seed);
        if (seed % 3 == 0) {
            for (auto& v : values) {
                v = std::round(v / 5) * 5; // ties
            }
        }
        for (const auto type :
             {QuantileType::gumbel, QuantileType::averaged_inverse, QuantileType::median_unbiased}) {
            const double p = 0.05 * static_cast<double>(seed);
            const BootstrapOptions options{.draws = 300, .block = 6, .seed = seed};
            const auto quick = block_bootstrap_quantile(values, p, options, type);
            const auto slow = block_bootstrap(
                values, [&](std::span<const double> v) { return *quantile(v, p, type); }, options);
            ASSERT_TRUE(quick && slow);
            EXPECT_EQ(quick->estimate, slow->estimate);
            EXPECT_EQ(quick->se, slow->se) << "seed " << seed << " p " << p;
            EXPECT_EQ(quick->lower, slow->lower);
            EXPECT_EQ(quick->upper, slow->upper);
        }
    }
}

TEST(Bootstrap, of_many_counted_statistics_at_once_is_bit_for_bit_that_of_each_alone) {
    auto values = coloured(120, 0.5, 3);
    for (std::size_t i = 0; i < values.size(); i += 4) {
        values[i] = std::round(values[i] / 5) * 5; // ties
    }
    const BootstrapOptions options{.draws = 400, .block = 6, .seed = 9};
    const auto place = quantile_place(values.size(), 0.2, QuantileType::gumbel);
    const auto together = block_bootstrap_counted(
        values, 3,
        [&](const CountedSample& draw, std::span<double> out) {
            out[0] = draw.quantile(place);
            out[1] = draw.mean_of_lowest(0, 10);
            out[2] = draw.mean_of_lowest(5, 12); // a tenth of the 115 after the five lowest
        },
        options);
    ASSERT_TRUE(together);
    const std::vector<Statistic> alone{
        [](std::span<const double> v) { return *quantile(v, 0.2); },
        [](std::span<const double> v) { return mean_of_lowest(v, 10)->mean; },
        [](std::span<const double> v) { return mean_of_lowest_share(v, 0.1, 5)->mean; }};
    for (std::size_t k = 0; k < alone.size(); ++k) {
        const auto one = block_bootstrap(values, alone[k], options);
        ASSERT_TRUE(one);
        EXPECT_EQ((*together)[k].estimate, one->estimate) << k;
        EXPECT_EQ((*together)[k].mean, one->mean) << k;
        EXPECT_EQ((*together)[k].se, one->se) << k;
        EXPECT_EQ((*together)[k].lower, one->lower) << k;
        EXPECT_EQ((*together)[k].upper, one->upper) << k;
    }
}

TEST(Bootstrap, gives_the_same_bits_on_any_number_of_threads) {
    const auto values = coloured(500, 0.6, 8);
    BootstrapOptions options{.draws = 1000, .seed = 77};
    options.threads.count = 1;
    const auto one = block_bootstrap_draws(values, mean_of, options);
    const auto one_quantile = block_bootstrap_quantile(values, 0.2, options);
    options.threads.count = 5;
    const auto five = block_bootstrap_draws(values, mean_of, options);
    const auto five_quantile = block_bootstrap_quantile(values, 0.2, options);
    ASSERT_TRUE(one && five && one_quantile && five_quantile);
    EXPECT_EQ(*one, *five);
    EXPECT_EQ(one_quantile->lower, five_quantile->lower);
    EXPECT_EQ(one_quantile->se, five_quantile->se);
    options.seed = 78;
    EXPECT_NE(*block_bootstrap_draws(values, mean_of, options), *one);
}

TEST(Bootstrap, leaves_out_draws_without_an_answer_and_counts_them) {
    const auto values = coloured(50, 0.0, 2);
    const auto out = block_bootstrap(values,
                                     [&](std::span<const double> v) {
                                         const double mean = mean_of(v);
                                         return mean < 100 ? std::nan("") : mean;
                                     },
                                     {.draws = 400, .block = 1});
    ASSERT_TRUE(out);
    EXPECT_GT(out->failed, 0U);
    EXPECT_GE(out->lower, 100.0);
}

TEST(Bootstrap, refuses_a_series_shorter_than_two_blocks) {
    const std::vector<double> few(23, 1.0);
    EXPECT_EQ(block_bootstrap(few, mean_of).error().code, ErrorCode::too_few);
    EXPECT_EQ(block_bootstrap_quantile(few, 0.2).error().code, ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::fit
