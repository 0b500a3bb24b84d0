// Sources: R 4.2.2 p.adjust, ptukey, qtukey (reference/stats 05, 12); two means are a t test exactly.

#include "stats/multiplicity.hpp"

#include <cmath>
#include <limits>
#include <numbers>

#include <gtest/gtest.h>

#include "stats/estimate.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {
namespace {

TEST(Multiplicity, adjusted_p_values_agree_with_r) {
    const auto cases = support::reference_cases("stats/05_paired.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    for (const char* id : {"adjust_1", "adjust_2", "adjust_one"}) {
        const auto& one = support::case_of(*cases, id);
        const auto& p_values = one["expected"]["p"];
        const auto p =
            p_values.is_array() ? support::numbers_of(p_values) : std::vector<double>{p_values.get<double>()};
        const auto by_holm = holm(p);
        const auto by_share = benjamini_hochberg(p);
        for (std::size_t i = 0; i < p.size(); ++i) {
            const std::string at = p_values.is_array() ? "/" + std::to_string(i) : "";
            support::expect_agrees(one, "/holm" + at, by_holm[i], 1e-6);
            support::expect_agrees(one, "/BH" + at, by_share[i], 1e-6);
        }
    }
    EXPECT_TRUE(holm({}).empty());
}

TEST(StudentizedRange, agrees_with_r) {
    const auto cases = support::reference_cases("stats/12_distributions.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "distributions");
    const auto& p = one["expected"]["ptukey"];
    for (std::size_t i = 0; i < p["q"].size(); ++i) {
        // R's ptukey takes more than 25,000 degrees of freedom for infinitely many, which they are not.
        const double freedom = p["df"][i].get<double>();
        const double as_r = freedom > 25000.0 ? std::numeric_limits<double>::infinity() : freedom;
        support::expect_agrees(one, "/ptukey/value/" + std::to_string(i),
                               studentized_range_upper(p["q"][i], p["nmeans"][i], as_r), 1.0);
    }
    const auto& q = one["expected"]["qtukey"];
    for (std::size_t i = 0; i < q["p"].size(); ++i) {
        support::expect_agrees(one, "/qtukey/value/" + std::to_string(i),
                               studentized_range_quantile(q["p"][i], q["nmeans"][i], q["df"][i]));
    }
}

TEST(StudentizedRange, many_degrees_of_freedom_are_not_infinitely_many) {
    // R 4.2.2: the double integral by integrate(), rel.tol 1e-11.
    EXPECT_NEAR(studentized_range_upper(3.3, 10, 1e5), 0.36708721903933, 1e-11);
}

TEST(StudentizedRange, of_two_means_is_a_t_test) {
    const double inf = std::numeric_limits<double>::infinity();
    for (const double freedom : {1.0, 2.5, 7.0, 40.0, 1e3, 1e5, inf}) {
        for (const double t : {1e-3, 0.3, 1.0, 2.5, 6.0, 20.0}) {
            const double want = two_sided_p(t, freedom);
            const double got = studentized_range_upper(t * std::numbers::sqrt2, 2, freedom);
            EXPECT_NEAR(got / want, 1.0, 1e-10) << "t " << t << " freedom " << freedom << " p " << want;
        }
        EXPECT_NEAR(studentized_range_quantile(0.95, 2, freedom) / std::numbers::sqrt2,
                    two_sided_quantile(0.95, freedom), 1e-8 * two_sided_quantile(0.95, freedom));
    }
    EXPECT_EQ(studentized_range_upper(0.0, 3, 10.0), 1.0);
}

TEST(StudentizedRange, of_three_known_normals_has_the_mean_that_is_known) {
    // E range of three standard normals is 3 / sqrt(pi) (Tippett 1925, Biometrika 17:364): the area under P(>
    // w).
    double mean = 0.0;
    const double step = 0.01;
    for (double w = 0.5 * step; w < 14.0; w += step) {
        mean += step * studentized_range_upper(w, 3, std::numeric_limits<double>::infinity());
    }
    EXPECT_NEAR(mean, 3.0 / std::sqrt(std::numbers::pi), 1e-5);
}

} // namespace
} // namespace backeddy::stats
