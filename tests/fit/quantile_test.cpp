// Sources: R 4.2.2 quantile(type = 1..9) (reference/stats 03); closed forms of the integers.

#include "fit/quantile.hpp"

#include <cmath>
#include <numeric>
#include <vector>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "fit/lowest.hpp"
#include "support/reference.hpp"

namespace backeddy::fit {
namespace {

TEST(Quantile, agrees_with_r_in_all_nine_types) {
    const auto cases = support::reference_cases("stats/03_quantiles_mixtures.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    struct Set {
        const char* id;
        const char* column;
    };
    for (const Set& set : {Set{"quantile_eruptions", "eruptions"}, Set{"quantile_precip", "precip"},
                           Set{"quantile_rivers", "rivers"}}) {
        const auto& one = support::case_of(*cases, set.id);
        const auto table = support::data_of(one);
        const auto values = table.numbers(table.names.size() == 1 ? table.names[0] : set.column);
        for (int type = 1; type <= 9; ++type) {
            for (std::size_t k = 0; k < one["expected"]["probs"].size(); ++k) {
                const double p = one["expected"]["probs"][k];
                const auto got = quantile(values, p, static_cast<QuantileType>(type));
                ASSERT_TRUE(got);
                support::expect_agrees(one, "/type" + std::to_string(type) + "/" + std::to_string(k), *got);
            }
        }
    }
}

TEST(Quantile, of_two_values_and_of_ties_agrees_with_r) {
    const auto cases = support::reference_cases("stats/03_quantiles_mixtures.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    // The values stand in the script that made the reference answers.
    const std::vector<double> two{1.25, 3.5};
    const std::vector<double> ties{1, 2, 2, 2, 3, 7, 7, 10};
    for (const auto& [id, values] :
         {std::pair("quantile_two_values", two), std::pair("quantile_ties", ties)}) {
        const auto& one = support::case_of(*cases, id);
        ASSERT_EQ(one["expected"]["n"].get<std::size_t>(), values.size());
        for (int type = 1; type <= 9; ++type) {
            for (std::size_t k = 0; k < one["expected"]["probs"].size(); ++k) {
                support::expect_agrees(
                    one, "/type" + std::to_string(type) + "/" + std::to_string(k),
                    *quantile(values, one["expected"]["probs"][k], static_cast<QuantileType>(type)));
            }
        }
    }
}

TEST(Quantile, of_the_integers_is_its_closed_form) {
    std::vector<double> values(105);
    std::iota(values.rbegin(), values.rend(), 1.0);   // descending: order must not matter
    EXPECT_NEAR(*quantile(values, 0.2), 21.8, 1e-12); // (n - 1) p + 1
    EXPECT_NEAR(*quantile(values, 0.2, QuantileType::weibull), 21.2, 1e-12); // (n + 1) p
    EXPECT_EQ(*quantile(values, 0.0), 1.0);
    EXPECT_EQ(*quantile(values, 1.0), 105.0);
}

TEST(Quantile, of_sorted_and_unsorted_are_the_same) {
    for (std::uint64_t seed = 1; seed <= 50; ++seed) {
        Random random(seed);
        std::vector<double> values(1 + random.below(40));
        for (auto& v : values) {
            v = std::floor(10 * random.uniform());
        }
        auto sorted = values;
        std::sort(sorted.begin(), sorted.end());
        for (int type = 1; type <= 9; ++type) {
            const double p = random.uniform();
            EXPECT_EQ(*quantile(values, p, static_cast<QuantileType>(type)),
                      quantile_of_sorted(sorted, p, static_cast<QuantileType>(type)))
                << "seed " << seed;
        }
    }
}

TEST(Quantile, refuses_nothing_and_nonsense) {
    EXPECT_EQ(quantile({}, 0.5).error().code, ErrorCode::too_few);
    EXPECT_EQ(quantile(std::vector<double>{1.0}, 1.5).error().code, ErrorCode::out_of_range);
    EXPECT_EQ(quantile(std::vector<double>{std::nan("")}, 0.5).error().code, ErrorCode::out_of_range);
}

TEST(Lowest, mean_of_the_ten_lowest_integers_is_five_and_a_half) {
    std::vector<double> values(105);
    std::iota(values.rbegin(), values.rend(), 1.0);
    const auto ten = mean_of_lowest(values);
    ASSERT_TRUE(ten);
    EXPECT_DOUBLE_EQ(ten->mean, 5.5);
    const auto tenth = mean_of_lowest_share(values); // 100 remain; 6 to 15
    ASSERT_TRUE(tenth);
    EXPECT_DOUBLE_EQ(tenth->mean, 10.5);
    EXPECT_EQ(tenth->used, 10U);
    EXPECT_EQ(tenth->dropped, 5U);
    EXPECT_EQ(mean_of_lowest(std::vector<double>{1, 2, 3}).error().code, ErrorCode::too_few);
    EXPECT_EQ(mean_of_lowest_share(std::vector<double>{1, 2, 3, 4, 5}).error().code, ErrorCode::too_few);
    EXPECT_EQ(mean_of_lowest_share(std::vector<double>{1, 2, 3, 4, 5, 9})->mean, 9.0);
}

} // namespace
} // namespace backeddy::fit
