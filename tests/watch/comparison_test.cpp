// Precision-led spells against the timetable. BACKEDDY_NIGHTS as in nuisance_test.cpp: so many fish (at least
// 40).

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include <gtest/gtest.h>

#include "base/number_text.hpp"
#include "watch/comparison.hpp"

namespace backeddy::watch::test {
namespace {

int fish() {
    const char* said = std::getenv("BACKEDDY_NIGHTS");
    return static_cast<int>(std::clamp(said == nullptr ? 0LL : parse_whole(said).value_or(0), 40LL, 400LL));
}

TEST(Precision, has_no_slope_bias_and_a_smaller_error_of_smr_than_the_timetable) {
    std::printf(
        "noise,timing,fish,spells,sealed_s,slope_bias_percent,slope_bias_error_percent,slope_sd_percent,"
        "smr_bias_percent,smr_sd_percent,smr_rmse_percent\n");
    const auto levels = std::getenv("BACKEDDY_NIGHTS") == nullptr ? std::vector{1.0, 4.0}
                                                                  : std::vector{0.5, 1.0, 2.0, 4.0, 8.0};
    for (const double noise : levels) {
        double rmse[2] = {};
        for (const auto timing : {Timing::timetable, Timing::precision}) {
            const auto found = compare(timing, noise, fish());
            const bool is_led = timing == Timing::precision;
            std::printf("%g,%s,%d,%d,%.0f,%.3f,%.3f,%.2f,%.2f,%.2f,%.2f\n", noise,
                        is_led ? "precision" : "timetable", found.fish, found.spells, found.mean_sealed_s,
                        found.slope_bias_percent, found.slope_bias_error_percent, found.slope_sd_percent,
                        found.smr_bias_percent, found.smr_sd_percent, found.smr_rmse_percent);
            rmse[is_led ? 1 : 0] = found.smr_rmse_percent;
            EXPECT_LE(std::abs(found.slope_bias_percent), 3.5 * found.slope_bias_error_percent) << noise;
        }
        EXPECT_LT(rmse[1], rmse[0]) << noise;
    }
}

} // namespace
} // namespace backeddy::watch::test
