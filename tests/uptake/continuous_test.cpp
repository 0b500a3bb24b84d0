#include "uptake/continuous.hpp"

#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "metric_samples.hpp"

namespace backeddy::uptake {
namespace {

using samples::at_hours;

struct Columns {
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen;
    std::vector<ChamberState> state;
    std::vector<double> inflow;
};

// The truth: uptake that swings about a decaying level, mg/h at t seconds.
double uptake_at(double t) {
    return 150.0 + (250.0 * std::exp(-t / 1800.0)) + (20.0 * std::sin(t / 400.0));
}

// The balance of a mixed chamber, integrated in steps of a tenth of a second, seen by a first-order sensor:
// written out here for itself, with no function of the library.
Columns chamber(double seconds, bool with_flushes, double lag_s, const fit::NoiseModel& noise,
                Random& random) {
    constexpr double litres = 10.0;
    constexpr double flow_per_s = 3.0 / 60.0;
    constexpr double dt = 0.1;
    Columns out;
    const auto n = static_cast<std::size_t>(seconds);
    const auto wobble = samples::noise(noise, n, 1.0, random);
    double water = 9.5;
    double sensor = 9.5;
    for (std::size_t i = 0; i < n; ++i) {
        // Sealed for 5 min, flushed for 5.
        const bool flush = with_flushes && (i % 600) >= 300;
        const auto t = static_cast<double>(i);
        out.times_ns.push_back((at_hours(0.0) + Duration::seconds(t)).unix_nanoseconds());
        out.oxygen.push_back(sensor + wobble[i]);
        out.state.push_back(flush ? ChamberState::flush : ChamberState::sealed);
        out.inflow.push_back(10.0);
        for (int k = 0; k < 10; ++k) {
            const double now = t + (k * dt);
            const double brought = flush ? flow_per_s * (10.0 - water) : 0.0;
            const double before = water;
            water += dt * (brought - (uptake_at(now) / 3600.0)) / litres;
            sensor += lag_s > 0.0 ? dt * (0.5 * (before + water) - sensor) / lag_s : water - sensor;
        }
    }
    return out;
}

SealedSpell sealed(const Columns& columns) {
    SealedSpell out;
    out.answer.sealed_from = Instant::unix_nanoseconds(columns.times_ns.front());
    out.answer.from = out.answer.sealed_from;
    out.answer.to = Instant::unix_nanoseconds(columns.times_ns.back());
    out.water_volume_l = Measured(10.0, 0.2, "volume:tube 1");
    return out;
}

TEST(ContinuousSealed, follows_a_changing_uptake_and_its_band_holds_it) {
    double held = 0.0;
    double points = 0.0;
    for (int seed = 0; seed < 40; ++seed) {
        Random random(71, static_cast<std::uint64_t>(seed));
        const fit::NoiseModel noise{.white_sd = 0.004, .coloured_sd = 0.003, .correlation_time = 6.0};
        const auto columns = chamber(900.0, false, 0.0, noise, random);
        const auto spell = sealed(columns);
        const PeakSpell one{.spell = &spell,
                            .readings = {.sealed_from = spell.answer.sealed_from,
                                         .times_ns = columns.times_ns,
                                         .oxygen_mg_per_l = columns.oxygen},
                            .noise = noise};
        const auto curve = continuous_sealed(std::span(&one, 1)).value();
        EXPECT_NEAR(curve.scale_uncertainty, 0.02, 1e-12);
        for (std::size_t i = 0; i < curve.at.size(); ++i) {
            const double truth = uptake_at((curve.at[i] - at_hours(0.0)).seconds());
            held += curve.low_mg_per_h[i] <= truth && truth <= curve.high_mg_per_h[i] ? 1.0 : 0.0;
            points += 1.0;
        }
    }
    EXPECT_GT(held / points, 0.90) << "pointwise 95 % meant, 0.968 seen";
}

TEST(ContinuousThroughFlushes, follows_the_truth_where_the_inflow_is_known_lag_and_all) {
    for (const double lag : {0.0, 12.0}) {
        Random random(72);
        const fit::NoiseModel noise{.white_sd = 0.002};
        const auto columns = chamber(3600.0, true, lag, noise, random);
        const ThroughFlushes input{.times_ns = columns.times_ns,
                                   .oxygen_mg_per_l = columns.oxygen,
                                   .state = columns.state,
                                   .inflow_mg_per_l = columns.inflow,
                                   .flow_l_per_min = Measured(3.0, 0.03, "flow"),
                                   .water_volume_l = Measured(10.0, 0.2, "volume:tube 1"),
                                   .noise = noise,
                                   .sensor_lag_s = lag};
        const auto curve = continuous_through_flushes(input).value();
        double squares = 0.0;
        double bias = 0.0;
        const auto n = static_cast<double>(curve.at.size());
        for (std::size_t i = 0; i < curve.at.size(); ++i) {
            const double away = curve.mg_per_h[i] - uptake_at((curve.at[i] - at_hours(0.0)).seconds());
            squares += away * away / n;
            bias += away / n;
        }
        // The mean truth is 290 mg/h: 1 % for the mean, 5 % for the points.
        EXPECT_NEAR(bias, 0.0, 2.9) << "lag " << lag;
        EXPECT_LT(std::sqrt(squares), 14.5) << "lag " << lag;
    }
}

TEST(ContinuousThroughFlushes, is_refused_without_the_inflow) {
    Random random(73);
    auto columns = chamber(900.0, true, 0.0, {.white_sd = 0.002}, random);
    columns.inflow[400] = std::numeric_limits<double>::quiet_NaN();
    ThroughFlushes input{.times_ns = columns.times_ns,
                         .oxygen_mg_per_l = columns.oxygen,
                         .state = columns.state,
                         .inflow_mg_per_l = columns.inflow,
                         .flow_l_per_min = Measured(3.0),
                         .water_volume_l = Measured(10.0),
                         .noise = {.white_sd = 0.002}};
    const auto refused = continuous_through_flushes(input);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, ErrorCode::out_of_range);
    columns.inflow[400] = 10.0;
    columns.oxygen[350] = std::numeric_limits<double>::quiet_NaN();
    EXPECT_TRUE(continuous_through_flushes(input)) << "a missing reading is bridged";
    input.water_volume_l = Measured(0.0);
    EXPECT_FALSE(continuous_through_flushes(input));
}

TEST(ContinuousSealed, nothing_to_draw_is_said) {
    EXPECT_FALSE(continuous_sealed({}));
    Random random(74);
    const auto columns = chamber(60.0, false, 0.0, {}, random);
    auto spell = sealed(columns);
    spell.answer.mark = Mark::unusable;
    const PeakSpell one{.spell = &spell,
                        .readings = {.times_ns = columns.times_ns, .oxygen_mg_per_l = columns.oxygen},
                        .noise = {.white_sd = 0.01}};
    EXPECT_EQ(continuous_sealed(std::span(&one, 1)).error().code, ErrorCode::too_few);
}

} // namespace
} // namespace backeddy::uptake
