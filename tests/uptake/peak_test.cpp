#include "uptake/peak.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <gtest/gtest.h>

#include "metric_samples.hpp"

namespace backeddy::uptake {
namespace {

using samples::at_hours;

// A sealed spell of a tube whose oxygen falls by a known uptake: columns, answer and views held together.
struct TubeSpell {
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen;
    std::vector<double> saturation;
    std::vector<double> temperature;
    SealedSpell spell;
    fit::NoiseModel noise;
    double lag_s = 0.0;

    [[nodiscard]] PeakSpell view() const {
        return {.spell = &spell,
                .readings = {.sealed_from = spell.answer.sealed_from,
                             .times_ns = times_ns,
                             .oxygen_mg_per_l = oxygen,
                             .saturation_percent = saturation,
                             .temperature_celsius = temperature},
                .noise = noise,
                .modelled_lag_s = lag_s};
    }
};

struct TubeSetup {
    double volume_l = 10.0;
    double volume_share = 0.0;
    double begins_s = 90.0; ///< first reading after the event
    int readings = 400;
    double start_mg_per_l = 10.0;
    fit::NoiseModel noise;
    /// Oxygen used since the event, mg, at t seconds: the integral of the uptake.
    std::function<double(double)> used_mg = [](double t) { return 400.0 / 3600.0 * t; };
};

TubeSpell tube_spell(const TubeSetup& setup, Random& random) {
    TubeSpell out;
    const auto wobble = samples::noise(setup.noise, static_cast<std::size_t>(setup.readings), 1.0, random);
    for (int i = 0; i < setup.readings; ++i) {
        const double t = setup.begins_s + i;
        out.times_ns.push_back((at_hours(0.0) + Duration::seconds(t)).unix_nanoseconds());
        out.oxygen.push_back(setup.start_mg_per_l -
                             (setup.used_mg(t) - setup.used_mg(setup.begins_s)) / setup.volume_l +
                             wobble[static_cast<std::size_t>(i)]);
        out.saturation.push_back(out.oxygen.back() * 10.0);
        out.temperature.push_back(12.5);
    }
    auto& answer = out.spell.answer;
    answer.sealed_from = at_hours(0.0) + Duration::seconds(setup.begins_s - 30.0);
    answer.from = Instant::unix_nanoseconds(out.times_ns.front());
    answer.to = Instant::unix_nanoseconds(out.times_ns.back());
    const double span = setup.readings - 1.0;
    const double mean =
        (setup.used_mg(setup.begins_s + span) - setup.used_mg(setup.begins_s)) / span * 3600.0;
    answer.uptake_mg_per_h = Measured(mean);
    out.spell.water_volume_l = Measured(setup.volume_l, setup.volume_share * setup.volume_l, "volume:tube 1");
    out.noise = setup.noise;
    return out;
}

PeakInput input_of(const std::vector<TubeSpell>& spells) {
    PeakInput out{.event = PeakEvent::capture, .at = at_hours(0.0), .stay = "s1"};
    for (const auto& spell : spells) {
        out.spells.push_back(spell.view());
    }
    return out;
}

bool has_word(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

// Closed forms of respirometry: a window of 5 min while the excess halves every 10 (k = ln 2 per 10 min).
// Average of the exponential 0.8451111886; least squares of its integral 0.843424 (recomputed numerically
// outside).
TEST(PeakShares, agree_with_closed_form_and_outside_quadrature) {
    const double k = 6.0 * std::log(2.0);
    EXPECT_NEAR(averaging_share(k, 5.0 / 60.0), 0.8451111886, 1e-9);
    EXPECT_NEAR(regression_share(k, 5.0 / 60.0), 0.843424, 2e-6);
    // 0.966 at 1 min, 0.934 at 2; each minute of delay costs 6.7 %.
    EXPECT_NEAR(averaging_share(k, 1.0 / 60.0), 0.966, 5e-4);
    EXPECT_NEAR(averaging_share(k, 2.0 / 60.0), 0.934, 5e-4);
    EXPECT_NEAR(1.0 - averaging_share(k, 0.0, 1.0 / 60.0), 0.067, 5e-4);
    // Both forms of the regression share meet where one takes over from the other.
    EXPECT_NEAR(regression_share(1.0, 0.0200001), regression_share(1.0, 0.0199999), 1e-7);
    EXPECT_EQ(regression_share(0.0, 1.0), 1.0);
}

TEST(PeakShares, fall_with_window_and_delay) {
    for (double w = 0.0; w < 0.5; w += 0.05) {
        EXPECT_GT(averaging_share(4.0, w), averaging_share(4.0, w + 0.05));
        EXPECT_GT(regression_share(4.0, w), regression_share(4.0, w + 0.05));
        EXPECT_LE(regression_share(4.0, w), averaging_share(4.0, w) + 1e-12);
    }
}

TEST(Peak, of_a_noiseless_steady_fall_is_the_uptake_and_nothing_is_corrected) {
    Random random(1);
    const std::vector<TubeSpell> spells{tube_spell({.volume_share = 0.02, .readings = 150}, random)};
    auto input = input_of(spells);
    input.mass_kg = Measured(0.8, 0.008, "mass:fish");
    input.air = Duration::seconds(20.0);
    const auto peak = peak_uptake(input).value();
    EXPECT_EQ(peak.name, "peak after capture");
    EXPECT_NEAR(peak.raw.mg_per_h.value(), 400.0, 1e-6);
    EXPECT_NEAR(peak.raw.mg_per_kg_h->value(), 500.0, 1e-6);
    EXPECT_NEAR(peak.selection_bias_mg_per_h, 0.0, 1e-6);
    EXPECT_NEAR(peak.raw.mg_per_h.share("volume:tube 1"), 1.0, 1e-6);
    EXPECT_NEAR(peak.raw.mg_per_kg_h->standard_uncertainty(), 500.0 * std::hypot(0.02, 0.01), 1e-4);
    EXPECT_NEAR(peak.delay_to_seal.seconds(), 60.0, 1e-9);
    EXPECT_NEAR(peak.whole_spell.mg_per_h.value(), 400.0, 1e-9);
    EXPECT_EQ(peak.readings, 61U);
    EXPECT_NEAR(peak.temperature_celsius, 12.5, 1e-12);
    EXPECT_EQ(peak.mark, Mark::good);
    EXPECT_TRUE(has_word(peak.reasons, "noise_unknown"));
    EXPECT_EQ(peak.curve.size(), 9U);
}

TEST(Peak, background_and_a_lagging_sensor_are_taken_out) {
    // A first-order sensor of 20 s that saw the fall begin at the seal, 30 s before the first reading used.
    Random random(1);
    auto spell = tube_spell({}, random);
    constexpr double tau = 20.0;
    const double fall = 400.0 / 3600.0 / 10.0; // mg/L/s
    for (std::size_t i = 0; i < spell.oxygen.size(); ++i) {
        const double since_seal = 30.0 + static_cast<double>(i);
        spell.oxygen[i] = 10.0 - (fall * (since_seal - tau + (tau * std::exp(-since_seal / tau))));
    }
    spell.spell.answer.background_mg_per_h = Measured(5.0, 1.0, "blank:b1");
    // Short of the end the window must lie anywhere; the transient is over late in the spell, so keep only
    // its start.
    spell.times_ns.resize(70);
    spell.oxygen.resize(70);
    spell.saturation.resize(70);
    spell.temperature.resize(70);
    spell.lag_s = tau;
    const std::vector<TubeSpell> spells{spell};
    EXPECT_NEAR(peak_uptake(input_of(spells))->raw.mg_per_h.value(), 395.0, 1e-6);
    EXPECT_NEAR(peak_uptake(input_of(spells))->raw.mg_per_h.share("blank:b1"), 1.0, 1e-9);
    auto unmodelled = spells;
    unmodelled[0].lag_s = 0.0;
    EXPECT_LT(peak_uptake(input_of(unmodelled))->raw.mg_per_h.value(), 390.0) << "the check bites";
}

TEST(Peak, no_window_crosses_a_gap_or_begins_before_the_event) {
    Random random(1);
    auto spell = tube_spell({.readings = 200}, random);
    // Fast before a hole of 10 s, slow after it; a line across would be steepest of all.
    for (std::size_t i = 100; i < 200; ++i) {
        spell.times_ns[i] += 10'000'000'000;
        spell.oxygen[i] -= 1.5;
    }
    const std::vector<TubeSpell> spells{spell};
    EXPECT_NEAR(peak_uptake(input_of(spells))->raw.mg_per_h.value(), 400.0, 1e-6);
    auto late = input_of(spells);
    late.at = Instant::unix_nanoseconds(spell.times_ns[150]);
    const auto refused = peak_uptake(late);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, ErrorCode::too_few);
    EXPECT_NE(refused.error().text().find("49 s"), std::string::npos) << refused.error().text();
}

TEST(Peak, missing_readings_are_passed_over_and_marks_speak_of_the_window) {
    Random random(4);
    auto spell = tube_spell({.start_mg_per_l = 8.4, .noise = {.white_sd = 0.1}}, random);
    spell.oxygen[20] = std::numeric_limits<double>::quiet_NaN();
    const auto peak = peak_uptake(input_of({spell})).value();
    EXPECT_EQ(peak.mark, Mark::doubtful);
    EXPECT_TRUE(has_word(peak.reasons, "slope_error"));
    EXPECT_GT(peak.relative_error, 0.05);
    spell.spell.answer.mark = Mark::unusable;
    EXPECT_FALSE(peak_uptake(input_of({spell})));
    const auto low = tube_spell({.begins_s = 90.0, .readings = 100, .start_mg_per_l = 8.3}, random);
    EXPECT_TRUE(has_word(peak_uptake(input_of({low}))->reasons, "low_oxygen"));
}

TEST(Peak, a_peak_in_a_later_spell_is_found_and_the_plain_value_is_the_first_spells) {
    Random random(4);
    const auto first = tube_spell({.used_mg = [](double t) { return 300.0 / 3600.0 * t; }}, random);
    const auto second =
        tube_spell({.begins_s = 700.0, .used_mg = [](double t) { return 450.0 / 3600.0 * t; }}, random);
    const std::vector<TubeSpell> spells{first, second};
    const auto peak = peak_uptake(input_of(spells)).value();
    EXPECT_EQ(peak.spell, 1U);
    EXPECT_NEAR(peak.raw.mg_per_h.value(), 450.0, 1e-6);
    EXPECT_NEAR(peak.start_after_event.seconds(), 700.0, 61.0 + 340.0);
    EXPECT_NEAR(peak.whole_spell.mg_per_h.value(), 300.0, 1e-6);
    auto unusable = spells;
    unusable[0].spell.answer.mark = Mark::unusable;
    EXPECT_TRUE(has_word(peak_uptake(input_of(unusable))->reasons, "first_spell_unusable"));
}

TEST(Peak, of_a_fish_that_uses_nothing_or_of_risen_oxygen_is_marked) {
    Random random(4);
    const auto still =
        tube_spell({.noise = {.white_sd = 0.01}, .used_mg = [](double) { return 0.0; }}, random);
    EXPECT_EQ(peak_uptake(input_of({still}))->mark, Mark::doubtful);
    const auto rising = tube_spell({.used_mg = [](double t) { return -0.05 * t; }}, random);
    EXPECT_TRUE(has_word(peak_uptake(input_of({rising}))->reasons, "no_fall"));
    EXPECT_FALSE(peak_uptake(PeakInput{.at = at_hours(0.0), .stay = "empty"}));
}

// Simulated truth: 400 fish whose excess of 320 over 80 mg/h halves every 20 min, or who use 400 throughout,
// in a 10 L tube with a slow sensor. The truth is the greatest mean uptake over any 60 s of the spell.
struct PickingResult {
    double raw_bias = 0.0;
    double corrected_bias = 0.0;
    double mean_correction = 0.0;
    double raw_bias_error = 0.0; ///< Monte Carlo
    int held = 0;
    int seeds = 0;
};

PickingResult picked(const std::function<double(double)>& used, const fit::NoiseModel& noise) {
    PickingResult out;
    out.seeds = 400;
    std::vector<double> raws;
    const double truth = (used(90.0 + 60.0) - used(90.0)) / 60.0 * 3600.0;
    for (int seed = 0; seed < out.seeds; ++seed) {
        Random random(77, static_cast<std::uint64_t>(seed));
        const std::vector<TubeSpell> spells{tube_spell({.noise = noise, .used_mg = used}, random)};
        PeakSettings settings;
        settings.curve_windows_s.clear();
        settings.draws = 60;
        settings.seed = static_cast<std::uint64_t>(seed);
        const auto peak = peak_uptake(input_of(spells), settings).value();
        raws.push_back(peak.raw.mg_per_h.value() - truth);
        out.raw_bias += (peak.raw.mg_per_h.value() - truth) / out.seeds;
        out.corrected_bias += (peak.corrected.mg_per_h.value() - truth) / out.seeds;
        out.mean_correction += peak.selection_bias_mg_per_h / out.seeds;
        const auto interval = normal_interval(peak.corrected.mg_per_h);
        out.held += interval.low <= truth && truth <= interval.high ? 1 : 0;
    }
    double squares = 0.0;
    for (const double raw : raws) {
        squares += (raw - out.raw_bias) * (raw - out.raw_bias);
    }
    out.raw_bias_error = std::sqrt(squares) / out.seeds;
    return out;
}

TEST(Peak, selection_bias_is_taken_off_a_steady_fish) {
    const auto steady = picked([](double t) { return 400.0 / 3600.0 * t; },
                               {.white_sd = 0.004, .coloured_sd = 0.004, .correlation_time = 8.0});
    RecordProperty("raw_bias", std::to_string(steady.raw_bias));
    RecordProperty("corrected_bias", std::to_string(steady.corrected_bias));
    RecordProperty("held", steady.held);
    EXPECT_GT(steady.raw_bias, 4.0 * steady.raw_bias_error) << "the search flatters itself";
    EXPECT_LT(std::abs(steady.corrected_bias), 0.25 * steady.raw_bias);
    EXPECT_GE(steady.held, (0.95 * 400) - (4.0 * 4.36)) << "binomial, four standard deviations; 393 seen";
}

TEST(Peak, selection_bias_is_taken_off_a_recovering_fish) {
    const double k = std::log(2.0) / 1200.0;
    const auto recovering = picked(
        [k](double t) { return (80.0 * t / 3600.0) + (320.0 / 3600.0 * (1.0 - std::exp(-k * t)) / k); },
        {.white_sd = 0.004, .coloured_sd = 0.004, .correlation_time = 8.0});
    RecordProperty("raw_bias", std::to_string(recovering.raw_bias));
    RecordProperty("corrected_bias", std::to_string(recovering.corrected_bias));
    RecordProperty("held", recovering.held);
    EXPECT_GT(recovering.raw_bias, 4.0 * recovering.raw_bias_error);
    EXPECT_LT(std::abs(recovering.corrected_bias), 0.5 * recovering.raw_bias);
    EXPECT_GE(recovering.held, (0.95 * 400) - (4.0 * 4.36)) << "373 seen";
}

TEST(Peak, same_seed_same_bits) {
    const auto run = [] {
        Random random(5);
        const std::vector<TubeSpell> spells{tube_spell({.noise = {.white_sd = 0.01}}, random)};
        return peak_uptake(input_of(spells)).value();
    };
    const auto a = run();
    const auto b = run();
    EXPECT_EQ(a.corrected, b.corrected);
    EXPECT_EQ(a.curve.back().picking_mg_per_h, b.curve.back().picking_mg_per_h);
}

TEST(Peak, curve_shows_both_terms_against_window_length) {
    Random random(5);
    const double k_per_s = std::log(2.0) / 600.0;
    const auto used = [k_per_s](double t) {
        return 600.0 / 3600.0 * (1.0 - std::exp(-k_per_s * t)) / k_per_s;
    };
    const std::vector<TubeSpell> spells{tube_spell({.noise = {.white_sd = 0.01}, .used_mg = used}, random)};
    auto peak = peak_uptake(input_of(spells)).value();
    add_averaging(peak, k_per_s * 3600.0, 0.0);
    const auto& curve = peak.curve;
    ASSERT_GT(curve.size(), 2U);
    const auto& shortest = curve.front();
    const auto& longest = curve.back();
    EXPECT_EQ(shortest.window_s, 30.0);
    EXPECT_EQ(longest.window_s, 300.0);
    EXPECT_GT(shortest.picking_mg_per_h, longest.picking_mg_per_h);
    EXPECT_GT(shortest.error_mg_per_h, longest.error_mg_per_h);
    ASSERT_TRUE(longest.averaging_mg_per_h.has_value());
    EXPECT_LT(*longest.averaging_mg_per_h, *shortest.averaging_mg_per_h);
    // Undone averaging gives the uptake at the window's start, 90 s after the event: within four errors.
    EXPECT_NEAR(longest.corrected_mg_per_h - *longest.averaging_mg_per_h,
                600.0 * std::exp(-k_per_s * longest.start_after_event_s), 4.0 * longest.error_mg_per_h);
}

} // namespace
} // namespace backeddy::uptake
