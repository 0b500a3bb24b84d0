#include "report/invented_study.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "base/hash.hpp"
#include "base/random.hpp"
#include "report/invented_condition.hpp"
#include "report/invented_findings.hpp"
#include "report/thin.hpp"
#include "series/trace.hpp"

namespace backeddy::report {

namespace {

constexpr double cycle_min = 10.0;
constexpr double flush_min = 4.0;
constexpr double settle_min = 1.0;

Instant at(std::string_view iso) {
    return parse_iso(iso).value_or(Instant{});
}

Measured uncertain(double value, double mass_share, double volume_share, double slope) {
    return Measured(value, {{"mass", value * mass_share},
                            {"volume of the chamber", value * volume_share},
                            {"calibration of the sensor", value * 0.008},
                            {"background", 0.6},
                            {"slope", slope}});
}

Number with_interval(Number number) {
    if (number.value && number.standard_uncertainty) {
        number.interval = Interval{.low = *number.value - 1.96 * *number.standard_uncertainty,
                                   .high = *number.value + 1.96 * *number.standard_uncertainty,
                                   .method = "normal"};
    }
    return number;
}

Number rate(double value, double slope_error, std::string method) {
    return with_interval(number(uncertain(value, 0.007, 0.012, slope_error), "mg/kg/h", std::move(method)));
}

struct Animal {
    std::string id;
    std::string group;
    double mass_kg;
    double rest;
    double excess_fast;
    double excess_slow;
    double half_time_h;
    std::uint64_t stream;
    bool has_died;
};

/// Uptake per kilogram at `hours` since hook-up.
double uptake_at(const Animal& animal, double hours, double chase_h) {
    const double k = std::log(2.0) / animal.half_time_h;
    double value = animal.rest + animal.excess_fast * std::exp(-4.0 * k * hours) +
                   animal.excess_slow * std::exp(-k * hours);
    if (hours > 1.6) {
        value += 0.2 * animal.excess_slow * std::exp(-1.5 * k * (hours - 1.6)); // the transfer
    }
    if (hours >= chase_h) {
        value += 0.9 * (animal.excess_fast + animal.excess_slow) * std::exp(-1.3 * (hours - chase_h));
    }
    return value;
}

struct StayPlan {
    std::string id;
    std::string assembly;
    std::string role;
    double from_h;
    double to_h;
    double volume_l;
    bool has_died = false;
};

Stay make_stay(const Animal& animal, const StayPlan& plan, Instant hook_up, double chase_h,
               const InventedSize& size) {
    Random random(20260614, animal.stream * 16 + static_cast<std::uint64_t>(plan.role.size()));
    const Instant from = hook_up + Duration::hours(plan.from_h);
    const Instant to = hook_up + Duration::hours(plan.to_h);
    Stay stay{.id = plan.id,
              .fish = animal.id,
              .assembly = plan.assembly,
              .sensors = {plan.assembly + " optode"},
              .from = from,
              .to = to,
              .roles = {{.role = plan.role, .from = from, .to = to}},
              .ending = {.word = plan.has_died ? "died" : "done",
                         .last_good = plan.has_died ? std::optional(to) : std::nullopt,
                         .note = {}},
              .states_from = plan.role == "rest" ? "pump log" : "found in the trace",
              .temperature_celsius =
                  number(Measured(plan.role == "rest" ? 12.4 : 13.1, 0.05, "thermometer"), "degC"),
              .volume_mass_ratio = number(plan.volume_l / animal.mass_kg, "L/kg")};
    uptake::ChamberTrace trace{.assembly = plan.assembly, .sensor = plan.assembly + " optode"};
    double oxygen = 9.7;
    double coloured = 0.0;
    const double step_h = size.reading_every_s / 3600.0;
    const double water_l = plan.volume_l - animal.mass_kg;
    std::uint32_t ordinal = 0;
    double cycle_start_h = plan.from_h;
    for (double h = plan.from_h; h < plan.to_h; h += step_h) {
        const double minute = std::fmod((h - plan.from_h) * 60.0, cycle_min);
        const bool tube = plan.role != "rest";
        const double closed_min = tube ? cycle_min - flush_min - 2.0 : cycle_min - flush_min;
        const auto state = minute < settle_min   ? uptake::ChamberState::settle
                           : minute < closed_min ? uptake::ChamberState::sealed
                                                 : uptake::ChamberState::flush;
        const double used = uptake_at(animal, h, chase_h) * animal.mass_kg;
        if (state == uptake::ChamberState::flush) {
            oxygen += (9.75 - oxygen) * (1.0 - std::exp(-step_h * 60.0 * 0.9));
        } else {
            oxygen -= used / water_l * step_h;
        }
        coloured = 0.93 * coloured + 0.0015 * random.normal();
        const double reading = oxygen + coloured + 0.003 * random.normal();
        trace.times_ns.push_back((hook_up + Duration::hours(h)).unix_nanoseconds());
        const bool is_torn = plan.role == "rest" && animal.stream % 3 == 1 && h > 8.02 && h < 8.35;
        trace.oxygen_mg_per_l.push_back(is_torn ? missing : reading);
        trace.saturation_percent.push_back(reading / 9.95 * 100.0);
        trace.temperature_celsius.push_back(12.4 + 0.3 * std::sin(h / 3.0) + (tube ? 0.7 : 0.0));
        trace.state.push_back(state);
        if (minute < step_h * 60.0) {
            cycle_start_h = h;
            ++ordinal;
            const double middle = h + (settle_min + closed_min) / 120.0;
            if (h + closed_min / 60.0 < plan.to_h) {
                const double true_uptake = uptake_at(animal, middle, chase_h);
                const double slope_error = tube ? 6.0 : 4.5;
                const double wander =
                    plan.role == "rest" && random.uniform() < 0.12 ? 25.0 * random.exponential() : 0.0;
                const double value = true_uptake + wander + slope_error * random.normal();
                uptake::SpellUptake answer{
                    .sealed_from = hook_up + Duration::hours(h),
                    .from = hook_up + Duration::hours(h + settle_min / 60.0),
                    .to = hook_up + Duration::hours(h + closed_min / 60.0),
                    .readings =
                        static_cast<std::size_t>((closed_min - settle_min) * 60.0 / size.reading_every_s),
                    .slope_mg_per_l_h = -value * animal.mass_kg / water_l,
                    .slope_error = slope_error * animal.mass_kg / water_l,
                    .slope_error_ordinary = 0.3 * slope_error * animal.mass_kg / water_l,
                    .slope_error_newey_west = 0.5 * slope_error * animal.mass_kg / water_l,
                    .effective_readings = 14.0,
                    .r_squared = 0.985,
                    .residual_sd_mg_per_l = 0.005,
                    .curvature_share = 0.02,
                    .curvature_share_error = 0.03,
                    .oxygen_start_mg_per_l = oxygen - used / water_l * settle_min / 60.0,
                    .oxygen_end_mg_per_l = oxygen - used / water_l * closed_min / 60.0,
                    .temperature_mean_celsius = 12.4 + (tube ? 0.7 : 0.0),
                    .temperature_drift_c_per_h = 0.05};
                answer.saturation_start_percent = answer.oxygen_start_mg_per_l / 9.95 * 100.0;
                answer.saturation_end_percent = answer.oxygen_end_mg_per_l / 9.95 * 100.0;
                answer.background_mg_per_h = Measured(2.2, 0.4, "background");
                answer.uptake_mg_per_h =
                    uncertain(value * animal.mass_kg, 0.0, 0.012, slope_error * animal.mass_kg);
                answer.total_mg_per_h = answer.uptake_mg_per_h + answer.background_mg_per_h;
                answer.uptake_mg_per_kg_h = uncertain(value, 0.007, 0.012, slope_error);
                Spell spell{.number = ordinal, .role = plan.role, .answer = answer};
                spell.background_share = 2.2 / (value * animal.mass_kg + 2.2);
                if (is_torn) {
                    spell.answer.mark = uptake::Mark::unusable;
                    spell.answer.reasons = {{"gap", "no readings for 19 min 48 s inside the spell"}};
                } else if (wander > 30.0) {
                    spell.answer.mark = uptake::Mark::doubtful;
                    spell.answer.reasons = {{"curvature", "the slope changes by 24 % over the spell"}};
                }
                if (plan.role == "rest" && ordinal == 12 && animal.stream % 2 == 0) {
                    spell.is_excluded_by_hand = true;
                    spell.answer.mark = uptake::Mark::unusable;
                    spell.answer.reasons.push_back({"excluded_by_hand", "someone knocked the chamber"});
                }
                stay.spells.push_back(spell);
            }
        }
    }
    (void)cycle_start_h;
    stay.trace =
        thinned(trace, from, to, {.slices = plan.role == "rest" ? size.drawn_slices * 2 : size.drawn_slices});
    stay.continuous = Continuous{.from = from,
                                 .method = "sealed spells, each for itself",
                                 .scale_uncertainty_percent = number(0.9, "%", "volume and calibration"),
                                 .reasons = {{"not_through_flushes", "broken in flushes: inflow unknown"}}};
    for (const Spell& spell : stay.spells) {
        auto& curve = stay.continuous->uptake;
        const auto point = [&](Instant at, double y, double half) {
            curve.x.push_back((at - from).hours());
            curve.y.push_back(y);
            curve.low.push_back(y - half);
            curve.high.push_back(y + half);
        };
        const auto& answer = spell.answer;
        const double level = answer.uptake_mg_per_kg_h.value_or(answer.uptake_mg_per_h).value();
        point(answer.from, 1.05 * level, 0.1 * level);
        point(answer.to, 0.95 * level, 0.1 * level);
        point(answer.to + Duration::seconds(30.0), std::nan(""), 0.0);
    }
    stay.continuous->points = stay.continuous->uptake.x.size();
    stay.background = {
        .how = "blanks before and after, straight between them, whole chamber volume",
        .points = {{.stay = "blank-1",
                    .at = from - Duration::hours(1.0),
                    .slope_mg_per_l_h = number(Measured(-0.05, 0.01, "slope of blank-1"), "mg/L/h"),
                    .uptake_mg_per_h = number(Measured(2.1, 0.4, "slope of blank-1"), "mg/h"),
                    .place = "before"},
                   {.stay = "blank-2",
                    .at = to + Duration::hours(1.0),
                    .slope_mg_per_l_h = number(Measured(-0.055, 0.01, "slope of blank-2"), "mg/L/h"),
                    .uptake_mg_per_h = number(Measured(2.4, 0.4, "slope of blank-2"), "mg/h"),
                    .place = "after"}},
        .share_of_uptake = number(Measured(2.8, 0.5, "background"), "%", "median over the sealed spells")};
    stay.sources = {{.path = "raw/" + plan.assembly + ".csv", .first_line = 12, .last_line = 40012}};
    return stay;
}

Peak make_peak(const Animal& animal, const std::string& after, const Stay& stay, double value) {
    Peak peak{.name = "peak after " + after, .after = after, .stay = stay.id, .spell = 1};
    const uptake::SpellUptake& first = stay.spells.front().answer;
    peak.event_at = first.sealed_from - Duration::seconds(74.0);
    peak.from = first.from;
    peak.to = first.from + Duration::seconds(60.0);
    peak.uptake_mg_per_kg_h = rate(value, 9.0, "steepest 60 s window less what picking it adds by chance");
    peak.uptake_mg_per_h = with_interval(
        number(uncertain(value * animal.mass_kg, 0.0, 0.012, 8.0), "mg/h", "the same, whole animal"));
    peak.steepest = rate(value * 1.02, 9.0, "steepest 60 s window as found");
    peak.selection_bias = number(Measured(value * 0.02, 1.4, "simulation"), "mg/kg/h",
                                 "simulated: 400 traces of the same noise");
    peak.whole_spell = rate(value * 0.95, 4.0, "mean of the first sealed spell");
    peak.window_s = number(60.0, "s");
    peak.delay_to_seal_s = number(Measured(74.0, 5.0, "clock"), "s");
    peak.delay_to_window_s = number(Measured(134.0, 5.0, "clock"), "s");
    peak.air_s = number(Measured(30.0, 5.0, "stopwatch"), "s");
    peak.saturation_start_percent = number(97.2, "%");
    peak.saturation_end_percent = number(91.4, "%");
    peak.temperature_celsius = number(Measured(13.1, 0.05, "thermometer"), "degC");
    peak.relative_slope_error = number(2.1, "%");
    for (const double window : {30.0, 45.0, 60.0, 90.0, 120.0, 150.0, 180.0, 240.0, 300.0}) {
        const double error = value * 0.02 * std::pow(60.0 / window, 1.5);
        PeakCurvePoint point{.window_s = window,
                             .readings = static_cast<std::uint64_t>(window / 2.0),
                             .steepest = value * (1.0 - 0.0002 * window) + 1.2 * error,
                             .standard_uncertainty = error,
                             .selection_bias = 1.2 * error,
                             .averaging = -value * 0.00055 * window,
                             .start_after_event_s = 134.0,
                             .relative_slope_error = error / value,
                             .saturation_end_percent = 96.0 - window / 20.0};
        point.corrected = *point.steepest - *point.selection_bias;
        if (window > 200.0) {
            point = PeakCurvePoint{.window_s = window, .reason = "longer than the sealed spell"};
        }
        peak.curve.push_back(point);
    }
    if (after == "chase" && animal.stream % 3 == 2) {
        peak.mark = uptake::Mark::doubtful;
        peak.reasons = {{"low_oxygen", "saturation ends at 78.9 %, under the floor of 80 %"}};
    }
    return peak;
}

Resting make_resting(const Animal& animal, const Stay& stay, Instant hook_up) {
    Resting rest{.stay = stay.id, .kind = "resting, overnight"};
    const double value = animal.rest + 2.0;
    rest.uptake_mg_per_kg_h = rate(value, 1.9, "0.2 quantile of 46 values, noise-corrected");
    rest.uptake_mg_per_h = with_interval(
        number(uncertain(value * animal.mass_kg, 0.0, 0.012, 1.6), "mg/h", "the same, whole animal"));
    rest.raw = rate(value - 2.4, 1.9, "0.2 quantile of 46 values");
    rest.corrected = rest.uptake_mg_per_kg_h;
    rest.picked = "quantile_20";
    rest.rule =
        "The lowest normal's values scatter by 6.8 %, over the limit of 5.4 %: the 0.2 quantile is taken.";
    const std::array<std::tuple<const char*, const char*, double>, 8> estimators{{
        {"mean_of_ten_lowest", "mean of the ten lowest", -4.1},
        {"lowest_tenth", "lowest tenth after five are dropped", -2.0},
        {"lowest_normal", "lowest normal", 3.1},
        {"quantile_10", "0.1 quantile", -3.0},
        {"quantile_15", "0.15 quantile", -1.3},
        {"quantile_20", "0.2 quantile", 0.0},
        {"quantile_25", "0.25 quantile", 1.2},
        {"quantile_30", "0.3 quantile", 2.3},
    }};
    for (const auto& [word, title, shift] : estimators) {
        rest.estimates.push_back({.word = word,
                                  .title = title,
                                  .raw = rate(value + shift - 2.4, 1.9, "block bootstrap, blocks of 1.5 h"),
                                  .corrected = rate(value + shift, 1.9, "less the noise's expected pull"),
                                  .noise_bias = number(Measured(-2.4, 0.2, "simulation"), "mg/kg/h"),
                                  .values = std::string_view(word) == "mean_of_ten_lowest" ? 10U : 46U,
                                  .is_picked = std::string_view(word) == "quantile_20"});
    }
    rest.cut_off_hours = number(10.0, "h");
    rest.cut_off_reason = "no downward trend is left from there on";
    for (int h = 2; h <= 13; ++h) {
        const double left = animal.excess_slow * std::exp(-std::log(2.0) / animal.half_time_h * h);
        rest.cut_off_curve.push_back({.hours_since_handling = static_cast<double>(h),
                                      .values = static_cast<std::uint64_t>(6 * (15 - h)),
                                      .resting = h < 13 ? std::optional(value + 0.3 * left) : std::nullopt,
                                      .fall = 0.5 * left,
                                      .fall_uncertainty = 2.0,
                                      .is_falling = h < 9});
    }
    for (const Spell& spell : stay.spells) {
        const double hours = (spell.answer.middle() - hook_up).hours();
        rest.values.push_back(
            {.spell = spell.number,
             .hours_since_handling = hours,
             .uptake = spell.answer.uptake_mg_per_kg_h->value(),
             .standard_uncertainty = spell.answer.uptake_mg_per_kg_h->standard_uncertainty(),
             .counts = hours > 10.0 && spell.answer.is_usable() && !spell.is_excluded_by_hand});
    }
    rest.lowest_normal = {.components = {{.mean = value + 3.1, .sd = 5.0, .weight = 0.72},
                                         {.mean = value + 28.0, .sd = 12.0, .weight = 0.28}},
                          .lowest = 0,
                          .classified = 33,
                          .cv_percent = number(6.8, "%")};
    for (std::uint32_t hour = 0; hour < 6; ++hour) {
        rest.routine_hours.push_back({.hour_of_day = hour,
                                      .values = 6,
                                      .median = rate(value + 4.0 + hour, 3.0, "median of the hour")});
    }
    rest.routine_whole_night = rate(value + 5.0, 2.0, "median of the night");
    rest.temperature_celsius = number(Measured(12.4, 0.05, "thermometer"), "degC");
    rest.background_share_percent = number(Measured(3.4, 0.6, "background"), "%");
    rest.hours_counted = number(5.6, "h");
    rest.stay_hours = number(14.0, "h");
    rest.reasons = {{"short_stay", "the stay is under 24 h: a resting uptake overnight, not SMR"}};
    return rest;
}

Number amount(double value, bool is_at_least, std::string method) {
    Number out = with_interval(number(Measured(value, {{"mass", value * 0.007},
                                                       {"volume of the chamber", value * 0.012},
                                                       {"baseline", value * 0.03},
                                                       {"slope", value * 0.01}}),
                                      "mg/kg", std::move(method)));
    out.is_at_least = is_at_least;
    return out;
}

Recovery make_recovery(const Animal& animal, const std::vector<const Stay*>& stays, Instant hook_up,
                       bool is_censored) {
    Recovery out{
        .after = "capture", .time_zero = "back in water", .time_zero_at = hook_up + Duration::minutes(4.0)};
    const double k = std::log(2.0) / animal.half_time_h;
    const auto baseline = [&](double h) { return animal.rest + 7.0 + 3.0 * std::sin(h / 3.0); };
    bool recovered = false;
    int below = 0;
    for (std::size_t s = 0; s < stays.size(); ++s) {
        for (const Spell& spell : stays[s]->spells) {
            if (!spell.answer.is_usable()) {
                continue;
            }
            const double h = (spell.answer.middle() - *out.time_zero_at).hours();
            const double value = spell.answer.uptake_mg_per_kg_h->value();
            below = value <= baseline(h) ? below + 1 : 0;
            recovered = recovered || (below >= 2 && !is_censored);
            out.points.push_back(
                {.hours = h,
                 .uptake = value,
                 .standard_uncertainty = spell.answer.uptake_mg_per_kg_h->standard_uncertainty(),
                 .baseline = baseline(h),
                 .part = recovered ? "" : (s == 0 ? "boat_hour" : "after_transfer")});
        }
    }
    const auto variant = [&](std::string word, std::string title, double level, double factor,
                             bool is_headline) {
        Number hours = is_censored ? number(13.2, "h", "still above at the last sealed spell")
                                   : number(8.1 * factor, "h", "two consecutive spells at or below");
        hours.is_at_least = is_censored;
        if (!is_censored) {
            hours.interval = Interval{.low = 6.9 * factor,
                                      .high = std::numeric_limits<double>::infinity(),
                                      .method = "level as measured and at another hour"};
        }
        auto fitted = number(7.4 * factor, "h", "fit");
        fitted.interval =
            Interval{.low = 6.2 * factor, .high = 11.3 * factor, .method = "level, swing and form"};
        return BaselineVariant{
            .word = std::move(word),
            .title = std::move(title),
            .is_headline = is_headline,
            .level = rate(level, 2.0, "mean over the span"),
            .excess_boat_hour = amount(0.28 * (animal.excess_fast + animal.excess_slow) * factor, false,
                                       "trapezoids over the boat hour"),
            .excess_after_transfer = amount(190.0 * factor, is_censored, "trapezoids after transfer"),
            .capture_plus_handling = amount(308.0 * factor, is_censored, "both parts"),
            .held_back_share_percent = number(11.0, "%"),
            .bridged_share_percent = number(6.0, "%"),
            .hours_by_data = hours,
            .hours_by_fit =
                is_censored ? no_number("the fitted curve does not meet the baseline", "h") : fitted,
            .fitted_excess = amount(301.0 * factor, false, "integral of the fitted decay")};
    };
    out.baselines = {
        variant("hour_matched_median", "own overnight median, hour-matched", animal.rest + 7.0, 1.0, true),
        variant("resting_plus_10", "resting + 10 %", animal.rest * 1.1, 1.08, false),
        variant("resting_plus_20", "resting + 20 %", animal.rest * 1.2, 0.86, false)};
    out.half_time_by_data_h = number(0.6, "h");
    out.recovered_share_percent = number(Measured(61.0, 4.0, "peak and rest"), "%");
    out.fit = {.span = "through_events",
               .title = "one decay through everything",
               .phases = 2,
               .spells = out.points.size(),
               .formula = "baseline + A1 exp(-k1 t) + A2 exp(-k2 t)",
               .parameters = {{"rate_slow", "slow rate", number(Measured(k, 0.03, "fit"), "1/h")}},
               .half_time_h = number(Measured(0.7, 0.1, "fit"), "h"),
               .excess_first_hour = amount(120.0, false, "fit"),
               .excess_all = amount(320.0, false, "fit")};
    for (double h = 0.0; h < 14.0; h += 0.1) {
        out.fit.curve.x.push_back(h);
        out.fit.curve.y.push_back(animal.rest + 3.0 + animal.excess_fast * std::exp(-4.0 * k * h) +
                                  animal.excess_slow * std::exp(-k * h));
    }
    out.sensitivity = {{.span = "ended_at_first_event",
                        .title = "ended at the blood draw",
                        .phases = 1,
                        .spells = 6,
                        .formula = "baseline + A exp(-k t)",
                        .half_time_h = number(Measured(0.8, 0.2, "fit"), "h")}};
    out.events = {{.hours = 1.1, .what = "blood"}, {.hours = 1.35, .what = "transfer"}};
    out.reasons = {{"handling", "a blood draw and a transfer lie inside: they may start the excess anew"}};
    return out;
}

Event event(Instant hook_up, double minutes, std::string word, double uncertainty_s, std::string note = {}) {
    return {.at = hook_up + Duration::minutes(minutes),
            .at_uncertainty_s = number(uncertainty_s, "s"),
            .word = std::move(word),
            .who = "crew",
            .note = std::move(note),
            .hours = minutes / 60.0};
}

Fish make_fish(const Animal& animal, std::size_t index, const InventedSize& size) {
    const std::size_t day = index / 3;
    const Instant hook_up = at("2026-06-14T15:02:10Z") + Duration::hours(26.0 * static_cast<double>(day)) +
                            Duration::minutes(37.0 * static_cast<double>(index % 3));
    const double night_end = 1.6 + size.night_h;
    const double chase_h = night_end + 0.25;
    Fish fish{.id = animal.id,
              .species = "Salmo trutta",
              .tag = fmt::format("96800001{:04}", 100 + index),
              .group = animal.group,
              .treatments = {{"rig", animal.group.starts_with("barbless") ? "barbless single" : "treble"},
                             {"unhooking", animal.group.ends_with("water") ? "in water" : "on deck"}},
              .mass_g = number(Measured(animal.mass_kg * 1000.0, animal.mass_kg * 7.0, "mass"), "g",
                               "weighed after the stay"),
              .mass_source = "weighed",
              .fork_length_mm = number(400.0 + 90.0 * animal.mass_kg, "mm"),
              .density_kg_per_l = number(1.0, "kg/L"),
              .time_zero_word = "hook_up",
              .time_zero = hook_up};
    fish.encounters = {{.id = "e" + animal.id.substr(animal.id.size() - 2),
                        .at = hook_up,
                        .method = "angling",
                        .who = "crew",
                        .where = "Skerry Voe",
                        .rig = fish.treatments[0].text,
                        .unhooking = fish.treatments[1].text,
                        .landing = "knotless net",
                        .hook_location = "lower jaw",
                        .water_temperature_celsius = number(13.4, "degC")}};
    const std::string tube = fmt::format("tube {}", 1 + index % 3);
    const std::string chamber = fmt::format("shore {}", 1 + index % 8);
    fish.stays.push_back(make_stay(animal, {"s" + animal.id + "a", tube, "after_capture", 0.09, 1.1, 12.5},
                                   hook_up, 1e9, size));
    fish.stays.push_back(make_stay(animal,
                                   {"s" + animal.id + "b", chamber, "rest", 1.6,
                                    animal.has_died ? 7.0 : night_end, 48.0, animal.has_died},
                                   hook_up, 1e9, size));
    fish.events = {event(hook_up, -0.4, "bite", 10.0),    event(hook_up, 0.0, "hook_up", 5.0),
                   event(hook_up, 2.6, "landed", 5.0),    event(hook_up, 4.0, "back_in_water", 5.0),
                   event(hook_up, 5.4, "sealed", 1.0),    event(hook_up, 67.0, "blood", 30.0, "1.0 mL"),
                   event(hook_up, 82.0, "transfer", 30.0)};
    Metrics& metrics = fish.metrics;
    metrics.peaks.push_back(
        make_peak(animal, "capture", fish.stays[0],
                  uptake_at(animal, 0.15, 1e9) + 9.0 * static_cast<double>((index * 7) % 11) - 45.0));
    if (animal.has_died) {
        fish.events.push_back(event(hook_up, 450.0, "died", 1800.0, "found at the 22:30 round"));
        fish.fate = {.word = "died",
                     .at = hook_up + Duration::hours(7.5),
                     .text = "died in the night chamber between 21:50 and 22:30"};
        metrics.missing = {{"resting", "the fish died in the night: the night gives no resting uptake"},
                           {"peak_after_chase", "not chased: died in the night"},
                           {"pair", "there is one peak only"}};
        return fish;
    }
    metrics.resting = make_resting(animal, fish.stays[1], hook_up);
    metrics.recoveries.push_back(
        make_recovery(animal, {&fish.stays[0], &fish.stays[1]}, hook_up, index % 4 == 3));
    fish.stays.push_back(make_stay(animal,
                                   {"s" + animal.id + "c", tube, "after_chase", chase_h, chase_h + 0.9, 12.5},
                                   hook_up, chase_h, size));
    fish.events.push_back(event(hook_up, (chase_h - 0.09) * 60.0, "chase_start", 2.0));
    fish.events.push_back(event(hook_up, (chase_h - 0.02) * 60.0, "chase_end", 2.0));
    fish.events.push_back(event(hook_up, (chase_h + 1.0) * 60.0, "released", 60.0));
    metrics.peaks.push_back(make_peak(animal, "chase", fish.stays[2],
                                      uptake_at(animal, chase_h + 0.06, chase_h) +
                                          11.0 * static_cast<double>((index * 5) % 9) - 30.0));
    const double capture = *metrics.peaks[0].uptake_mg_per_kg_h.value;
    const double chase = *metrics.peaks[1].uptake_mg_per_kg_h.value;
    const double rest = *metrics.resting->uptake_mg_per_kg_h.value;
    for (const auto& [after, value] :
         {std::pair<std::string, double>{"capture", capture}, {"chase", chase}}) {
        metrics.scopes.push_back(
            {.after = after,
             .peak_name = "peak after " + after,
             .resting_name = metrics.resting->kind,
             .absolute = rate(value - rest, 9.2, "peak less rest; the mass cancels in part"),
             .factorial =
                 with_interval(number(Measured(value / rest, 0.2, "slope"), "", "interval on the log scale")),
             .adjusted_absolute = no_number("temperatures within 1 degC", "mg/kg/h"),
             .adjusted_factorial = no_number("temperatures within 1 degC", ""),
             .temperature_difference_celsius = number(0.7, "degC")});
    }
    metrics.pair = PairedPeaks{
        .after_capture = metrics.peaks[0].uptake_mg_per_kg_h,
        .after_chase = metrics.peaks[1].uptake_mg_per_kg_h,
        .difference = with_interval(number(Measured(capture - chase, 12.0, "slope"), "mg/kg/h")),
        .ratio = with_interval(number(Measured(capture / chase, 0.04, "slope"), "")),
        .hours_between = number(chase_h, "h"),
        .temperature_difference_celsius = number(0.3, "degC"),
        .chase_adjusted = no_number("temperatures within 1 degC", "mg/kg/h"),
        .ratio_adjusted = no_number("temperatures within 1 degC", ""),
        .differences = {"15.9 h and a night in another chamber lie between", "blood was drawn between",
                        "30 s of air after the chase, none at capture"}};
    fish.fate = {.word = "released",
                 .at = hook_up + Duration::hours(chase_h + 1.0),
                 .text = "released at the place of capture"};
    return fish;
}

Headline headline(std::string word, std::string title, const std::vector<double>& values) {
    double sum = 0.0;
    for (const double v : values) {
        sum += v;
    }
    const double mean = sum / static_cast<double>(values.size());
    double squares = 0.0;
    for (const double v : values) {
        squares += (v - mean) * (v - mean);
    }
    const double sd = values.size() > 1 ? std::sqrt(squares / static_cast<double>(values.size() - 1)) : 0.0;
    const double error = sd / std::sqrt(static_cast<double>(values.size()));
    std::vector<double> sorted = values;
    std::ranges::sort(sorted);
    return {.word = std::move(word),
            .title = std::move(title),
            .fish = static_cast<std::uint32_t>(values.size()),
            .mean = with_interval(
                number(Measured(mean, error, "between fish"), "mg/kg/h", "mean over fish, standard error")),
            .between_fish_sd = number(sd, "mg/kg/h"),
            .median = number(sorted[sorted.size() / 2], "mg/kg/h"),
            .fish_without_human = static_cast<std::uint32_t>(values.size()),
            .mean_without_human =
                with_interval(number(Measured(mean * 1.004, error, "between fish"), "mg/kg/h",
                                     "the same, decisions made by hand undone"))};
}

/// Number of a fish that a headline is made of, or nothing.
std::optional<double> value_of(const Fish& fish, std::string_view word) {
    if (word == "resting") {
        return fish.metrics.resting ? fish.metrics.resting->uptake_mg_per_kg_h.value : std::nullopt;
    }
    if (word == "excess_boat_hour") {
        return fish.metrics.recoveries.empty()
                   ? std::nullopt
                   : fish.metrics.recoveries[0].baselines[0].excess_boat_hour.value;
    }
    if (word == "scope_absolute") {
        return fish.metrics.scopes.empty() ? std::nullopt : fish.metrics.scopes[0].absolute.value;
    }
    for (const Peak& peak : fish.metrics.peaks) {
        if (peak.after == word.substr(std::string_view("peak_after_").size())) {
            return peak.uptake_mg_per_kg_h.value;
        }
    }
    return std::nullopt;
}

void add_headlines(Results& results) {
    const std::pair<const char*, const char*> measures[] = {
        {"peak_after_capture", "Peak uptake after capture"},
        {"peak_after_chase", "Peak uptake after chase"},
        {"resting", "Resting uptake, overnight"},
        {"scope_absolute", "Absolute scope after capture"},
        {"excess_boat_hour", "Excess in the boat hour"}};
    std::vector<Group> groups{{"", ""}};
    groups.insert(groups.end(), results.groups.begin(), results.groups.end());
    for (const auto& [word, title] : measures) {
        for (const Group& group : groups) {
            std::vector<double> values;
            for (const Fish& fish : results.fish) {
                const auto value = value_of(fish, word);
                if (value && (group.key.empty() || fish.group == group.key)) {
                    values.push_back(*value);
                }
            }
            if (!values.empty()) {
                results.headlines.push_back(headline(word, title, values));
                results.headlines.back().group = group.key;
            }
        }
    }
}

void add_exclusions(Results& results) {
    for (const Fish& fish : results.fish) {
        for (const Stay& stay : fish.stays) {
            for (const Spell& spell : stay.spells) {
                if (spell.answer.mark != uptake::Mark::unusable) {
                    continue;
                }
                results.exclusions.push_back(
                    {.by = spell.is_excluded_by_hand ? ExcludedBy::human : ExcludedBy::automatic,
                     .act = "exclude",
                     .fish = fish.id,
                     .stay = stay.id,
                     .spell = spell.number,
                     .moment = spell.answer.middle(),
                     .reasons = spell.answer.reasons,
                     .author = spell.is_excluded_by_hand ? "the scientist" : "",
                     .decided = spell.is_excluded_by_hand ? std::optional(at("2026-06-20T19:40:00Z"))
                                                          : std::nullopt});
            }
        }
    }
}

void add_accounting(Results& results) {
    const std::size_t n = results.fish.size();
    const std::size_t died = static_cast<std::size_t>(
        std::ranges::count_if(results.fish, [](const Fish& f) { return f.fate.word == "died"; }));
    results.accounting.stages = {
        {.word = "bite",
         .title = "Bite",
         .count = n + 9,
         .left = {{"e90", "", "", "no hook-up"},
                  {"e91", "", "", "no hook-up"},
                  {"e92", "", "", "no hook-up"},
                  {"e93", "", "", "no hook-up"},
                  {"e94", "", "", "no hook-up"}}},
        {.word = "hook_up",
         .title = "Hook-up",
         .count = n + 4,
         .left = {{"e95", "", "", "lost in the fight"}, {"e96", "", "", "lost at the net"}}},
        {.word = "landed",
         .title = "Landed",
         .count = n + 2,
         .left = {{"e97", "x01", "", "under the permit's length"}}},
        {.word = "eligible",
         .title = "Eligible",
         .count = n + 1,
         .left = {{"e98", "x02", "", "all tubes taken"}}},
        {.word = "sealed", .title = "Sealed", .count = n, .left = {}},
        {.word = "usable_peak", .title = "Usable peak", .count = n, .left = {}},
        {.word = "night", .title = "Night", .count = n, .left = {}},
        {.word = "chase", .title = "Chase", .count = n - died, .left = {}},
    };
    std::vector<std::string> gone;
    std::vector<std::string> released;
    for (const Fish& fish : results.fish) {
        if (fish.fate.word == "died") {
            gone.push_back(fish.id);
            results.accounting.stages[6].left.push_back(
                {"", fish.id, fish.group, "died in the night chamber"});
        } else {
            released.push_back(fish.id);
        }
    }
    results.accounting.fates = {{"released", released.size(), released}, {"died", gone.size(), gone}};
}

Number with_limits(double value, double low, double high, std::string unit) {
    Number out = number(value, std::move(unit));
    out.interval = Interval{.low = low, .high = high};
    return out;
}

void add_fishing(Results& results) {
    RigCatch single{.rig = "single_hook", .lines = 12, .rod_hours = number(30.5, "h"), .open_ends = 1};
    single.steps = {{.word = "bite",
                     .title = "bites",
                     .count = 20,
                     .share_percent = no_number("the first step", "%"),
                     .in_hours = 20,
                     .per_rod_hour = with_limits(0.656, 0.4, 1.01, "/h"),
                     .ratio = no_number("ratios are over this rig", "")},
                    {.word = "hook_up",
                     .title = "hook-ups",
                     .count = 14,
                     .of = 20,
                     .share_percent = with_limits(70.0, 45.7, 88.1, "%"),
                     .in_hours = 14,
                     .per_rod_hour = with_limits(0.459, 0.251, 0.77, "/h"),
                     .ratio = no_number("ratios are over this rig", "")}};
    single.misses = {{.name = "", .count = 6}};
    single.losses = {{.name = "=at the net", .count = 2}};
    single.species = {{.species = "Salmo trutta", .count = 10},
                      {.species = "Pollachius virens", .count = 1, .is_bycatch = true}};
    RigCatch unnamed{.rod_hours = no_number("no line is known to have been in", "h"), .never_out = 1};
    unnamed.steps = {{.word = "bite",
                      .title = "bites",
                      .count = 2,
                      .share_percent = no_number("the first step", "%"),
                      .per_rod_hour = no_number("no rod-hours are known", "/h"),
                      .ratio = no_number("no rig to compare", "")}};
    results.fishing.rigs = {single, unnamed};
    results.fishing.notes = {"Outside of all known hours of their rod and rig: 2 bites. Counted and in the "
                             "shares, but in no rate."};
}

void add_background_to_the_study(Results& results) {
    results.water = {.salinity = number(Measured(31.2, 0.2, "salinity"), ""),
                     .pressure_kpa = number(Measured(101.1, 0.1, "pressure"), "kPa"),
                     .salinity_from = "brief",
                     .pressure_from = "trace weather:pressure, at the station",
                     .assumptions = {"The boat logger assumed salinity 0; that was undone."}};
    for (const char* name : {"tube 1 optode", "shore 1 optode"}) {
        results.sensors.push_back(
            {.name = name,
             .assemblies = {std::string(name).substr(0, std::string_view(name).find(" optode"))},
             .lag_s = number(8.0, "s"),
             .sampling_interval_s = number(2.0, "s"),
             .noise = {.white_sd_mg_per_l = number(Measured(0.0031, 0.0002, "fit"), "mg/L"),
                       .autoregressive_sd_mg_per_l = number(Measured(0.0041, 0.0003, "fit"), "mg/L"),
                       .correlation_time_s = number(Measured(27.0, 3.0, "fit"), "s"),
                       .from = "2 blanks and 41 long spells, pooled"},
             .calibrations = {{.at = at("2026-06-13T08:10:00Z"),
                               .point = "air",
                               .reading = number(99.4, "% air"),
                               .temperature_celsius = number(12.9, "degC"),
                               .pressure_kpa = number(101.2, "kPa"),
                               .salinity = number(31.2, ""),
                               .who = "the scientist"}},
             .drift = number(Measured(-0.6, 0.3, "calibration"), "%")});
    }
    results.clocks = {{.name = "boat logger",
                       .checks = {{.shown = "2026-06-14 16:00:00",
                                   .true_time = at("2026-06-14T15:01:48Z"),
                                   .uncertainty_s = number(2.0, "s"),
                                   .how = "radio time"}},
                       .offset_s = number(Measured(-108.0, 2.0, "clock check"), "s"),
                       .drift_s_per_day = number(0.4, "s/day"),
                       .remaining_s = number(2.5, "s")},
                      {.name = "shore logger",
                       .offset_s = no_number("never checked", "s"),
                       .drift_s_per_day = no_number("never checked", "s/day"),
                       .remaining_s = no_number("never checked", "s"),
                       .note = "never checked"}};
    for (const char* name : {"tube 1", "shore 1"}) {
        results.assemblies.push_back(
            {.name = name,
             .from = at("2026-06-13T08:00:00Z"),
             .chamber_volume_l = number(Measured(12.1, 0.1, "volume of the chamber"), "L", "filled weight"),
             .loop_volume_l = number(Measured(0.4, 0.02, "volume of the loop"), "L"),
             .flow_l_per_min = number(Measured(11.0, 0.5, "flow"), "L/min"),
             .sensor = std::string(name) + " optode",
             .channels = "oxygen boat:O2_1, temperature boat:T_1",
             .mixing_s = number(20.0, "s")});
    }
    for (const char* name : {"study.toml", "fish.csv", "stays.csv", "raw/tube 1.csv", "raw/shore 1.csv"}) {
        const bool is_trace = std::string_view(name).starts_with("raw");
        results.inputs.push_back({.path = name,
                                  .kind = is_trace ? "trace" : "table",
                                  .sha256 = sha256_hex(name),
                                  .bytes = 183422,
                                  .understood = {"comma; decimal point; UTF-8", "42 rows"},
                                  .rows_kept = 42,
                                  .rows_refused = is_trace ? 1U : 0U});
    }
    results.inputs.back().refused = {
        {.line = 2176, .reason = "\"8,41\" is not a number", .raw = "2026-06-14 22:01:06;8,41"}};
    results.settings = {
        {"peak", "window_s", "60", "s", "60", "averaging and picking errors balance near 1-2 min", true},
        {"resting", "cv_limit_percent", "5.4", "%", "5.4", "rule of Chabot and others 2016", true},
        {"background", "blanks_used", "both", "", "both", "simplest that allows growth", true},
        {"background", "between_blanks", "straight", "", "straight", "simplest that allows growth", true},
        {"settle", "night_s", "75", "s", "60", "mixing time and five lags", false}};
    results.complaints = {
        {.severity = "beware",
         .file = "clock_checks.csv",
         .found = "no check of \"shore logger\"",
         .expected = "at least one clock check per logger",
         .remedy = "add a row to clock_checks.csv",
         .text = "clock_checks.csv: no check of \"shore logger\"; at least one clock check per logger is "
                 "expected; add a row to clock_checks.csv"}};
    results.answers = {{"mixing", "loop pump, 11 L/min, on throughout"},
                       {"fish_sharing_water", "not applicable: open water"}};
}

} // namespace

Results invented_study(const InventedSize& size) {
    Results results;
    results.study = {.title = "Sea trout of Skerry Voe: capture and chase",
                     .place = "Skerry Voe",
                     .permit = "SV-2026-01 (invented)",
                     .zone = "Europe/London",
                     .species = {"Salmo trutta"},
                     .is_simulated = true,
                     .simulated_label = "Simulated study: no fish was caught",
                     .program_version = "0.1.0"};
    results.groups = {{"barbless/water", "barbless, in water"},
                      {"barbless/deck", "barbless, on deck"},
                      {"treble/water", "treble, in water"},
                      {"treble/deck", "treble, on deck"}};
    results.columns = {{"rig", "assigned", {"barbless single", "treble"}},
                       {"unhooking", "assigned", {"in water", "on deck"}}};
    for (std::size_t i = 0; i < size.fish; ++i) {
        Random random(7, i);
        const Animal animal{.id = fmt::format("st{:02}", i + 1),
                            .group = results.groups[i % 4].key,
                            .mass_kg = 0.7 + 0.6 * random.uniform(),
                            .rest = 68.0 + 14.0 * random.uniform(),
                            .excess_fast = 140.0 + 60.0 * random.uniform(),
                            .excess_slow = 170.0 + 70.0 * random.uniform() + (i % 4 >= 2 ? 30.0 : 0.0),
                            .half_time_h = 1.3 + 0.8 * random.uniform(),
                            .stream = i,
                            .has_died = i % 24 == 4};
        results.fish.push_back(make_fish(animal, i, size));
    }
    add_headlines(results);
    add_exclusions(results);
    add_accounting(results);
    add_fishing(results);
    add_background_to_the_study(results);
    add_invented_condition(results);
    results.findings = invented_findings();
    results.notes = {"An invented study for looking at the report's pages."};
    return results;
}

} // namespace backeddy::report
