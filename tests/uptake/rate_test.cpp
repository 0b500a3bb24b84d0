#include "uptake/rate.hpp"

#include <cmath>

#include <gtest/gtest.h>

namespace backeddy::uptake {
namespace {

std::vector<SpellUptake> three_spells() {
    std::vector<SpellUptake> out(3);
    for (std::size_t i = 0; i < out.size(); ++i) {
        const auto n = static_cast<double>(i + 1);
        out[i].uptake_mg_per_h =
            Measured(10.0 * n, {{"slope:" + std::to_string(i), 0.3 * n}, {"volume:a", 0.1 * n}});
        out[i].uptake_mg_per_kg_h = out[i].uptake_mg_per_h * 2.0;
    }
    out[0].uptake_mg_per_h = out[0].uptake_mg_per_h.with(0.4, "day:first");
    return out;
}

// In closed form: 10 and 30 with weights 1/4 and 3/4; a shared source adds with its sign (JCGM 100:2008,
// 5.2.2), what one spell alone has is left out.
TEST(SystematicSums, keep_what_spells_share_and_leave_out_what_is_a_spells_own) {
    const auto spells = three_spells();
    const SystematicSums sums(spells);
    const auto sum = sums.of(std::vector{0.25, 0.0, 0.75});
    EXPECT_NEAR(sum.mg_per_h.value(), 25.0, 1e-12);
    ASSERT_EQ(sum.mg_per_h.contributions().size(), 1U);
    EXPECT_EQ(sum.mg_per_h.contributions()[0].source, "volume:a");
    EXPECT_NEAR(sum.mg_per_h.contributions()[0].effect, (0.25 * 0.1) + (0.75 * 0.3), 1e-12);
    EXPECT_NEAR(sum.mg_per_kg_h->value(), 50.0, 1e-12);
    EXPECT_NEAR(sums.own_error(0), 0.5, 1e-12) << "root of 0.3 and 0.4 squared";
    EXPECT_NEAR(sums.own_error(2), 0.9, 1e-12);
}

TEST(SystematicSums, per_kilogram_needs_every_spell_with_weight_weighed) {
    auto spells = three_spells();
    spells[1].uptake_mg_per_kg_h.reset();
    const SystematicSums sums(spells);
    EXPECT_TRUE(sums.of(std::vector{0.5, 0.0, 0.5}).mg_per_kg_h);
    EXPECT_FALSE(sums.of(std::vector{0.5, 0.5, 0.0}).mg_per_kg_h);
    EXPECT_TRUE(sums.of(std::vector{0.5, 0.5, 0.0}).mg_per_h.value() > 0.0);
}

} // namespace
} // namespace backeddy::uptake
