// Slopes of sealed spells: closed forms, outside values, and the two roads (memory, stream) bit for bit.

#include "uptake/sealed.hpp"

#include <cmath>
#include <map>
#include <numbers>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "support/check_rows.hpp"
#include "uptake/chamber_of_known_truth.hpp"
#include "uptake/spell.hpp"
#include "uptake/states.hpp"

namespace backeddy::uptake {
namespace {

const Instant start = Instant::unix_nanoseconds(1'780'000'000'000'000'000);

struct Columns {
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen;
    [[nodiscard]] SealedView view() const {
        return {.sealed_from = Instant::unix_nanoseconds(times_ns.front()),
                .times_ns = times_ns,
                .oxygen_mg_per_l = oxygen};
    }
};

Columns falling(std::size_t n, double step_s, double per_h, double noise, std::uint64_t seed) {
    Columns out;
    Random random(seed);
    for (std::size_t i = 0; i < n; ++i) {
        const double t = step_s * static_cast<double>(i);
        out.times_ns.push_back((start + Duration::seconds(t)).unix_nanoseconds());
        out.oxygen.push_back(9.5 + (per_h * t / 3600.0) + (noise * random.normal()));
    }
    return out;
}

bool says(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

TEST(SealedSlope, of_a_perfect_fall_is_the_fall) {
    const auto out = sealed_slope(falling(300, 1.0, -2.4, 0.0, 1).view());
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->slope_mg_per_l_h, -2.4, 1e-11);
    EXPECT_NEAR(out->r_squared, 1.0, 1e-12);
    EXPECT_NEAR(out->oxygen_start_mg_per_l, 9.5, 1e-12);
    EXPECT_NEAR(out->oxygen_end_mg_per_l, 9.5 - (2.4 * 299.0 / 3600.0), 1e-12);
    EXPECT_EQ(out->readings, 300U);
}

TEST(SealedSlope, is_within_1e_12_of_long_double_sums) {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const std::size_t n = 20 + (37 * seed);
        const auto columns = falling(n, 0.7 + (0.1 * static_cast<double>(seed)),
                                     -0.05 * static_cast<double>(seed), 0.01, seed);
        const auto out = quick_slope(columns.view());
        ASSERT_TRUE(out.has_value());
        long double mx = 0;
        long double my = 0;
        for (std::size_t i = 0; i < n; ++i) {
            mx += static_cast<long double>(columns.times_ns[i] - columns.times_ns[0]) * 1e-9L;
            my += columns.oxygen[i];
        }
        mx /= static_cast<long double>(n);
        my /= static_cast<long double>(n);
        long double sxx = 0;
        long double sxy = 0;
        long double syy = 0;
        for (std::size_t i = 0; i < n; ++i) {
            const long double dx =
                (static_cast<long double>(columns.times_ns[i] - columns.times_ns[0]) * 1e-9L) - mx;
            sxx += dx * dx;
            sxy += dx * (columns.oxygen[i] - my);
            syy += (columns.oxygen[i] - my) * (columns.oxygen[i] - my);
        }
        const auto exact = static_cast<double>(sxy / sxx * 3600.0L);
        const auto scale = static_cast<double>(std::sqrt(syy / sxx) * 3600.0L);
        EXPECT_NEAR(out->slope_mg_per_l_h, exact, 1e-12 * scale) << "seed " << seed;
    }
}

TEST(SealedSlope, agrees_with_fit_line) {
    const auto columns = falling(600, 1.0, -0.7, 0.01, 5);
    const auto out = quick_slope(columns.view());
    std::vector<double> x;
    for (const auto t : columns.times_ns) {
        x.push_back(static_cast<double>(t - columns.times_ns[0]) * 1e-9);
    }
    const auto line = fit::fit_line(x, columns.oxygen);
    ASSERT_TRUE(out && line);
    EXPECT_NEAR(out->line.slope, line->slope, 1e-12 * std::abs(line->slope));
    EXPECT_NEAR(out->line.slope_se, line->slope_se, 1e-11 * line->slope_se);
    EXPECT_NEAR(out->r_squared, line->r_squared, 1e-12);
    EXPECT_NEAR(out->residual_sd_mg_per_l, line->residual_sd, 1e-11 * line->residual_sd);
}

TEST(SealedSlope, does_not_change_when_time_is_shifted_or_oxygen_scaled) {
    auto columns = falling(240, 1.0, -1.3, 0.01, 9);
    const auto base = quick_slope(columns.view());
    auto later = columns;
    for (auto& t : later.times_ns) {
        t += 86'400'000'000'000 * 31;
    }
    EXPECT_EQ(quick_slope(later.view())->slope_mg_per_l_h, base->slope_mg_per_l_h);
    auto doubled = columns;
    for (auto& c : doubled.oxygen) {
        c *= 2.0;
    }
    EXPECT_EQ(quick_slope(doubled.view())->slope_mg_per_l_h, 2.0 * base->slope_mg_per_l_h);
    auto slower = columns;
    for (auto& t : slower.times_ns) {
        t = slower.times_ns[0] + (2 * (t - columns.times_ns[0]));
    }
    EXPECT_NEAR(quick_slope(slower.view())->slope_mg_per_l_h, 0.5 * base->slope_mg_per_l_h, 1e-12);
}

TEST(SealedSlope, passes_over_missing_readings_and_counts_them) {
    auto columns = falling(300, 1.0, -2.4, 0.0, 1);
    columns.oxygen[0] = columns.oxygen[77] = columns.oxygen[299] = std::nan("");
    const auto out = sealed_slope(columns.view());
    ASSERT_TRUE(out.has_value());
    EXPECT_EQ(out->readings, 297U);
    EXPECT_EQ(out->missing, 3U);
    EXPECT_NEAR(out->slope_mg_per_l_h, -2.4, 1e-11);
    EXPECT_EQ(out->from, start + Duration::seconds(1));
}

TEST(SealedSlope, refuses_two_readings_and_one_moment) {
    EXPECT_EQ(quick_slope(falling(2, 1.0, -1.0, 0.0, 1).view()).error().code, ErrorCode::too_few);
    EXPECT_EQ(quick_slope(falling(9, 0.0, -1.0, 0.0, 1).view()).error().code, ErrorCode::degenerate);
    EXPECT_EQ(quick_slope(SealedView{}).error().code, ErrorCode::too_few);
}

TEST(SealedSlope, knows_a_sensor_s_lag_when_told) {
    // y = x + b lag e^(-t/lag) behind a fall that began at the seal: the fit that knows it is exact from the
    // first second, the plain one is not.
    constexpr double lag = 12.0;
    constexpr double per_s = -0.004;
    Columns columns;
    for (int s = 5; s < 60; ++s) {
        columns.times_ns.push_back((start + Duration::seconds(s)).unix_nanoseconds());
        columns.oxygen.push_back(9.0 + (per_s * s) - (per_s * lag) + (per_s * lag * std::exp(-s / lag)));
    }
    SealedView view = columns.view();
    view.sealed_from = start;
    const auto known = quick_slope(view, {.modelled_lag_s = lag});
    const auto plain = quick_slope(view);
    EXPECT_NEAR(known->slope_mg_per_l_h, 3600.0 * per_s, 1e-9);
    EXPECT_GT(std::abs(plain->slope_mg_per_l_h - (3600.0 * per_s)), 0.05 * 3600.0 * std::abs(per_s));
}

TEST(SealedSlope, outside_values_of_regression_and_noise) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    std::map<std::string, double> expected;
    for (const auto& row : test::check_rows(*path)) {
        expected[row.at("id")] = std::strtod(row.at("expected").c_str(), nullptr);
    }
    // Anscombe 1973, first set, in time order (x in seconds).
    const std::vector<std::pair<int, double>> anscombe{{4, 4.26},   {5, 5.68},  {6, 7.24},  {7, 4.82},
                                                       {8, 6.95},   {9, 8.81},  {10, 8.04}, {11, 8.33},
                                                       {12, 10.84}, {13, 7.58}, {14, 9.96}};
    Columns columns;
    for (const auto& [x, y] : anscombe) {
        columns.times_ns.push_back((start + Duration::seconds(x)).unix_nanoseconds());
        columns.oxygen.push_back(y);
    }
    const auto out = quick_slope(columns.view());
    ASSERT_TRUE(out.has_value());
    EXPECT_NEAR(out->slope_mg_per_l_h / 3600.0, expected.at("regression_slope"), 1e-6);
    EXPECT_NEAR(out->r_squared, expected.at("regression_r_squared"), 1e-6);
    EXPECT_NEAR(out->slope_error_ordinary / 3600.0, expected.at("regression_slope_standard_error"), 1e-6);

    // Sixty readings at 1 s with independent noise of 0.01 mg/L.
    const fit::NoiseModel white{.white_sd = 0.01};
    const auto modelled = sealed_slope(falling(60, 1.0, -1.0, 0.01, 3).view(), {.noise = &white});
    ASSERT_TRUE(modelled.has_value());
    EXPECT_NEAR(modelled->slope_error, expected.at("slope_error_from_noise_60"),
                1e-6 * expected.at("slope_error_from_noise_60"));
    EXPECT_NEAR(modelled->effective_readings, 60.0, 1e-6);
}

TEST(SealedSlope, its_modelled_interval_covers_where_the_ordinary_one_does_not) {
    // Autoregressive noise of 15 s at 1 reading/s, 300 s: nominal 95 %.
    const fit::NoiseModel noise{.coloured_sd = 0.01, .correlation_time = 15.0};
    int modelled = 0;
    int ordinary = 0;
    constexpr int trials = 2000;
    const double phi = std::exp(-1.0 / 15.0);
    for (int trial = 0; trial < trials; ++trial) {
        Random random(77, static_cast<std::uint64_t>(trial));
        auto columns = falling(300, 1.0, -1.0, 0.0, 1);
        double colour = 0.01 * random.normal();
        for (auto& c : columns.oxygen) {
            c += colour;
            colour = (phi * colour) + (0.01 * std::sqrt(1.0 - (phi * phi)) * random.normal());
        }
        const auto out = sealed_slope(columns.view(), {.noise = &noise});
        const double away = std::abs(out->slope_mg_per_l_h + 1.0);
        modelled += away <= 1.96 * out->slope_error ? 1 : 0;
        ordinary += away <= 1.96 * out->slope_error_ordinary ? 1 : 0;
    }
    // Binomial sd at 95 % of 2000 is 0.5 %.
    EXPECT_NEAR(modelled / static_cast<double>(trials), 0.95, 0.02);
    EXPECT_LT(ordinary / static_cast<double>(trials), 0.45);
}

// ------------------------------------------------------------------------------------------------ streaming

TEST(SpellAccumulator, gives_the_same_bits_as_memory_however_rows_are_portioned) {
    const test::KnownChamber chamber{.sample_s = 1.0};
    auto trace = test::simulate(chamber, 7200.0, test::cycling(180.0, 600.0), 11);
    // A hole, a missing reading and an unknown stretch, so that portions meet all of them.
    trace.times_ns.erase(trace.times_ns.begin() + 2000, trace.times_ns.begin() + 2060);
    trace.oxygen_mg_per_l.erase(trace.oxygen_mg_per_l.begin() + 2000, trace.oxygen_mg_per_l.begin() + 2060);
    trace.saturation_percent.resize(trace.rows());
    trace.temperature_celsius.resize(trace.rows());
    trace.state.erase(trace.state.begin() + 2000, trace.state.begin() + 2060);
    trace.oxygen_mg_per_l[3456] = std::nan("");
    std::fill(trace.state.begin() + 5000, trace.state.begin() + 5100, ChamberState::unknown);

    const Duration longest = longest_step(1.0);
    const Duration settle = Duration::seconds(60);
    std::vector<double> in_memory;
    const auto runs = states_from_column(trace.times_ns, trace.state);
    for (const auto& spell : cut_spells(trace.times_ns, 0, trace.rows(), runs, longest)) {
        if (spell.state != ChamberState::sealed) {
            continue;
        }
        std::size_t first = spell.first_row;
        while (first < spell.end_row && trace.times_ns[first] < (spell.from + settle).unix_nanoseconds()) {
            ++first;
        }
        const auto out = sealed_slope(
            {.sealed_from = spell.from,
             .times_ns = std::span(trace.times_ns).subspan(first, spell.end_row - first),
             .oxygen_mg_per_l = std::span(trace.oxygen_mg_per_l).subspan(first, spell.end_row - first)});
        if (out) {
            in_memory.push_back(out->slope_mg_per_l_h);
        }
    }
    ASSERT_GE(in_memory.size(), 12U);

    for (const std::size_t portion : {1U, 7U, 333U, 600U, 8192U}) {
        std::vector<double> streamed;
        SpellAccumulator accumulator({.longest_step = longest, .settle = settle},
                                     [&](const SealedView& view) {
                                         if (const auto out = quick_slope(view)) {
                                             streamed.push_back(out->slope_mg_per_l_h);
                                         }
                                     });
        for (std::size_t i = 0; i < trace.rows(); i += portion) {
            const std::size_t n = std::min(portion, trace.rows() - i);
            accumulator.feed({.times_ns = std::span(trace.times_ns).subspan(i, n),
                              .oxygen_mg_per_l = std::span(trace.oxygen_mg_per_l).subspan(i, n),
                              .state = std::span(trace.state).subspan(i, n)});
        }
        accumulator.finish();
        EXPECT_EQ(streamed, in_memory) << "portions of " << portion; // to the last bit
    }
}

TEST(SpellAccumulator, keeps_to_its_limit) {
    const auto columns = falling(1000, 1.0, -1.0, 0.0, 1);
    const std::vector<ChamberState> state(1000, ChamberState::sealed);
    std::vector<std::size_t> sizes;
    SpellAccumulator accumulator(
        {.longest_step = Duration::seconds(10), .settle = Duration(), .most_rows = 300},
        [&](const SealedView& view) { sizes.push_back(view.times_ns.size()); });
    for (std::size_t i = 0; i < 1000; i += 64) {
        const std::size_t n = std::min<std::size_t>(64, 1000 - i);
        accumulator.feed({.times_ns = std::span(columns.times_ns).subspan(i, n),
                          .oxygen_mg_per_l = std::span(columns.oxygen).subspan(i, n),
                          .state = std::span(state).subspan(i, n)});
    }
    accumulator.finish();
    EXPECT_EQ(sizes, (std::vector<std::size_t>{300, 300, 300, 100}));
    EXPECT_EQ(accumulator.cut_for_length(), 3U);
}

// ------------------------------------------------------------------------------------------------ signs and
// marks

Judgement judged(const Columns& columns, StayRole role = StayRole::rest,
                 const fit::NoiseModel* noise = nullptr) {
    const auto slope = sealed_slope(columns.view(), {.noise = noise});
    return judge(columns.view(), *slope, {.role = role, .noise = noise}, {});
}

TEST(Marks, clean_spells_of_every_rate_are_good) {
    // Also those whose r2 is low: a slow fish in a large chamber.
    const fit::NoiseModel noise{.white_sd = 0.01};
    int doubted = 0;
    for (std::uint64_t seed = 0; seed < 400; ++seed) {
        const double per_h = -0.02 - (0.004 * static_cast<double>(seed));
        const auto judgement = judged(falling(420, 1.0, per_h, 0.01, seed), StayRole::rest, &noise);
        doubted += judgement.mark == Mark::good ? 0 : 1;
        for (const auto& reason : judgement.reasons) {
            EXPECT_NE(reason.word, "r_squared");
        }
    }
    EXPECT_LE(doubted, 4); // 1 %
}

TEST(Marks, a_step_is_seen) {
    auto columns = falling(420, 1.0, -3.0, 0.005, 3);
    for (std::size_t i = 200; i < columns.oxygen.size(); ++i) {
        columns.oxygen[i] += 0.12;
    }
    const auto judgement = judged(columns);
    EXPECT_TRUE(says(judgement.reasons, "step"));
    EXPECT_EQ(judgement.mark, Mark::doubtful);
}

TEST(Marks, a_rebound_is_seen) {
    auto columns = falling(600, 1.0, -1.5, 0.005, 3);
    for (std::size_t i = 450; i < columns.oxygen.size(); ++i) {
        columns.oxygen[i] += 0.001 * static_cast<double>(i - 450); // 3.6 mg/L/h in
    }
    EXPECT_TRUE(says(judged(columns).reasons, "rebound"));
}

TEST(Marks, a_leak_shows_as_uptake_falling_with_saturation) {
    // V dC/dt = -R + leak (C_out - C): oxygen levels off.
    Columns columns;
    Random random(5);
    for (int s = 0; s < 1800; ++s) {
        columns.times_ns.push_back((start + Duration::seconds(s)).unix_nanoseconds());
        columns.oxygen.push_back(9.0 + std::exp(-s / 500.0) + (0.005 * random.normal()));
    }
    const auto judgement = judged(columns);
    EXPECT_TRUE(says(judgement.reasons, "falling_uptake"));
    EXPECT_TRUE(says(judgement.reasons, "plateau"));
}

TEST(Marks, a_frozen_sensor_is_seen_and_a_coarse_one_is_not) {
    auto frozen = falling(600, 1.0, -2.0, 0.005, 3);
    for (std::size_t i = 300; i < 420; ++i) {
        frozen.oxygen[i] = frozen.oxygen[300];
    }
    EXPECT_TRUE(says(judged(frozen).reasons, "frozen"));
    auto stuck = falling(600, 1.0, 0.0, 0.0, 3);
    EXPECT_EQ(judged(stuck).mark, Mark::unusable);
    // The same raw reading all along, under a calibration that drifts by 0.005 mg/L/h: still frozen, and no
    // fish that makes oxygen.
    auto drifting = falling(600, 1.0, 0.005, 0.0, 3);
    std::vector<std::uint8_t> repeats(drifting.oxygen.size(), 1);
    repeats[0] = 0;
    auto view = drifting.view();
    view.repeats = repeats;
    const auto slope = sealed_slope(view);
    const auto judgement = judge(view, *slope, {.role = StayRole::rest}, {});
    EXPECT_TRUE(says(judgement.reasons, "frozen"));
    EXPECT_FALSE(says(judgement.reasons, "rising"));
    EXPECT_EQ(judgement.mark, Mark::unusable);
    EXPECT_FALSE(says(judge(drifting.view(), *slope, {.role = StayRole::rest}, {}).reasons, "frozen"));
    auto coarse = falling(600, 1.0, -0.3, 0.0, 3);
    for (auto& c : coarse.oxygen) {
        c = std::round(c * 100.0) / 100.0; // 0.01 mg/L: each value stands for two minutes
    }
    EXPECT_FALSE(says(judged(coarse).reasons, "frozen"));
}

TEST(Marks, few_readings_gaps_and_missing_ones_are_counted) {
    EXPECT_TRUE(says(judged(falling(25, 5.0, -1.0, 0.005, 1)).reasons, "few_readings"));
    EXPECT_EQ(judged(falling(8, 15.0, -1.0, 0.005, 1)).mark, Mark::unusable);
    auto gap = falling(300, 1.0, -1.0, 0.005, 1);
    gap.times_ns.erase(gap.times_ns.begin() + 100, gap.times_ns.begin() + 108);
    gap.oxygen.erase(gap.oxygen.begin() + 100, gap.oxygen.begin() + 108);
    EXPECT_TRUE(says(judged(gap).reasons, "gap"));
    auto holes = falling(300, 1.0, -1.0, 0.005, 1);
    for (std::size_t i = 0; i < 300; i += 5) {
        holes.oxygen[i] = std::nan("");
    }
    EXPECT_TRUE(says(judged(holes).reasons, "missing"));
}

TEST(Marks, a_fish_cannot_make_oxygen_but_a_blank_may_drift) {
    const auto rising = falling(420, 1.0, 0.5, 0.005, 1);
    EXPECT_EQ(judged(rising, StayRole::rest).mark, Mark::unusable);
    EXPECT_EQ(judged(rising, StayRole::blank).mark, Mark::doubtful);
}

TEST(Marks, a_peak_is_judged_by_its_relative_error) {
    const fit::NoiseModel slow{.coloured_sd = 0.02, .correlation_time = 15.0};
    EXPECT_TRUE(
        says(judged(falling(60, 1.0, -4.0, 0.0, 1), StayRole::after_capture, &slow).reasons, "slope_error"));
    EXPECT_FALSE(
        says(judged(falling(60, 1.0, -90.0, 0.0, 1), StayRole::after_capture, &slow).reasons, "slope_error"));
}

TEST(Marks, oxygen_floors_follow_the_role_and_warming_is_told) {
    auto columns = falling(300, 1.0, -12.0, 0.005, 1);
    SealedView view = columns.view();
    std::vector<double> saturation;
    std::vector<double> temperature;
    for (std::size_t i = 0; i < columns.oxygen.size(); ++i) {
        saturation.push_back(9.2 * columns.oxygen[i]); // 87.4 % at the start, 78.2 % at the end
        temperature.push_back(15.0 + (2.0 * static_cast<double>(i) / 3600.0));
    }
    view.saturation_percent = saturation;
    view.temperature_celsius = temperature;
    const auto slope = sealed_slope(view);
    EXPECT_NEAR(slope->saturation_start_percent, 87.4, 0.1);
    EXPECT_NEAR(slope->temperature_drift_c_per_h, 2.0, 1e-9);
    EXPECT_NEAR(slope->temperature_mean_celsius, 15.083, 0.001);
    const auto rest = judge(view, *slope, {.role = StayRole::rest}, {});
    const auto fast = judge(view, *slope, {.role = StayRole::after_chase}, {});
    EXPECT_TRUE(says(rest.reasons, "low_start"));
    EXPECT_FALSE(says(fast.reasons, "low_start"));
    EXPECT_TRUE(says(rest.reasons, "low_oxygen"));
    EXPECT_TRUE(says(fast.reasons, "low_oxygen"));
    EXPECT_TRUE(says(rest.reasons, "warming"));
}

} // namespace
} // namespace backeddy::uptake
