// Source: R 4.2.2 lme4 1.1-31 confint(method = "profile") (reference/stats 06).

#include "stats/profile.hpp"

#include <cmath>

#include <gtest/gtest.h>

#include "mixed_cases.hpp"

namespace backeddy::stats {
namespace {

class ProfileCase : public ::testing::TestWithParam<MixedCaseInput> {};

TEST_P(ProfileCase, limits_agree_with_r) {
    const auto cases = support::reference_cases("stats/06_mixed.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& input = GetParam();
    const auto& one = support::case_of(*cases, input.id);
    if (!one["expected"].contains("profile_ci95")) {
        GTEST_SKIP() << "the reference has no profile of this model";
    }
    const auto model = MixedModel::make(table_of(one, input), input.terms);
    ASSERT_TRUE(model) << model.error().text();
    const auto got = profile_intervals(*model);
    ASSERT_TRUE(got) << got.error().text();
    auto all = got->variances;
    all.insert(all.end(), got->coefficients.begin(), got->coefficients.end());
    ASSERT_EQ(all.size(), one["expected"]["profile_ci95"]["parameter"].size());
    for (std::size_t k = 0; k < all.size(); ++k) {
        // The limits of R are interpolated: held against the interval's own width.
        const double scale = 0.25 * (all[k].upper - all[k].lower);
        const std::string at = std::to_string(k);
        support::expect_agrees(one, "/profile_ci95/lower/" + at, all[k].lower, scale);
        support::expect_agrees(one, "/profile_ci95/upper/" + at, all[k].upper, scale);
    }
}

INSTANTIATE_TEST_SUITE_P(All, ProfileCase, ::testing::ValuesIn(mixed_cases()),
                         [](const auto& tested) { return std::string(tested.param.id); });

} // namespace
} // namespace backeddy::stats
