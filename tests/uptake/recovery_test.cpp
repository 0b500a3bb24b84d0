#include "uptake/recovery.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include <gtest/gtest.h>

#include "fit/student.hpp"
#include "metric_samples.hpp"
#include "support/reference.hpp"

namespace backeddy::uptake {
namespace {

using samples::at_hours;
using samples::SpellMaker;

constexpr double infinity = std::numeric_limits<double>::infinity();

bool has_word(const std::vector<Reason>& reasons, const std::string& word) {
    return std::any_of(reasons.begin(), reasons.end(), [&](const Reason& r) { return r.word == word; });
}

UptakeRate level(double mg_per_h, double u = 0.0, double mass_kg = 0.8) {
    const Measured whole(mg_per_h, u, "resting sampling:s2");
    return {.mg_per_h = whole, .mg_per_kg_h = whole / mass_kg};
}

// Closed forms, respirometry's integral of an exponential above rest.
TEST(RecoveryForms, agree_with_their_closed_forms) {
    EXPECT_NEAR(excess_one_phase(600.0, 1.2, infinity), 500.0, 1e-9);
    EXPECT_NEAR(excess_one_phase(600.0, 1.2, 1.0), 349.402894, 1e-6);
    EXPECT_NEAR(excess_two_phase(400.0, 3.0, 200.0, 0.4, infinity), 633.3333333, 1e-6);
    EXPECT_NEAR(excess_one_phase(400.0, 3.0, infinity) / excess_two_phase(400.0, 3.0, 200.0, 0.4, infinity),
                0.2105263158, 1e-9);
    EXPECT_NEAR(time_to_level(600.0, 1.2, 8.0), 3.597906761, 1e-8);
    EXPECT_EQ(time_to_level(5.0, 1.2, 8.0), 0.0);
}

// Lee and others 2003, J Exp Biol 206:3253, fig. 2 caption: 0.023 per min in recovering sockeye, half-time 30
// min.
TEST(RecoveryForms, sockeye_halve_their_excess_in_half_an_hour) {
    EXPECT_NEAR(60.0 * half_time(0.023 * 60.0), 30.13683394, 1e-6);
}

TEST(RecoveryForms, excess_rises_with_time_and_never_beyond_its_whole) {
    double before = 0.0;
    for (double t = 0.1; t < 20.0; t += 0.1) {
        const double now = excess_one_phase(600.0, 1.2, t);
        EXPECT_GT(now, before);
        EXPECT_LE(now, 500.0);
        before = now;
    }
}

// Spells of known uptake: in the tube from 0.1 h to `tube_h`, in the night chamber from `tube_h` + 0.2 on.
struct Course {
    double rest = 80.0;
    double amplitude = 400.0;
    double rate = 0.8;
    double fast_amplitude = 0.0;
    double fast_rate = 6.0;
    double tube_h = 1.0;
    double to_h = 14.0;
    double tube_step_h = 0.15;
    double step_h = 0.25;
    double handling = 0.0; ///< excess that the transfer adds, decaying at the same rate
    double own = 0.0;
    double scatter = 0.0;      ///< spontaneous changes, mg/h
    double plateau_h = 0.0;    ///< the slow part stands so long before it falls
    double swing = 0.0;        ///< of rest over the day, share of its mean
    double highest_at_h = 0.0; ///< when rest is highest
    double burst_share = 0.0;  ///< of the night's spells that hold a burst of activity
    double burst = 0.0;        ///< its mean, mg/h; exponential
    double tube_volume_share = 0.0;
    double night_volume_share = 0.0;
};

struct Spells {
    std::vector<SpellUptake> tube;
    std::vector<SpellUptake> after;
};

double rest_at(const Course& c, double h) {
    return c.rest * (1.0 + (c.swing * std::cos(2.0 * std::numbers::pi * (h - c.highest_at_h) / 24.0)));
}

double excess_at(const Course& c, double h) {
    return (c.amplitude * std::exp(-c.rate * std::max(0.0, h - c.plateau_h))) +
           (c.fast_amplitude * std::exp(-c.fast_rate * h)) +
           (h > c.tube_h ? c.handling * std::exp(-c.rate * (h - c.tube_h)) : 0.0);
}

double truth_at(const Course& c, double h) {
    return rest_at(c, h) + excess_at(c, h);
}

Spells spells_of(const Course& c, Random& random) {
    SpellMaker tube;
    tube.chamber = "tube 1";
    tube.volume_share = c.tube_volume_share;
    tube.half_length_h = 0.02;
    SpellMaker night;
    night.volume_share = c.night_volume_share;
    const double tube_scale = 1.0 + (c.tube_volume_share * random.normal());
    const double night_scale = 1.0 + (c.night_volume_share * random.normal());
    Spells out;
    for (double h = 0.1; h < c.tube_h - 0.02; h += c.tube_step_h) {
        const double truth = truth_at(c, h) + (c.scatter * random.normal());
        out.tube.push_back(tube(h, (tube_scale * truth) + (c.own * random.normal()), c.own));
    }
    for (double h = c.tube_h + 0.25; h < c.to_h; h += c.step_h) {
        double truth = truth_at(c, h) + (c.scatter * random.normal());
        if (c.burst_share > 0.0 && random.uniform() < c.burst_share) {
            truth += c.burst * random.exponential();
        }
        out.after.push_back(night(h, (night_scale * truth) + (c.own * random.normal()), c.own));
    }
    return out;
}

RecoveryInput input_of(const Spells& spells, const Course& c) {
    RecoveryInput out;
    out.time_zero = at_hours(0.0);
    out.tube = spells.tube;
    out.tube_until = at_hours(c.tube_h);
    out.after = spells.after;
    out.after_from = at_hours(c.tube_h + 0.15);
    out.resting = level(c.rest);
    out.resting_name = "SMR";
    out.fish = "f1";
    return out;
}

// Area by trapezoid of a simulated recovery (CC0): R 4.2.2, over all 24 h and 40 points.
TEST(RecoveryByData, area_agrees_with_r) {
    const auto cases = support::reference_cases("stats/10_smoothing.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "recovery");
    const auto table = support::data_of(one);
    const auto hours = table.numbers("hour");
    const auto uptake = table.numbers("mo2");
    std::vector<SpellUptake> spells;
    for (std::size_t i = 0; i < hours.size(); ++i) {
        spells.push_back(SpellMaker{}(hours[i], uptake[i]));
    }
    RecoveryInput input;
    // A microsecond before the first point, which would else lie at time zero itself.
    input.time_zero = at_hours(hours.front()) - Duration::seconds(1e-6);
    input.tube = spells;
    input.resting = level(0.0);
    input.fish = "f1";
    const auto answer = recovery(input).value();
    const double want = one.at("expected").at("trapezoid").at("auc").get<double>();
    EXPECT_NEAR(answer.baselines.front().tube->amount.mg.value(), want, 1e-4);
}

TEST(RecoveryByData, of_a_noiseless_decay_is_its_integral) {
    const Course course{.tube_h = 24.0, .to_h = 24.0, .tube_step_h = 0.05};
    Random random(1);
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    const auto answer = recovery(input).value();
    ASSERT_EQ(answer.baselines.size(), 2U);
    const auto& ten = answer.baselines[0];
    EXPECT_EQ(ten.name, "SMR + 10 %");
    EXPECT_LE(ten.by_data.at_least_h, *ten.by_data.hours);
    const double crossing = time_to_level(400.0, 0.8, 8.0);
    ASSERT_TRUE(ten.by_data.hours.has_value());
    EXPECT_NEAR(*ten.by_data.hours, crossing, 0.01);
    EXPECT_NEAR(*ten.by_fit.hours, crossing, 1e-3);
    const double excess = excess_one_phase(400.0, 0.8, crossing) - (8.0 * crossing);
    // The first value is held back over 0.1 h, where the truth is up to 8 % higher: no more than half of that
    // in 0.1 h.
    EXPECT_NEAR(ten.capture_plus_handling->amount.mg.value(), excess, (0.5 * 400.0 * 0.08 * 0.1) + 0.5);
    EXPECT_FALSE(ten.capture_plus_handling->at_least);
    EXPECT_NEAR(ten.tube->held_back_share, 0.1 * (400.0 * std::exp(-0.08) - 8.0) / excess, 0.002);
    EXPECT_NEAR(ten.fitted_excess->mg.value(), excess, 0.05);
    EXPECT_NEAR(answer.fit->excess_all.mg.value(), 500.0, 1e-3);
    EXPECT_NEAR(answer.fit->excess_all.mg_per_kg->value(), 625.0, 1e-3);
    EXPECT_NEAR(answer.fit->excess_first_hour.mg.value(), excess_one_phase(400.0, 0.8, 1.0), 1e-3);
    EXPECT_NEAR(answer.fit->half_time.hours.value(), half_time(0.8), 1e-6);
    EXPECT_NEAR(answer.half_time_by_data->hours.value(),
                std::log((400.0) / (8.0 + 0.5 * (400.0 * std::exp(-0.08) - 8.0))) / 0.8, 0.02);
    input.peak = level(480.0);
    const auto held = recovery(input).value();
    EXPECT_GT(held.baselines[0].tube->held_back_share, ten.tube->held_back_share);
}

TEST(RecoveryByData, lower_thresholds_are_met_later_and_hold_more) {
    Random random(2);
    const Course course{};
    const auto spells = spells_of(course, random);
    RecoverySettings settings;
    settings.shares_above_resting = {0.05, 0.10, 0.20, 0.50};
    settings.daily_swing_share = 0.0; // 5 % above rest is no time where rest itself is not known to 5 %
    const auto answer = recovery(input_of(spells, course), settings).value();
    for (std::size_t i = 1; i < answer.baselines.size(); ++i) {
        EXPECT_LT(*answer.baselines[i].by_data.hours, *answer.baselines[i - 1].by_data.hours);
        EXPECT_LT(*answer.baselines[i].by_fit.hours, *answer.baselines[i - 1].by_fit.hours);
        EXPECT_LT(answer.baselines[i].capture_plus_handling->amount.mg.value(),
                  answer.baselines[i - 1].capture_plus_handling->amount.mg.value());
    }
}

TEST(RecoveryByData, boat_hour_and_after_transfer_add_up_to_capture_plus_handling) {
    Random random(3);
    const Course course{.handling = 100.0};
    const auto spells = spells_of(course, random);
    const auto answer = recovery(input_of(spells, course)).value();
    const auto& ten = answer.baselines[0];
    ASSERT_TRUE(ten.tube && ten.after_transfer && ten.capture_plus_handling);
    EXPECT_EQ(ten.tube->from_h, 0.0);
    EXPECT_NEAR(ten.tube->to_h, 1.0, 1e-9);
    EXPECT_FALSE(ten.tube->met_baseline);
    EXPECT_FALSE(ten.tube->at_least) << "the boat hour is what it is";
    EXPECT_NEAR(ten.after_transfer->from_h, 1.0, 1e-9);
    EXPECT_TRUE(ten.after_transfer->met_baseline);
    EXPECT_NEAR(ten.tube->amount.mg.value() + ten.after_transfer->amount.mg.value(),
                ten.capture_plus_handling->amount.mg.value(), 1e-9);
    EXPECT_GT(ten.capture_plus_handling->bridged_share, 0.0);
    EXPECT_LT(ten.capture_plus_handling->bridged_share, 0.3);
    // Truth of the boat hour above 88 mg/h; the spells are 0.15 h apart.
    EXPECT_NEAR(ten.tube->amount.mg.value(), excess_one_phase(400.0, 0.8, 1.0) - 8.0, 4.0);
    EXPECT_TRUE(answer.recovered_share_at_tube_end.has_value());
}

TEST(RecoveryByData, one_low_spell_is_no_recovery_and_an_unfinished_one_is_censored) {
    Random random(4);
    const Course course{.to_h = 3.0};
    auto spells = spells_of(course, random);
    spells.after[2].uptake_mg_per_h = Measured(60.0);
    const auto answer = recovery(input_of(spells, course)).value();
    const auto& ten = answer.baselines[0];
    EXPECT_FALSE(ten.by_data.hours.has_value());
    EXPECT_LE(ten.by_data.at_least_h, 2.75) << "such a spell makes the others less sure";
    EXPECT_GT(ten.by_data.at_least_h, 1.0);
    EXPECT_TRUE(ten.capture_plus_handling->at_least);
    EXPECT_EQ(ten.by_data.reason, "no 2 spells in a row at or below the baseline by 2.75 h");

    const auto without = recovery(input_of(spells_of(course, random), course)).value().baselines[0];
    EXPECT_NEAR(without.by_data.at_least_h, 2.75, 0.01);
    ASSERT_TRUE(without.by_fit.hours && without.by_fit.at_most_h) << "the fit may look beyond, and says so";
    EXPECT_EQ(without.by_fit.reason, "beyond the last spell: by the fit alone");
}

TEST(RecoveryByFit, a_meeting_far_beyond_the_spells_is_no_time) {
    Random random(5);
    const Course tube_alone{.to_h = 1.0}; // rest + 10 % is met at ln(400 / 8) / 0.8 = 4.9 h
    const auto ten = recovery(input_of(spells_of(tube_alone, random), tube_alone)).value().baselines[0];
    EXPECT_FALSE(ten.by_fit.hours || ten.by_fit.at_most_h);
    EXPECT_GT(ten.by_fit.at_least_h, 0.8);
    EXPECT_LE(ten.by_fit.at_least_h, 1.0);
    EXPECT_EQ(ten.by_fit.reason,
              "meets it at 4.9 h, more than three times as late as the last spell: too far to be a time");
    EXPECT_FALSE(ten.fitted_excess_at_least) << "an integral beyond the spells is no lower bound";
}

TEST(RecoveryByData, a_fish_that_died_in_the_tube_keeps_its_boat_hour) {
    Random random(5);
    const Course course{};
    auto spells = spells_of(course, random);
    spells.after.clear();
    spells.tube.resize(3);
    auto input = input_of(spells, course);
    input.tube_until.reset();
    const auto answer = recovery(input).value();
    EXPECT_TRUE(answer.baselines[0].tube.has_value());
    EXPECT_FALSE(answer.baselines[0].after_transfer.has_value());
    EXPECT_TRUE(answer.baselines[0].capture_plus_handling->at_least);
    EXPECT_FALSE(answer.fit.has_value());
    EXPECT_TRUE(has_word(answer.reasons, "no_fit"));
    EXPECT_EQ(answer.baselines[0].by_fit.reason, "no decay fitted");
}

TEST(RecoveryByData, what_cannot_be_computed_is_refused_in_words) {
    Random random(6);
    const Course course{};
    const auto spells = spells_of(course, random);
    auto nothing = input_of(spells, course);
    nothing.resting.reset();
    const auto refused = recovery(nothing);
    ASSERT_FALSE(refused);
    EXPECT_NE(refused.error().text().find("neither an overnight median nor a resting uptake"),
              std::string::npos);
    auto late = input_of(spells, course);
    late.time_zero = at_hours(100.0);
    EXPECT_FALSE(recovery(late));
    auto unusable = spells;
    for (auto* part : {&unusable.tube, &unusable.after}) {
        for (auto& spell : *part) {
            spell.mark = Mark::unusable;
        }
    }
    EXPECT_FALSE(recovery(input_of(unusable, course)));
}

TEST(RecoveryByData, recovered_from_the_first_spell_on_is_said) {
    Random random(7);
    const Course course{.amplitude = 0.0};
    const auto spells = spells_of(course, random);
    const auto answer = recovery(input_of(spells, course)).value();
    EXPECT_NEAR(*answer.baselines[0].by_data.hours, 0.1, 1e-9);
    EXPECT_FALSE(answer.baselines[0].by_data.reason.empty());
    EXPECT_FALSE(answer.half_time_by_data.has_value());
}

TEST(RecoveryByData, routine_median_of_the_hour_is_the_first_baseline) {
    Random random(8);
    const Course course{};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    RoutineUptake routine;
    routine.values = 40;
    routine.whole_night = level(95.0);
    // at_hours(0) is 22:13 UTC; the hour from 01:00 UTC (2.8 to 3.8 h) is a lively one.
    routine.hours.push_back({.hour_of_day = 1, .values = 6, .median = level(120.0)});
    input.routine = routine;
    const auto answer = recovery(input).value();
    ASSERT_EQ(answer.baselines.size(), 3U);
    EXPECT_EQ(answer.baselines[0].kind, BaselineKind::routine_hour_matched);
    EXPECT_TRUE(answer.baselines[0].whole_night_used);
    EXPECT_TRUE(has_word(answer.reasons, "hour_not_held"));
    // The level rises straight from 95 in the middle of the hour before (00:30, 2.278 h) to 120 in the middle
    // of this one (3.278 h); there 80 + 400 e^(-0.8 t) meets it.
    double low = 2.3;
    double high = 3.278;
    for (int i = 0; i < 50; ++i) {
        const double t = 0.5 * (low + high);
        const double level_there = 95.0 + (25.0 * (t - (2.0 + (1000.0 / 3600.0))));
        (80.0 + (400.0 * std::exp(-0.8 * t)) > level_there ? low : high) = t;
    }
    EXPECT_NEAR(*answer.baselines[0].by_data.hours, low, 0.15);
    EXPECT_NEAR(*answer.baselines[0].by_fit.hours, low, 0.01);
    EXPECT_FALSE(has_word(answer.reasons, "baseline_not_recovered"));
    // Made of values that count from 2 h on, it is met among them: at least 2 h, whatever is found later.
    input.routine->from = at_hours(2.0);
    input.routine->to = at_hours(14.0);
    const auto itself = recovery(input).value();
    EXPECT_FALSE(itself.baselines[0].by_data.hours.has_value());
    EXPECT_NEAR(itself.baselines[0].by_data.at_least_h, 2.0, 1e-9);
    EXPECT_TRUE(itself.baselines[0].capture_plus_handling->at_least);
    EXPECT_FALSE(itself.baselines[0].tube->at_least) << "the boat hour is what it is";
    EXPECT_TRUE(itself.baselines[1].by_data.hours.has_value()) << "SMR + 10 % is not made of the hours there";
    EXPECT_TRUE(has_word(itself.reasons, "by_data_at_least"));
    // A night that never got to rest: all of it is a lower bound.
    input.routine->standing = RestingStanding::not_recovered;
    const auto never = recovery(input).value();
    EXPECT_TRUE(has_word(never.reasons, "baseline_not_recovered"));
    EXPECT_TRUE(never.levels_too_high && never.fit->at_least);
    EXPECT_FALSE(itself.levels_too_high || itself.fit->at_least);
    for (const auto& baseline : never.baselines) {
        EXPECT_FALSE(baseline.by_data.hours || baseline.by_fit.hours) << baseline.name;
        EXPECT_TRUE(baseline.tube->at_least && baseline.after_transfer->at_least) << baseline.name;
        EXPECT_TRUE(baseline.capture_plus_handling->at_least && baseline.fitted_excess_at_least);
    }
}

// Whatever the hour: a fish of another amplitude meets the same baseline a little earlier or later, and does
// not wait for the clock to strike.
TEST(RecoveryByFit, time_moves_with_the_curve_and_not_from_hour_to_hour) {
    RoutineUptake routine;
    routine.values = 90;
    routine.whole_night = level(90.0);
    for (int hour = 0; hour < 24; ++hour) {
        routine.hours.push_back(
            {.hour_of_day = hour, .values = 4, .median = level(hour % 2 == 0 ? 90.0 : 92.0)});
    }
    double before = 0.0;
    for (double amplitude = 300.0; amplitude <= 600.0; amplitude += 5.0) {
        Random random(20);
        const Course course{.amplitude = amplitude, .rate = 0.5, .to_h = 20.0};
        const auto spells = spells_of(course, random);
        auto input = input_of(spells, course);
        input.routine = routine;
        const double now = recovery(input).value().baselines[0].by_fit.hours.value();
        if (before > 0.0) {
            EXPECT_GT(now, before);
            EXPECT_LT(now - before, 0.1) << amplitude;
        }
        before = now;
    }
}

// ln(A/delta)/k by the fit, above a baseline that is unsure by u: u over the fall of the curve there (JCGM
// 100:2008, 5.1.2), here 3/(8 * 0.8).
TEST(RecoveryByFit, time_is_as_unsure_as_its_baseline_and_open_where_the_curve_is_flat) {
    Random random(21);
    const Course course{.to_h = 24.0};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    RoutineUptake routine;
    routine.values = 40;
    routine.whole_night = level(100.0);
    for (int hour = 0; hour < 24; ++hour) {
        const Measured median(100.0, 3.0, "routine sampling:s2 hour " + std::to_string(hour));
        routine.hours.push_back({.hour_of_day = hour, .values = 4, .median = {.mg_per_h = median}});
    }
    input.routine = routine;
    const auto steep = recovery(input).value().baselines[0].by_fit;
    ASSERT_TRUE(steep.hours && steep.at_most_h);
    EXPECT_NEAR(*steep.hours, std::log(400.0 / 20.0) / 0.8, 0.01);
    // Where the curve lies 1.96 of them above and under; two hours' medians are mixed, 3 to 3/sqrt(2).
    const auto meets = [](double above) { return std::log(400.0 / above) / 0.8; };
    EXPECT_GT(steep.at_least_h, meets(20.0 + (1.96 * 3.0)) - 0.01);
    EXPECT_LT(steep.at_least_h, meets(20.0 + (1.96 * 3.0 / std::sqrt(2.0))) + 0.01);
    EXPECT_LT(*steep.at_most_h, meets(20.0 - (1.96 * 3.0)) + 0.01);
    EXPECT_GT(*steep.at_most_h, meets(20.0 - (1.96 * 3.0 / std::sqrt(2.0))) - 0.01);
    EXPECT_GT(*steep.at_most_h - *steep.hours, *steep.hours - steep.at_least_h) << "later, hardly earlier";
    // 4 above the asymptote with the same 3: within its uncertainty the curve need never come down to it.
    for (auto& hour : input.routine->hours) {
        hour.median.mg_per_h =
            Measured(84.0, 3.0, "routine sampling:s2 hour " + std::to_string(hour.hour_of_day));
    }
    const auto flat = recovery(input).value().baselines[0].by_fit;
    EXPECT_FALSE(flat.hours.has_value());
    EXPECT_NE(flat.reason.find("so flat"), std::string::npos) << flat.reason;
    EXPECT_LT(flat.at_least_h, std::log(400.0 / 4.0) / 0.8);
    EXPECT_GT(flat.at_least_h, std::log(400.0 / (4.0 + (1.96 * 3.0))) / 0.8 - 0.05);
}

// Fish of known truth through rest and recovery both: the tube, a night that ends before or after rest, its
// values as the baseline.
struct Whole {
    Course course;
    double tau_h = 1.0;
};

struct Judged {
    int answers = 0; ///< times that were given as such
    int censored = 0;
    int too_early = 0;    ///< given, and its latest still before the truth
    int too_long = 0;     ///< "at least" more than the truth, beyond half an hour
    int held = 0;         ///< given, and the truth within its limits
    int excess_wrong = 0; ///< given as whole, and two uncertainties more still under the truth
};

Recovery night_and_recovery(const Course& course, Random& random) {
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    RestingSettings settings;
    settings.draws = 200;
    settings.noise_draws = 100;
    settings.least_for_lowest_normal = 1'000'000;
    settings.cut_off_step_h = 4.0;
    const auto rest =
        resting_uptake({.spells = spells.after, .handled = at_hours(course.tube_h), .stay = "s2"}, settings)
            .value();
    input.resting = rest.value.corrected;
    input.resting_name = rest.name;
    input.routine = rest.routine;
    input.peak = level(truth_at(course, 0.0));
    return recovery(input).value();
}

// Time at which the true excess falls to `above`.
double true_hours(const Course& course, double above) {
    double low = 0.0;
    double high = 400.0;
    for (int i = 0; i < 60; ++i) {
        const double t = 0.5 * (low + high);
        (truth_at(course, t) - course.rest > above ? low : high) = t;
    }
    return low;
}

void judge_time(Judged& judged, const RecoveryTime& time, double truth) {
    if (!time.hours) {
        ++judged.censored;
        judged.too_long += time.at_least_h > truth + 0.5 ? 1 : 0;
        return;
    }
    ++judged.answers;
    const double latest = time.at_most_h.value_or(infinity);
    judged.too_early += latest < truth ? 1 : 0;
    judged.held += time.at_least_h <= truth && truth <= latest ? 1 : 0;
}

struct AllJudged {
    Judged headline_data;
    Judged headline_fit;
    Judged ten_data;
    Judged ten_fit;
};

AllJudged judged(const Course& course, std::uint64_t stream, int fish) {
    AllJudged out;
    // Rest by the rule is the 0.2 quantile of what the fish takes up at rest.
    const double above = (1.1 * (course.rest - (0.8416 * course.scatter))) - course.rest;
    const double ten = true_hours(course, above);
    for (int seed = 0; seed < fish; ++seed) {
        Random random(stream, static_cast<std::uint64_t>(seed));
        const auto answer = night_and_recovery(course, random);
        // Back at the night's own median is no earlier than within 10 % of rest.
        judge_time(out.headline_data, answer.baselines[0].by_data, ten);
        judge_time(out.headline_fit, answer.baselines[0].by_fit, ten);
        judge_time(out.ten_data, answer.baselines[1].by_data, ten);
        judge_time(out.ten_fit, answer.baselines[1].by_fit, ten);
        const auto& total = *answer.baselines[1].capture_plus_handling;
        const double truth =
            excess_two_phase(course.fast_amplitude, course.fast_rate, course.amplitude, course.rate, ten) -
            (above * ten);
        out.ten_data.excess_wrong +=
            !total.at_least &&
                    total.amount.mg.value() + (2.0 * total.amount.mg.standard_uncertainty()) < truth
                ? 1
                : 0;
    }
    return out;
}

// Nights of 15 and 24 h; two uncertainties are one in forty, of 100 fish 2.5 with a standard deviation
// of 1.6: four of those are nine.
TEST(RecoveryTruth, slow_fish_are_not_called_recovered_before_they_are) {
    int given = 0;
    int too_early = 0;
    for (const double night_h : {13.0, 15.3, 24.0}) {
        for (const double tau : {8.0, 20.0}) {
            for (const bool is_mostly_slow : {false, true}) {
                const Course course{.rest = 90.0,
                                    .amplitude = is_mostly_slow ? 400.0 : 72.0,
                                    .rate = 1.0 / tau,
                                    .fast_amplitude = is_mostly_slow ? 0.0 : 440.0,
                                    .fast_rate = 1.0 / 0.6,
                                    .tube_h = 0.8,
                                    .to_h = night_h,
                                    .own = 1.0,
                                    .scatter = 3.0};
                const auto all = judged(course, 200, 100);
                const auto where = "night " + std::to_string(night_h) + " tau " + std::to_string(tau) +
                                   (is_mostly_slow ? " slow" : " fast and slow");
                for (const auto* one : {&all.headline_data, &all.headline_fit, &all.ten_data, &all.ten_fit}) {
                    given += one->answers;
                    too_early += one->too_early;
                    EXPECT_LE(one->too_early, 9) << where << ", of " << one->answers;
                    EXPECT_LE(one->too_long, 9) << where << ", of " << one->censored;
                    EXPECT_LE(one->excess_wrong, 9) << where;
                }
            }
        }
    }
    RecordProperty("given_of_4800", given);
    RecordProperty("too_early_of_4800", too_early);
}

// What comes back within hours is answered, not censored: by the data alone within its uncertainty, by the
// fit as often as docs/methods.md says.
TEST(RecoveryTruth, fast_fish_are_answered) {
    for (const double night_h : {13.0, 15.3, 24.0}) {
        const Course course{
            .rest = 90.0, .rate = 1.0 / 0.8, .tube_h = 0.8, .to_h = night_h, .own = 1.0, .scatter = 3.0};
        const auto all = judged(course, 201, 100);
        EXPECT_GE(all.ten_data.answers, 85) << night_h;
        EXPECT_GE(all.ten_fit.answers, 85) << night_h;
        // 5 % of 100 are 5 with a standard deviation of 2.2; four of those.
        EXPECT_GE(all.ten_data.held + 14, all.ten_data.answers) << night_h;
        EXPECT_GE(all.ten_fit.held + 14, all.ten_fit.answers) << night_h;
        EXPECT_LE(all.ten_data.too_long, 9) << night_h;
        if (night_h > 15.0) {
            EXPECT_GE(all.headline_data.answers, 85) << night_h;
        }
        for (const auto& [name, one] : {std::pair("headline_data", &all.headline_data),
                                        {"headline_fit", &all.headline_fit},
                                        {"ten_data", &all.ten_data},
                                        {"ten_fit", &all.ten_fit}}) {
            RecordProperty(std::string(name) + "_" + std::to_string(static_cast<int>(night_h)) + "_h",
                           std::to_string(one->answers) + " given, " + std::to_string(one->held) + " held, " +
                               std::to_string(one->too_early) + " too early");
        }
    }
}

// Fish of three forms of recovery (one phase, two, a plateau before the slow one), whose rest swings over the
// day by as much as is allowed for, with their peak at any hour, and which burst into activity: the moment
// at which the excess of capture and handling falls to a share of rest at that moment.
TEST(RecoveryTruth, limits_of_the_hours_hold_it_whatever_the_form) {
    struct Of {
        int given = 0;
        int held = 0;
        int closed = 0;
        double width_h = 0.0;
        int censored = 0;
        int too_long = 0;
    };
    std::array<std::array<Of, 2>, 2> all{};
    for (int seed = 0; seed < 240; ++seed) {
        Random random(202, static_cast<std::uint64_t>(seed));
        Course course{.rest = 90.0, .tube_h = 0.8, .own = 1.5, .scatter = 2.0};
        course.swing = RecoverySettings{}.daily_swing_share;
        course.highest_at_h = 24.0 * random.uniform();
        course.burst_share = 0.15;
        course.burst = 25.0;
        course.rate = 1.0 / (1.0 + (2.0 * random.uniform()));
        course.to_h = 15.0 + (8.0 * random.uniform());
        course.handling = 60.0 * random.uniform();
        course.plateau_h = seed % 3 == 2 ? 0.3 + random.uniform() : 0.0;
        const double fast = seed % 3 == 0 ? 0.0 : 0.3 + (0.4 * random.uniform());
        course.amplitude = 350.0 * (1.0 - fast);
        course.fast_amplitude = 350.0 * fast;
        course.fast_rate = 3.5;
        const auto answer = night_and_recovery(course, random);
        for (std::size_t k = 0; k < 2; ++k) {
            const double share = k == 0 ? 0.1 : 0.2;
            double truth = 60.0;
            while (truth > 0.0 && excess_at(course, truth) < share * rest_at(course, truth)) {
                truth -= 0.01;
            }
            const auto& baseline = answer.baselines[1 + k];
            for (std::size_t by = 0; by < 2; ++by) {
                const auto& time = by == 0 ? baseline.by_data : baseline.by_fit;
                auto& of = all.at(k).at(by);
                if (!time.hours) {
                    ++of.censored;
                    of.too_long += time.at_least_h > truth ? 1 : 0;
                    continue;
                }
                ++of.given;
                EXPECT_TRUE(time.at_least_h <= *time.hours);
                of.held += time.at_least_h <= truth && truth <= time.at_most_h.value_or(infinity) ? 1 : 0;
                of.closed += time.at_most_h ? 1 : 0;
                of.width_h += time.at_most_h ? *time.at_most_h - time.at_least_h : 0.0;
            }
        }
    }
    for (std::size_t k = 0; k < 2; ++k) {
        for (std::size_t by = 0; by < 2; ++by) {
            const auto& of = all.at(k).at(by);
            const auto what =
                std::string(k == 0 ? "ten" : "twenty") + (by == 0 ? "_percent_by_data" : "_percent_by_fit");
            RecordProperty(what, std::to_string(of.given) + " given, " + std::to_string(of.held) + " held, " +
                                     std::to_string(of.closed) + " closed of " +
                                     std::to_string(of.width_h / of.closed) + " h, " +
                                     std::to_string(of.censored) + " at least, " +
                                     std::to_string(of.too_long) + " of them too long");
            EXPECT_GE(of.given, 60) << what;
            // 95 %: four standard deviations under it.
            const double few = 0.05 * of.given;
            EXPECT_LE(of.given - of.held, few + (4.0 * std::sqrt(few))) << what;
            EXPECT_LE(of.too_long, (0.05 * of.censored) + (4.0 * std::sqrt(0.05 * of.censored))) << what;
            // And it says something: most have an upper limit, within the shortest night's own length.
            EXPECT_GE(2 * of.closed, of.given) << what;
            EXPECT_LT(of.width_h / of.closed, 15.0) << what;
        }
    }
}

TEST(RecoveryFit, two_phases_are_found_where_they_are) {
    Random random(9);
    const Course course{
        .amplitude = 200.0, .rate = 0.4, .fast_amplitude = 400.0, .fast_rate = 3.0, .to_h = 24.0};
    const auto spells = spells_of(course, random);
    const auto fit = recovery(input_of(spells, course)).value().fit.value();
    EXPECT_EQ(fit.shape, DecayShape::two_phase);
    EXPECT_NEAR(fit.rates_per_h[0], 3.0, 0.01);
    EXPECT_NEAR(fit.rates_per_h[1], 0.4, 0.01);
    EXPECT_NEAR(fit.excess_all.mg.value(), 633.3333333, 0.5);
    const Course plain{.to_h = 24.0, .scatter = 3.0};
    const auto one = recovery(input_of(spells_of(plain, random), plain)).value().fit.value();
    EXPECT_EQ(one.shape, DecayShape::one_phase);
    EXPECT_TRUE(one.aicc_other_shape.value_or(infinity) > one.aicc);
}

TEST(RecoveryFit, asymptote_is_held_at_rest_where_the_curve_is_not_flat_yet) {
    Random random(10);
    const Course early{.to_h = 1.0, .scatter = 4.0};
    const auto held = recovery(input_of(spells_of(early, random), early)).value().fit.value();
    EXPECT_TRUE(held.baseline_fixed);
    EXPECT_EQ(held.baseline_mg_per_h, 80.0);
    const Course whole{.to_h = 24.0, .scatter = 4.0};
    const auto free = recovery(input_of(spells_of(whole, random), whole)).value().fit.value();
    EXPECT_FALSE(free.baseline_fixed);
    EXPECT_NEAR(free.baseline_mg_per_h, 80.0, 3.0);
}

TEST(RecoveryFit, a_handling_event_has_its_sensitivity_lines) {
    Random random(11);
    const Course course{.to_h = 20.0, .tube_step_h = 0.08, .handling = 150.0};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    input.events = {{.at = at_hours(1.0), .what = "transfer"}};
    const auto answer = recovery(input).value();
    ASSERT_EQ(answer.sensitivity.size(), 2U);
    const auto& allowed = answer.sensitivity[0];
    EXPECT_EQ(allowed.span, DecaySpan::events_allowed_for);
    ASSERT_EQ(allowed.event_amplitudes_mg_per_h.size(), 1U);
    EXPECT_NEAR(allowed.event_amplitudes_mg_per_h[0], 150.0, 2.0);
    EXPECT_NEAR(allowed.excess_all.mg.value(), (400.0 + 150.0) / 0.8, 5.0);
    const auto& ended = answer.sensitivity[1];
    EXPECT_EQ(ended.span, DecaySpan::ended_at_first_event);
    EXPECT_NEAR(ended.excess_all.mg.value(), 500.0, 1.0) << "what capture alone would have cost";
    EXPECT_TRUE(has_word(answer.reasons, "handled"));
    // The plain line through the event lies between: it knows nothing of the transfer.
    EXPECT_NE(answer.fit->excess_all.mg.value(), allowed.excess_all.mg.value());
}

TEST(RecoveryFit, events_that_no_spell_tells_apart_count_as_one) {
    Random random(11);
    const Course course{.to_h = 20.0, .tube_step_h = 0.08, .handling = 150.0};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    input.events = {{.at = at_hours(1.0), .what = "transfer"}};
    const auto one = recovery(input).value();
    input.events.push_back({.at = at_hours(1.001), .what = "blood"});
    const auto two = recovery(input).value();
    ASSERT_EQ(two.sensitivity.size(), 2U);
    EXPECT_EQ(two.sensitivity[0].event_amplitudes_mg_per_h, one.sensitivity[0].event_amplitudes_mg_per_h);
    EXPECT_EQ(two.sensitivity[0].excess_all.mg.value(), one.sensitivity[0].excess_all.mg.value());
}

TEST(RecoveryUncertainty, a_shared_volume_moves_the_whole_excess_together) {
    Random random(12);
    const Course course{.tube_h = 20.0, .to_h = 20.0, .tube_volume_share = 0.02};
    auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    input.resting =
        UptakeRate{.mg_per_h = Measured(80.0, 0.02 * 80.0, "volume:tube 1"), .mg_per_kg_h = Measured(100.0)};
    const auto answer = recovery(input).value();
    const auto& excess = answer.baselines[0].capture_plus_handling->amount.mg;
    // Everything is proportional to the same volume: 2 % of the excess, whether by the data or by the fit.
    EXPECT_NEAR(excess.standard_uncertainty() / excess.value(), 0.02, 2e-4);
    const auto& fitted = answer.fit->excess_all.mg;
    EXPECT_NEAR(fitted.share("volume:tube 1") * fitted.variance(), std::pow(0.02 * fitted.value(), 2),
                0.03 * std::pow(0.02 * fitted.value(), 2));
    // A resting value of a chamber of its own does not cancel.
    input.resting = level(80.0, 4.0);
    const auto apart = recovery(input).value().baselines[0].capture_plus_handling->amount.mg;
    EXPECT_GT(apart.share("resting sampling:s2"), 0.2);
}

double effect_of(const Measured& value, const std::string& kind) {
    double sum = 0.0;
    for (const auto& contribution : value.contributions()) {
        sum += contribution.source.starts_with(kind) ? contribution.effect : 0.0;
    }
    return sum;
}

// An excess that begins at time zero loses what uptake lies above its level then, for each hour that time
// zero is later: derivative of an integral by its lower limit. The first hour gains what lies at its end.
TEST(RecoveryUncertainty, time_zero_is_a_source_of_every_excess_that_begins_there) {
    Random random(21);
    const Course course{.tube_h = 20.0, .to_h = 20.0, .tube_step_h = 0.05};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    input.peak = level(480.0);
    const auto sure = recovery(input).value();
    EXPECT_EQ(effect_of(sure.baselines[0].tube->amount.mg, "time zero"), 0.0);
    input.time_zero_uncertainty = Duration::minutes(3.0);
    const auto answer = recovery(input).value();
    const double u = 3.0 / 60.0;
    for (std::size_t b = 0; b < 2; ++b) {
        const auto& one = answer.baselines[b];
        const double above = 400.0 - (b == 0 ? 8.0 : 16.0);
        EXPECT_NEAR(effect_of(one.tube->amount.mg, "time zero"), -u * above, 1e-6);
        EXPECT_NEAR(effect_of(*one.tube->amount.mg_per_kg, "time zero"), -u * above / 0.8, 1e-6);
        EXPECT_NEAR(effect_of(one.capture_plus_handling->amount.mg, "time zero"), -u * above, 1e-6);
        EXPECT_NEAR(effect_of(one.fitted_excess->mg, "time zero"), -u * above, 0.01);
        EXPECT_EQ(one.tube->amount.mg.value(), sure.baselines[b].tube->amount.mg.value());
    }
    EXPECT_NEAR(effect_of(answer.fit->excess_all.mg, "time zero"), -u * 400.0, 0.01);
    EXPECT_NEAR(effect_of(answer.fit->excess_all.mg_per_kg.value(), "time zero"), -u * 500.0, 0.01);
    EXPECT_NEAR(effect_of(answer.fit->excess_first_hour.mg, "time zero"), -u * 400.0 * (1.0 - std::exp(-0.8)),
                0.01);
    // The same by another road: all of it once more from a time zero three minutes earlier.
    auto earlier_input = input;
    earlier_input.time_zero = at_hours(-u);
    const auto earlier = recovery(earlier_input).value();
    const auto& tube = *answer.baselines[0].tube;
    EXPECT_NEAR(earlier.baselines[0].tube->amount.mg.value() - tube.amount.mg.value(),
                -effect_of(tube.amount.mg, "time zero"), 1e-6);
    // The curve rises by half of k u = 2 % on the way back: second order.
    EXPECT_NEAR(earlier.fit->excess_all.mg.value() - answer.fit->excess_all.mg.value(), u * 400.0,
                0.021 * u * 400.0);
}

TEST(RecoveryUncertainty, what_comes_after_the_transfer_does_not_know_time_zero) {
    Random random(22);
    const Course course{.handling = 100.0};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    input.time_zero_uncertainty = Duration::minutes(3.0);
    const auto answer = recovery(input).value();
    const auto& ten = answer.baselines[0];
    for (const auto& contribution : ten.after_transfer->amount.mg.contributions()) {
        EXPECT_FALSE(contribution.source.starts_with("time zero")) << contribution.effect;
    }
    EXPECT_LT(effect_of(ten.tube->amount.mg, "time zero"), 0.0);
    EXPECT_NEAR(effect_of(ten.capture_plus_handling->amount.mg, "time zero"),
                effect_of(ten.tube->amount.mg, "time zero"), 1e-9);
}

// Limits of 95 % and an independent 1.96 u beside them: in quadrature on each side.
TEST(RecoveryUncertainty, limits_of_the_hours_hold_time_zero) {
    Random random(23);
    const Course course{.tube_h = 20.0, .to_h = 20.0, .own = 3.0};
    const auto spells = spells_of(course, random);
    auto input = input_of(spells, course);
    const auto sure = recovery(input).value();
    input.time_zero_uncertainty = Duration::minutes(30.0);
    const auto answer = recovery(input).value();
    for (const auto of : {&BaselineRecovery::by_data, &BaselineRecovery::by_fit}) {
        const auto& narrow = sure.baselines[1].*of;
        const auto& wide = answer.baselines[1].*of;
        ASSERT_TRUE(narrow.hours && narrow.at_most_h && wide.hours && wide.at_most_h);
        EXPECT_EQ(*wide.hours, *narrow.hours);
        const double reach = 0.5 * 1.959964;
        EXPECT_NEAR(std::pow(*wide.at_most_h - *wide.hours, 2),
                    std::pow(*narrow.at_most_h - *narrow.hours, 2) + std::pow(reach, 2), 1e-4);
        EXPECT_NEAR(std::pow(*wide.hours - wide.at_least_h, 2),
                    std::pow(*narrow.hours - narrow.at_least_h, 2) + std::pow(reach, 2), 1e-4);
        EXPECT_NE(wide.limits_from.find("time zero is unsure by 30 min"), std::string::npos);
    }
    // Not recovered: the lower limit gives way by all of it.
    const Course cut{.to_h = 3.0};
    const auto few = spells_of(cut, random);
    auto open = input_of(few, cut);
    const double before = recovery(open).value().baselines[0].by_data.at_least_h;
    open.time_zero_uncertainty = Duration::minutes(30.0);
    const auto censored = recovery(open).value().baselines[0].by_data;
    EXPECT_FALSE(censored.hours.has_value());
    EXPECT_NEAR(censored.at_least_h, before - (0.5 * 1.959964), 1e-6);
}

// Simulated truth, 300 fish: tube and night volumes 2 % wrong each on its own, slopes 4 mg/h, spontaneous
// changes 6 mg/h, resting value 2 mg/h uncertain. By the data: the boat hour above SMR + 10 %; by the fit:
// all excess above the asymptote.
TEST(RecoveryUncertainty, intervals_hold_the_truth_as_often_as_they_say) {
    int held_tube = 0;
    int held_fit = 0;
    double tube_bias = 0.0;
    double fit_bias = 0.0;
    constexpr int fish = 300;
    const Course course{.rate = 0.9,
                        .to_h = 20.0,
                        .tube_step_h = 0.1,
                        .own = 4.0,
                        .scatter = 6.0,
                        .tube_volume_share = 0.02,
                        .night_volume_share = 0.02};
    for (int seed = 0; seed < fish; ++seed) {
        Random random(61, static_cast<std::uint64_t>(seed));
        const auto spells = spells_of(course, random);
        auto input = input_of(spells, course);
        input.resting = level(80.0 + (2.0 * random.normal()), 2.0);
        // The peak at time zero is known, so that holding back is no part of this.
        input.peak = level(480.0);
        const auto answer = recovery(input).value();
        const auto& tube = answer.baselines[0].tube->amount.mg;
        // Held constant from 480 over the first 0.1 h, against a true mean over it: the known step is taken
        // into the truth.
        const double truth_tube =
            excess_one_phase(400.0, 0.9, 1.0) - excess_one_phase(400.0, 0.9, 0.1) + 40.0 - 8.0;
        tube_bias += (tube.value() - truth_tube) / fish;
        const auto in_tube = normal_interval(tube);
        held_tube += in_tube.low <= truth_tube && truth_tube <= in_tube.high ? 1 : 0;
        const auto& all = answer.fit->excess_all.mg;
        fit_bias += (all.value() - (400.0 / 0.9)) / fish;
        const auto in_all = normal_interval(all);
        held_fit += in_all.low <= 400.0 / 0.9 && 400.0 / 0.9 <= in_all.high ? 1 : 0;
    }
    RecordProperty("tube_bias", std::to_string(tube_bias));
    RecordProperty("fit_bias", std::to_string(fit_bias));
    // Binomial, p = 0.95, n = 300: standard deviation 3.8; four of them below.
    EXPECT_GE(held_tube, 270) << "285 seen";
    EXPECT_GE(held_fit, 270) << "286 seen";
    // The last value is held on for 0.1 h of a falling curve (0.8 mg) and a trapezoid lies above it (0.15
    // mg); the rest is chance: 2 % of volume over 300 fish is 0.3 mg.
    EXPECT_NEAR(tube_bias, 0.95, 4.0 * 0.35);
    EXPECT_NEAR(fit_bias, 0.0, 4.0);
}

// The recovery of a reference table: its times as hours after a time zero a microsecond before the first,
// which would else lie at time zero itself. Rest is put above the floor, so that the asymptote is free, as
// R's.
RecoveryInput input_of_table(const std::vector<double>& hours, const std::vector<double>& uptake,
                             double floor, std::vector<SpellUptake>& spells) {
    for (std::size_t i = 0; i < hours.size(); ++i) {
        spells.push_back(SpellMaker{}(hours[i], uptake[i]));
    }
    RecoveryInput input;
    input.time_zero = at_hours(0.0) - Duration::seconds(1e-6);
    input.tube = spells;
    input.resting = level(1.5 * floor);
    input.fish = "f1";
    return input;
}

// log(2) / k and its delta-method error by R 4.2.2's nls (reference/stats 04).
TEST(RecoveryHalfTime, has_the_error_of_rs_nls_in_one_phase) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "onephase_floor");
    const auto table = support::data_of(one);
    const auto& expected = one.at("expected");
    const double want = expected.at("derived").at("half_life").at("estimate");
    const double want_se = expected.at("derived").at("half_life").at("se_delta");
    std::vector<SpellUptake> spells;
    auto input =
        input_of_table(table.numbers("t"), table.numbers("y"), expected.at("estimate").at("floor"), spells);
    input.time_zero_uncertainty = Duration::minutes(3.0);
    const auto answer = recovery(input).value();
    ASSERT_TRUE(answer.fit);
    ASSERT_EQ(answer.fit->shape, DecayShape::one_phase);
    ASSERT_FALSE(answer.fit->baseline_fixed);
    const auto& half = answer.fit->half_time;
    EXPECT_NEAR(half.hours.value(), want, 1e-6 * want);
    EXPECT_NEAR(effect_of(half.hours, "decay fit"), want_se, 1e-5 * want_se);
    EXPECT_EQ(effect_of(half.hours, "time zero"), 0.0) << "one phase halves in the same time at any moment";
    // Student's t of the fit's own freedom, since there is no other source.
    const double reach = fit::two_sided_t(0.95, static_cast<double>(spells.size() - 3)) * want_se / want;
    EXPECT_NEAR(std::log(half.interval.high / half.hours.value()), reach, 1e-3 * reach);
    EXPECT_NEAR(std::log(half.hours.value() / half.interval.low), reach, 1e-3 * reach);
}

// The half-time h of two phases solves sum a_i (e^(-k_i h) - 1/2) = 0; differentiated by each parameter, with
// the estimates and the covariance of R 4.2.2's nls (reference/stats 04).
TEST(RecoveryHalfTime, has_the_error_of_rs_nls_in_two_phases) {
    const auto cases = support::reference_cases("stats/04_nonlinear.json");
    if (!cases) {
        GTEST_SKIP() << support::no_reference;
    }
    const auto& one = support::case_of(*cases, "twophase_floor");
    const auto table = support::data_of(one);
    const auto& expected = one.at("expected");
    const auto estimate = [&](const char* name) { return expected.at("estimate").at(name).get<double>(); };
    const std::array a{estimate("s1"), estimate("s2")};
    const std::array k{estimate("k1"), estimate("k2")};
    std::vector<SpellUptake> spells;
    auto input = input_of_table(table.numbers("t"), table.numbers("y"), estimate("floor"), spells);
    input.time_zero_uncertainty = Duration::minutes(3.0);
    const auto answer = recovery(input).value();
    ASSERT_TRUE(answer.fit);
    ASSERT_EQ(answer.fit->shape, DecayShape::two_phase);
    const auto& half = answer.fit->half_time.hours;
    const double h = half.value();
    double left = 0.0;
    double slope = 0.0;
    double slope_at_zero = 0.0;
    for (std::size_t i = 0; i < 2; ++i) {
        left += a.at(i) * (std::exp(-k.at(i) * h) - 0.5);
        slope -= k.at(i) * a.at(i) * std::exp(-k.at(i) * h);
        slope_at_zero -= k.at(i) * a.at(i);
    }
    EXPECT_NEAR(left, 0.0, 1e-5 * (a[0] + a[1]));
    std::array<double, 5> by{}; // floor, s1, k1, s2, k2
    for (std::size_t i = 0; i < 2; ++i) {
        by.at(1 + (2 * i)) = -(std::exp(-k.at(i) * h) - 0.5) / slope;
        by.at(2 + (2 * i)) = a.at(i) * h * std::exp(-k.at(i) * h) / slope;
    }
    double variance = 0.0;
    for (std::size_t i = 0; i < 5; ++i) {
        for (std::size_t j = 0; j < 5; ++j) {
            variance += by.at(i) * by.at(j) * expected.at("vcov").at(i).at(j).get<double>();
        }
    }
    EXPECT_NEAR(effect_of(half, "decay fit"), std::sqrt(variance), 1e-4 * std::sqrt(variance));
    // Three minutes later on the same curve, where the fast phase has a smaller share.
    const double per_h = (slope_at_zero / (2.0 * slope)) - 1.0;
    EXPECT_GT(per_h, 0.0);
    EXPECT_NEAR(effect_of(half, "time zero"), 0.05 * per_h, 1e-4 * 0.05 * per_h);
}

// Simulated truth, 200 fish: volumes 2 % wrong each on its own, slopes 4 mg/h, spontaneous changes 6 mg/h,
// the resting value 2 mg/h uncertain, time zero 2 minutes; a fast and a slow phase, one of them alone, and a
// fish in the tube alone with eight spells.
TEST(RecoveryHalfTime, intervals_hold_the_truth_as_often_as_they_say) {
    struct Case {
        const char* name = "";
        Course course;
    };
    const Course common{.tube_step_h = 0.1,
                        .own = 4.0,
                        .scatter = 6.0,
                        .tube_volume_share = 0.02,
                        .night_volume_share = 0.02};
    Course one = common;
    one.rate = 0.9;
    one.to_h = 20.0;
    Course two = common;
    two.amplitude = 200.0;
    two.rate = 0.5;
    two.fast_amplitude = 300.0;
    two.fast_rate = 5.0;
    two.to_h = 20.0;
    Course tube = common;
    tube.rate = 1.5;
    tube.tube_h = 0.9;
    tube.to_h = 0.9;
    for (const auto& [name, course] :
         {Case{"one phase", one}, Case{"two phases", two}, Case{"tube alone", tube}}) {
        // f(h) = f(0) / 2 by halving.
        double low = 0.0;
        double high = 5.0;
        while (high - low > 1e-9) {
            const double middle = 0.5 * (low + high);
            (excess_at(course, middle) > 0.5 * excess_at(course, 0.0) ? low : high) = middle;
        }
        constexpr int fish = 200;
        int held_fit = 0;
        int held_data = 0;
        int answered_data = 0;
        for (int seed = 0; seed < fish; ++seed) {
            Random random(71, static_cast<std::uint64_t>(seed));
            const auto spells = spells_of(course, random);
            auto input = input_of(spells, course);
            input.resting = level(80.0 + (2.0 * random.normal()), 2.0);
            input.time_zero = at_hours(2.0 / 60.0 * random.normal());
            input.time_zero_uncertainty = Duration::minutes(2.0);
            input.peak = level(truth_at(course, 0.0) + (6.0 * random.normal()), 6.0);
            const auto answer = recovery(input).value();
            const auto& by_fit = answer.fit->half_time.interval;
            held_fit += by_fit.low <= low && low <= by_fit.high ? 1 : 0;
            if (answer.half_time_by_data) {
                ++answered_data;
                const auto& interval = answer.half_time_by_data->interval;
                held_data += interval.low <= low && low <= interval.high ? 1 : 0;
            }
        }
        // Binomial, p = 0.95, n = 200: standard deviation 3.1; four of them below. Seen by the fit 188, 186
        // and 187, by the data 181, 191 and 193: the first fall to half is a little early where the spells
        // scatter.
        EXPECT_GE(held_fit, 177) << name;
        EXPECT_EQ(answered_data, fish) << name;
        EXPECT_GE(held_data, 177) << name;
    }
}

} // namespace
} // namespace backeddy::uptake
