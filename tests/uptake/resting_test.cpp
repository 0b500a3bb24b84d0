#include "uptake/resting.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <sstream>

#include <gtest/gtest.h>

#include "fit/mixture.hpp"
#include "metric_samples.hpp"
#include "support/check_rows.hpp"

namespace backeddy::uptake {
namespace {

using samples::at_hours;
using samples::SpellMaker;

std::vector<double> one_to(int n) {
    std::vector<double> out(static_cast<std::size_t>(n));
    std::iota(out.begin(), out.end(), 1.0);
    return out;
}

bool has_word(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

// Fewer draws than the defaults: the tests run many nights.
RestingSettings quick() {
    RestingSettings out;
    out.draws = 300;
    out.noise_draws = 100;
    out.cut_off_step_h = 4.0;
    return out;
}

// Without the mixture, which costs most of the time and which a test of many nights of the quantile does not
// ask for.
RestingSettings quantiles_only() {
    auto out = quick();
    out.least_for_lowest_normal = 1'000'000;
    return out;
}

const RestingEstimate& estimate(const RestingUptake& rest, RestingMethod method) {
    for (const auto& entry : rest.estimates) {
        if (entry.method == method && entry.estimate) {
            return *entry.estimate;
        }
    }
    throw std::runtime_error("no estimate by " + word(method));
}

// Methods as defined in the abstract of Chabot, Steffensen and Farrell 2016, J Fish Biol 88:81; the integers
// 1 to 105 in closed form: (1 + ... + 10)/10; drop 1-5, then the mean of 6-15; Hyndman and Fan 1996,
// definition 7.
TEST(RestingEstimators, of_the_integers_are_in_closed_form) {
    const auto values = one_to(105);
    EXPECT_NEAR(estimate_plain(RestingMethod::mean_of_ten_lowest, values).value(), 5.5, 1e-9);
    EXPECT_NEAR(estimate_plain(RestingMethod::lowest_tenth, values).value(), 10.5, 1e-9);
    EXPECT_NEAR(estimate_plain(RestingMethod::quantile_20, values).value(), 21.8, 1e-9);
    EXPECT_NEAR(estimate_plain(RestingMethod::quantile_25, values).value(), 27.0, 1e-9);
}

TEST(RestingEstimators, scale_with_the_unit_and_rise_with_the_values) {
    Random random(3);
    std::vector<double> values;
    for (int i = 0; i < 90; ++i) {
        values.push_back(80.0 + (5.0 * random.normal()) +
                         (random.uniform() < 0.3 ? 30.0 * random.exponential() : 0.0));
    }
    auto in_other_unit = values;
    auto higher = values;
    for (std::size_t i = 0; i < values.size(); ++i) {
        in_other_unit[i] *= 1.25;
        higher[i] += random.uniform();
    }
    for (const auto method : all_resting_methods) {
        const double plain = estimate_plain(method, values).value();
        EXPECT_NEAR(estimate_plain(method, in_other_unit).value(), 1.25 * plain, 1e-6 * plain)
            << word(method);
        if (method != RestingMethod::lowest_normal) {
            EXPECT_GE(estimate_plain(method, higher).value(), plain) << word(method);
        }
    }
    auto shuffled = values;
    std::reverse(shuffled.begin(), shuffled.end());
    for (const auto method : all_resting_methods) {
        EXPECT_NEAR(estimate_plain(method, shuffled).value(), estimate_plain(method, values).value(), 1e-6)
            << "order cannot matter: " << word(method);
    }
}

TEST(RestingEstimators, quantiles_rise_with_their_share) {
    Random random(8);
    std::vector<double> values;
    for (int i = 0; i < 40; ++i) {
        values.push_back(random.normal());
    }
    double before = -1e9;
    for (const auto method :
         {RestingMethod::quantile_10, RestingMethod::quantile_15, RestingMethod::quantile_20,
          RestingMethod::quantile_25, RestingMethod::quantile_30}) {
        const double now = estimate_plain(method, values).value();
        EXPECT_GE(now, before);
        before = now;
    }
}

TEST(RestingEstimators, refuse_what_they_cannot_answer) {
    const auto nine = one_to(9);
    EXPECT_EQ(estimate_plain(RestingMethod::mean_of_ten_lowest, nine).error().code, ErrorCode::too_few);
    EXPECT_EQ(estimate_plain(RestingMethod::lowest_tenth, one_to(19)).error().code, ErrorCode::too_few);
    EXPECT_EQ(estimate_plain(RestingMethod::lowest_normal, one_to(19)).error().code, ErrorCode::too_few);
    EXPECT_FALSE(estimate_plain(RestingMethod::quantile_20, {}));
    const std::vector<double> holed{1.0, std::numeric_limits<double>::quiet_NaN(), 3.0};
    EXPECT_EQ(estimate_plain(RestingMethod::quantile_20, holed).error().code, ErrorCode::out_of_range);
    const std::vector<double> one{7.0};
    EXPECT_EQ(estimate_plain(RestingMethod::quantile_20, one).value(), 7.0);
    const std::vector<double> equal(50, 7.0);
    EXPECT_EQ(estimate_plain(RestingMethod::quantile_20, equal).value(), 7.0);
    EXPECT_FALSE(estimate_plain(RestingMethod::lowest_normal, equal)) << "no mixture of equal values";
}

// Waiting times of a geyser (Azzalini and Bowman 1990), refitted with a general mixture package in R 4.2.2:
// two components, lowest mean 54.615, the 99 values classified into it vary by 10.605 %.
TEST(RestingEstimators, lowest_normal_agrees_with_an_outside_mixture) {
    const auto path = test::reference_path("respirometry_checks.csv");
    if (!path) {
        GTEST_SKIP() << test::reference_unset;
    }
    std::vector<double> values;
    for (const auto& row : test::check_rows(*path)) {
        if (row.at("id") == "lowest_normal_component_count") {
            std::istringstream numbers(row.at("inputs").substr(std::string("values=").size()));
            for (double v = 0.0; numbers >> v;) {
                values.push_back(v);
            }
        }
    }
    ASSERT_EQ(values.size(), 272U);
    EXPECT_EQ(fit::choose_mixture(values)->best.components.size(), 2U);
    EXPECT_NEAR(estimate_plain(RestingMethod::lowest_normal, values).value(), 54.615, 0.02);
    // As one night of 272 spells: the rule must turn to the quantile.
    std::vector<SpellUptake> spells;
    for (std::size_t i = 0; i < values.size(); ++i) {
        spells.push_back(SpellMaker{}(12.0 + (0.15 * static_cast<double>(i)), values[i]));
    }
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    ASSERT_TRUE(rest.mixture.has_value());
    EXPECT_NEAR(rest.mixture->cv_percent, 10.605, 0.15);
    EXPECT_EQ(rest.chosen, RestingMethod::quantile_20);
}

// Chabot and others 2016, abstract: CV at most 5.4 (per cent).
TEST(RestingRule, takes_the_lowest_normal_up_to_its_limit) {
    EXPECT_EQ(method_by_rule(5.4), RestingMethod::lowest_normal);
    EXPECT_EQ(method_by_rule(5.4000001), RestingMethod::quantile_20);
    EXPECT_EQ(method_by_rule(10.7), RestingMethod::quantile_20);
    EXPECT_EQ(method_by_rule(std::nullopt), RestingMethod::quantile_20);
    RestingSettings quarter;
    quarter.rule_quantile = 0.25;
    EXPECT_EQ(method_by_rule(10.7, quarter), RestingMethod::quantile_25);
}

// A night: recovery from capture that halves every `half_h`, a steady rest, bursts of activity.
struct NightSetup {
    double rest = 80.0;
    double first_excess = 300.0;
    double half_h = 1.0;
    double from_h = 1.5;
    double to_h = 30.0;
    double step_h = 0.2;
    double own = 0.0;          ///< slope error of a spell, mg/h
    double true_sd = 2.0;      ///< of the fish's own calm uptake
    double active_share = 0.2; ///< of spells with a burst
    double burst = 25.0;
    double volume_share = 0.0;
    double mass_share = 0.0;
};

// Weighed at 0.8 kg in truth.
std::vector<SpellUptake> night(const NightSetup& setup, Random& random) {
    SpellMaker make;
    make.volume_share = setup.volume_share;
    make.mass_share = setup.mass_share;
    make.mass_kg *= setup.mass_share > 0.0 ? 1.0 + (setup.mass_share * random.normal()) : 1.0;
    std::vector<SpellUptake> out;
    // A wrong volume scales the whole night; its truth stays.
    const double scale = 1.0 + (setup.volume_share * random.normal());
    double burst = 0.0;
    for (double h = setup.from_h; h < setup.to_h; h += setup.step_h) {
        // Bursts last: half of one is still there in the next spell.
        burst = (random.uniform() < setup.active_share ? setup.burst * random.exponential() : 0.0) +
                (0.3 * burst);
        const double truth = setup.rest + (setup.true_sd * random.normal()) + burst +
                             (setup.first_excess * std::exp(-std::log(2.0) / setup.half_h * h));
        out.push_back(make(h, (scale * truth) + (setup.own * random.normal()), setup.own));
    }
    return out;
}

TEST(RestingCutOff, waits_ten_hours_even_when_the_fish_recovers_sooner) {
    Random random(11);
    const auto spells = night({.half_h = 0.5}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(rest.name, "SMR");
    EXPECT_NEAR(rest.cut_off_h, 10.0, 0.21);
    EXPECT_GE(rest.cut_off_h, 9.95) << "where that spell begins: its middle is at ten hours or later";
    EXPECT_EQ(rest.counted.back(), spells.size() - 1);
    EXPECT_EQ(rest.counted.size(), spells.size() - rest.counted.front());
    EXPECT_FALSE(has_word(rest.reasons, "short_stay"));
}

TEST(RestingCutOff, waits_for_a_slow_fish_and_shows_the_curve) {
    Random random(12);
    // 300 mg/h above 80 that halve every 4 h: after 10 h 53 are left, after 20 h 9.
    const auto spells = night({.half_h = 4.0, .to_h = 40.0, .active_share = 0.0}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(rest.standing, RestingStanding::standard);
    EXPECT_GT(rest.cut_off_h, 14.0);
    EXPECT_LT(rest.cut_off_h, 28.0);
    ASSERT_GT(rest.cut_off_curve.size(), 5U);
    EXPECT_TRUE(rest.cut_off_curve.front().falling);
    EXPECT_FALSE(rest.cut_off_curve[rest.cut_off_curve.size() - 3].falling);
    EXPECT_GE(*rest.cut_off_curve.front().mg_per_h, *rest.cut_off_curve[5].mg_per_h);
}

TEST(RestingCutOff, a_fish_that_never_gets_there_has_no_smr) {
    Random random(13);
    const auto spells = night({.half_h = 6.0, .to_h = 16.0, .active_share = 0.0}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(rest.name, "resting, not recovered");
    EXPECT_TRUE(has_word(rest.reasons, "not_recovered"));
    const auto early = night({.half_h = 0.5, .to_h = 9.0}, random);
    const auto short_stay =
        resting_uptake({.spells = early, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(short_stay.standing, RestingStanding::not_recovered);
    EXPECT_NE(short_stay.cut_off_why.find("too soon"), std::string::npos) << short_stay.cut_off_why;
    // 8.9 h of the 10 + 3 that are asked for: the hours that are missing are named.
    EXPECT_NE(short_stay.cut_off_why.find("where 3 h are left to count; the last value lies at 8.9 h, 4.1 h"),
              std::string::npos)
        << short_stay.cut_off_why;
}

// A night of 12 h: too short for ten hours and three to count. Fish that were never raised, fish that came
// down in the first hours, and fish that still have 28 of 94 mg/h above rest at its end (e-fold in 20 h).
TEST(RestingCutOff, a_record_that_is_flat_for_six_hours_is_recovered_and_a_slow_one_is_not) {
    int flat = 0;
    int fast = 0;
    int slow = 0;
    constexpr int fish = 100;
    const auto standing = [](const NightSetup& setup, std::uint64_t stream, int seed) {
        Random random(stream, static_cast<std::uint64_t>(seed));
        const auto spells = night(setup, random);
        return resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quantiles_only())
            .value();
    };
    for (int seed = 0; seed < fish; ++seed) {
        const NightSetup calm{
            .first_excess = 0.0, .from_h = 0.1, .to_h = 12.2, .own = 1.0, .active_share = 0.05};
        auto one = standing(calm, 16, seed);
        if (one.standing == RestingStanding::overnight) {
            EXPECT_EQ(one.name, "resting, overnight");
            EXPECT_LT(one.cut_off_h, 6.3);
            ++flat;
        }
        auto sooner = calm;
        sooner.first_excess = 300.0;
        sooner.half_h = 0.55;
        fast += standing(sooner, 17, seed).standing == RestingStanding::overnight ? 1 : 0;
        auto later = calm;
        later.first_excess = 52.0;
        later.half_h = 20.0 * std::log(2.0);
        slow += standing(later, 18, seed).standing == RestingStanding::overnight ? 1 : 0;
    }
    RecordProperty("flat_of_100", flat);
    RecordProperty("fast_of_100", fast);
    RecordProperty("slow_of_100", slow);
    EXPECT_GE(flat, 90);
    EXPECT_GE(fast, 85);
    // The upper limit of the fall is one-sided 95 %, and this fish lies just above it.
    EXPECT_LE(slow, 5);
}

TEST(RestingCutOff, hours_of_the_cut_off_are_those_of_the_moment_values_count_from) {
    Random random(19);
    const auto spells = night({.half_h = 0.5}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_NEAR(rest.cut_off_h, (rest.counted_from - at_hours(0.0)).hours(), 1e-12);
}

TEST(RestingCutOff, one_night_is_called_overnight) {
    Random random(14);
    const auto spells = night({.half_h = 0.7, .to_h = 18.0}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(rest.name, "resting, overnight");
    EXPECT_TRUE(has_word(rest.reasons, "short_stay"));
}

// Quiet fish under noise alone: what the search for a trend says of nothing. And fish that fall by a third
// over the window: what it says of something.
TEST(RestingCutOff, rarely_sees_a_trend_in_noise_and_mostly_sees_one_that_is_there) {
    int seen_in_noise = 0;
    int seen = 0;
    for (int seed = 0; seed < 200; ++seed) {
        Random random(15, static_cast<std::uint64_t>(seed));
        const auto calm = night({.first_excess = 0.0, .to_h = 8.0, .own = 4.0}, random);
        seen_in_noise +=
            resting_uptake({.spells = calm, .handled = at_hours(0.0), .stay = "s"}, quantiles_only())
                    ->cut_off_curve.front()
                    .falling
                ? 1
                : 0;
        const auto falling = night({.first_excess = 60.0, .half_h = 3.0, .to_h = 8.0, .own = 4.0}, random);
        seen += resting_uptake({.spells = falling, .handled = at_hours(0.0), .stay = "s"}, quantiles_only())
                        ->cut_off_curve.front()
                        .falling
                    ? 1
                    : 0;
    }
    // One-sided 5 % of 200 by the setting (and the size limit takes some): 10, binomial deviation 3.1.
    EXPECT_LE(seen_in_noise, 22) << "of 200";
    EXPECT_GE(seen, 150) << "of 200";
}

// Under white noise with a CV of 10 % alone, the 0.2 quantile of a constant reads 0.84 x 10 % low (normal
// quantile).
TEST(RestingNoise, alone_costs_the_quantile_eight_per_cent_and_the_correction_returns_most_of_it) {
    double raw = 0.0;
    double corrected = 0.0;
    constexpr int nights = 60;
    for (int seed = 0; seed < nights; ++seed) {
        Random random(21, static_cast<std::uint64_t>(seed));
        const auto spells =
            night({.first_excess = 0.0, .own = 8.0, .true_sd = 0.0, .active_share = 0.0}, random);
        const auto rest =
            resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quantiles_only())
                .value();
        const auto& quantile = estimate(rest, RestingMethod::quantile_20);
        raw += quantile.raw.mg_per_h.value() / nights;
        corrected += quantile.corrected.mg_per_h.value() / nights;
        EXPECT_NEAR(quantile.corrected.mg_per_h.value(),
                    quantile.raw.mg_per_h.value() - quantile.noise_bias_mg_per_h, 1e-9);
    }
    EXPECT_NEAR(raw, 80.0 - (0.8416 * 8.0), 0.3);
    EXPECT_NEAR(corrected, 80.0, 0.25 * 0.8416 * 8.0) << "at least three quarters of the bias are gone";
}

TEST(RestingNoise, nothing_is_corrected_where_there_is_none) {
    Random random(22);
    const auto spells = night({.own = 0.0}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    for (const auto& entry : rest.estimates) {
        if (entry.estimate) {
            EXPECT_EQ(entry.estimate->noise_bias_mg_per_h, 0.0) << word(entry.method);
        }
    }
}

// Simulated truth: 300 nights with bursts, noise of 5 % and a volume 2 % wrong. The truth of a quantile is
// that of the fish's own calm-and-bursts distribution, from one night of 400,000 spells.
TEST(Resting, intervals_hold_the_truth_as_often_as_they_say) {
    NightSetup endless{.first_excess = 0.0, .from_h = 0.0, .to_h = 80000.0};
    Random long_random(31);
    std::vector<double> truths;
    for (const auto& spell : night(endless, long_random)) {
        truths.push_back(spell.uptake_mg_per_h.value());
    }
    const double truth = estimate_plain(RestingMethod::quantile_20, truths).value();
    int held = 0;
    double bias = 0.0;
    double raw_bias = 0.0;
    constexpr int nights = 300;
    for (int seed = 0; seed < nights; ++seed) {
        Random random(32, static_cast<std::uint64_t>(seed));
        const auto spells = night({.half_h = 0.7, .to_h = 34.0, .own = 4.0, .volume_share = 0.02}, random);
        auto settings = quantiles_only();
        settings.seed = static_cast<std::uint64_t>(seed) + 1;
        const auto rest =
            resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, settings).value();
        const auto& answer = estimate(rest, RestingMethod::quantile_20);
        held += answer.interval_mg_per_h.low <= truth && truth <= answer.interval_mg_per_h.high ? 1 : 0;
        bias += (answer.corrected.mg_per_h.value() - truth) / nights;
        raw_bias += (answer.raw.mg_per_h.value() - truth) / nights;
    }
    RecordProperty("held_of_300", held);
    RecordProperty("bias", std::to_string(bias));
    // Binomial, p = 0.95, n = 300: standard deviation 3.8; four of them below.
    EXPECT_GE(held, 285 - 15) << "280 seen";
    EXPECT_LT(std::abs(bias), 0.5 * std::abs(raw_bias));
}

// The same with a balance that is 5 % wrong: it has no part in mg/h and most of the part in mg/kg/h.
TEST(Resting, intervals_per_kilogram_hold_the_truth_although_the_mass_is_wrong) {
    int held = 0;
    constexpr int nights = 200;
    double half_whole = 0.0;
    double half_specific = 0.0;
    for (int seed = 0; seed < nights; ++seed) {
        Random random(33, static_cast<std::uint64_t>(seed));
        const auto spells = night({.half_h = 0.7,
                                   .to_h = 24.0,
                                   .own = 4.0,
                                   .active_share = 0.0,
                                   .volume_share = 0.01,
                                   .mass_share = 0.05},
                                  random);
        auto settings = quantiles_only();
        settings.seed = static_cast<std::uint64_t>(seed) + 1;
        const auto rest =
            resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, settings).value();
        const auto& answer = estimate(rest, RestingMethod::quantile_20);
        // The 0.2 quantile of N(80, 2), per kilogram of the true mass.
        const double truth = (80.0 - (0.8416 * 2.0)) / 0.8;
        const auto& interval = answer.interval_mg_per_kg_h.value();
        held += interval.low <= truth && truth <= interval.high ? 1 : 0;
        half_whole += (answer.interval_mg_per_h.high - answer.interval_mg_per_h.low) / 2.0 /
                      answer.corrected.mg_per_h.value() / nights;
        half_specific +=
            (interval.high - interval.low) / 2.0 / answer.corrected.mg_per_kg_h->value() / nights;
    }
    RecordProperty("held_of_200", held);
    // Binomial, p = 0.95, n = 200: standard deviation 3.1; four of them below.
    EXPECT_GE(held, 190 - 12);
    // What the mass adds in quadrature is 1.96 times 5 % (JCGM 100:2008, 5.1.2).
    EXPECT_NEAR(std::sqrt((half_specific * half_specific) - (half_whole * half_whole)), 0.098, 0.004);
}

TEST(Resting, what_all_spells_share_is_kept_by_name_and_what_is_a_spells_own_is_not) {
    Random random(41);
    const auto spells = night({.own = 3.0, .volume_share = 0.02}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s9"}, quick()).value();
    const auto& rate = rest.value.raw.mg_per_h;
    std::vector<std::string> sources;
    for (const auto& contribution : rate.contributions()) {
        sources.push_back(contribution.source);
    }
    EXPECT_EQ(sources, (std::vector<std::string>{"resting sampling:s9", "volume:chamber 4"}));
    EXPECT_NEAR(rate.contributions()[1].effect, 0.02 * rate.value(), 0.02);
    EXPECT_NEAR(rest.value.raw.mg_per_kg_h->value(), rate.value() / 0.8, 1e-9);
    EXPECT_NEAR(rest.temperature_mean_celsius, 12.0, 1e-9);
    EXPECT_NEAR(*rest.background_share, 0.024, 0.005);
}

TEST(Resting, routine_median_is_matched_by_hour_where_the_night_holds_it) {
    Random random(42);
    // at_hours(0) is 2023-11-14T22:13:20Z; the night runs from 01:43 UTC to 22:13 next day.
    auto settings = quick();
    settings.utc_offset = Duration::hours(2.0);
    const auto spells = night({.first_excess = 0.0, .to_h = 20.0}, random);
    const auto rest =
        resting_uptake({.spells = spells, .handled = at_hours(-9.0), .stay = "s"}, settings).value();
    // Middle of the hour, 13:30 UTC, 15:30 local: there the level is the hour's own median.
    const auto inside = rest.routine.at(at_hours(15.0) + Duration::seconds(1000.0));
    EXPECT_TRUE(inside.hour_matched);
    std::vector<double> that_hour;
    for (const auto i : rest.counted) {
        const double local = std::fmod(22.0 + (13.0 / 60.0) + (20.0 / 3600.0) + 2.0 +
                                           (spells[i].middle() - at_hours(0.0)).hours(),
                                       24.0);
        if (local >= 15.0 && local < 16.0) {
            that_hour.push_back(spells[i].uptake_mg_per_h.value());
        }
    }
    ASSERT_GE(that_hour.size(), 4U);
    std::sort(that_hour.begin(), that_hour.end());
    const double median = 0.5 * (that_hour[(that_hour.size() - 1) / 2] + that_hour[that_hour.size() / 2]);
    EXPECT_NEAR(inside.rate.mg_per_h.value(), median, 1e-9);
    // A moment before and after a full hour the level is the same: no step.
    const Instant hour = at_hours(15.0) + Duration::seconds(2800.0);
    EXPECT_NEAR(rest.routine.at(hour - Duration::seconds(0.01)).rate.mg_per_h.value(),
                rest.routine.at(hour + Duration::seconds(0.01)).rate.mg_per_h.value(), 1e-3);
    const auto outside = rest.routine.at(at_hours(22.5)); // 20:43 UTC, 22:43 local
    EXPECT_FALSE(outside.hour_matched);
    EXPECT_EQ(outside.rate, rest.routine.whole_night);
}

TEST(Resting, few_equal_negative_or_missing_values_are_said_and_do_not_break) {
    SpellMaker make;
    std::vector<SpellUptake> spells;
    for (int i = 0; i < 4; ++i) {
        spells.push_back(make(11.0 + i, 80.0));
    }
    const auto refused = resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s3"});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().text(),
              "stay s3: 4 usable values; a resting uptake needs at least 5; look at the marks "
              "of the stay's spells, or use a longer stay");
    for (int i = 4; i < 12; ++i) {
        spells.push_back(make(11.0 + i, 80.0));
    }
    spells[3].mark = Mark::unusable;
    spells[5].uptake_mg_per_h = Measured(std::numeric_limits<double>::quiet_NaN());
    const auto equal =
        resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s3"}, quick()).value();
    EXPECT_EQ(equal.value.raw.mg_per_h.value(), 80.0);
    EXPECT_TRUE(has_word(equal.reasons, "equal_values"));
    EXPECT_TRUE(has_word(equal.reasons, "few_values"));
    EXPECT_EQ(equal.counted.size(), 10U);
    for (const auto& entry : equal.estimates) {
        EXPECT_TRUE(entry.estimate.has_value() || !entry.skipped.text.empty()) << word(entry.method);
    }
    std::vector<SpellUptake> negative;
    for (int i = 0; i < 40; ++i) {
        negative.push_back(make(11.0 + (0.5 * i), i % 3 == 0 ? -2.0 : 1.0 + (0.1 * i), 1.0));
    }
    const auto below =
        resting_uptake({.spells = negative, .handled = at_hours(0.0), .stay = "s3"}, quick()).value();
    EXPECT_TRUE(has_word(below.reasons, "negative_uptake"));
    EXPECT_FALSE(resting_uptake({.spells = {}, .handled = at_hours(0.0), .stay = "s3"}));
}

TEST(Resting, same_seed_same_bits_and_order_of_spells_does_not_matter) {
    Random random(51);
    auto spells = night({.own = 3.0}, random);
    const auto a = resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    const auto b = resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(a.value.corrected, b.value.corrected);
    std::reverse(spells.begin(), spells.end());
    const auto c = resting_uptake({.spells = spells, .handled = at_hours(0.0), .stay = "s"}, quick()).value();
    EXPECT_EQ(a.value.corrected, c.value.corrected);
}

} // namespace
} // namespace backeddy::uptake
