#include "app/detail/results_parts.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

using report::Number;

Number whole(const uptake::UptakeRate& rate, std::string method) {
    return report::number(rate.mg_per_h, "mg/h", std::move(method));
}

Number specific(const uptake::UptakeRate& rate, std::string method) {
    return rate.mg_per_kg_h ? report::number(*rate.mg_per_kg_h, "mg/kg/h", std::move(method))
                            : report::no_number(not_weighed, "mg/kg/h");
}

namespace {

// The unit in which one fish's metrics are shown: mass-specific once it is weighed.
class Shown {
  public:
    /// By the mass that holds for `first`, else for the first stay that has one.
    explicit Shown(const FishAnswer& fish, const StayAnswer* first = nullptr) {
        take(first);
        for (const auto* stay : fish.stays) {
            take(stay);
        }
    }
    [[nodiscard]] std::string rate_unit() const { return mass_kg_ ? "mg/kg/h" : "mg/h"; }
    [[nodiscard]] std::string amount_unit() const { return mass_kg_ ? "mg/kg" : "mg"; }
    /// Bare mg/h of a curve or an interval.
    [[nodiscard]] double scaled(double mg_per_h) const { return mass_kg_ ? mg_per_h / *mass_kg_ : mg_per_h; }
    [[nodiscard]] Number rate(const uptake::UptakeRate& rate, std::string method = {}) const {
        return mass_kg_ ? specific(rate, std::move(method)) : whole(rate, std::move(method));
    }
    [[nodiscard]] Number rate(double mg_per_h, double error_mg_per_h, std::string source,
                              std::string method) const {
        return report::number(Measured(scaled(mg_per_h), scaled(error_mg_per_h), std::move(source)),
                              rate_unit(), std::move(method));
    }
    [[nodiscard]] Number amount(const uptake::OxygenAmount& oxygen, std::string method) const {
        const bool per_kg = mass_kg_ && oxygen.mg_per_kg;
        return report::number(per_kg ? *oxygen.mg_per_kg : oxygen.mg, per_kg ? "mg/kg" : "mg",
                              std::move(method));
    }
    /// Of a rate whose interval per kilogram is not the whole animal's by a factor: the mass has an error.
    [[nodiscard]] Number with_interval(const uptake::UptakeRate& shown, std::string how,
                                       const uptake::Interval& mg_per_h,
                                       const std::optional<uptake::Interval>& mg_per_kg_h,
                                       const char* method) const {
        Number number = rate(shown, std::move(how));
        const auto interval = mass_kg_ ? mg_per_kg_h : std::optional(mg_per_h);
        if (number.value && interval) {
            number.interval =
                report::Interval{.low = interval->low, .high = interval->high, .method = method};
        }
        return number;
    }
    /// Value and z standard uncertainties of the very number that is shown.
    [[nodiscard]] Number with_normal_interval(const uptake::UptakeRate& shown, std::string how) const {
        Number number = rate(shown, std::move(how));
        if (number.value) {
            const auto interval =
                uptake::normal_interval(mass_kg_ && shown.mg_per_kg_h ? *shown.mg_per_kg_h : shown.mg_per_h);
            number.interval =
                report::Interval{.low = interval.low, .high = interval.high, .method = "normal"};
        }
        return number;
    }

  private:
    void take(const StayAnswer* stay) {
        if (!mass_kg_ && stay != nullptr && stay->input.fish && stay->input.fish->mass_kg) {
            mass_kg_ = stay->input.fish->mass_kg->value();
        }
    }

    std::optional<double> mass_kg_;
};

Number with_plain_interval(Number number, const uptake::Interval& interval, const char* method) {
    number.interval = report::Interval{.low = interval.low, .high = interval.high, .method = method};
    return number;
}

// ---------------------------------------------------------------- peak

std::vector<report::PeakCurvePoint> curve_of(const uptake::PeakUptake& peak, const Shown& shown) {
    std::vector<report::PeakCurvePoint> out;
    for (const auto& point : peak.curve) {
        report::PeakCurvePoint one{.window_s = point.window_s, .reason = point.reason};
        if (point.has_value()) {
            one.readings = point.readings;
            one.steepest = shown.scaled(point.raw_mg_per_h);
            one.standard_uncertainty = shown.scaled(point.error_mg_per_h);
            one.selection_bias = shown.scaled(point.picking_mg_per_h);
            if (point.averaging_mg_per_h) {
                one.averaging = shown.scaled(*point.averaging_mg_per_h);
            }
            one.corrected = shown.scaled(point.corrected_mg_per_h);
            one.start_after_event_s = point.start_after_event_s;
            one.relative_slope_error = point.relative_error;
            one.saturation_end_percent = point.saturation_end_percent;
        }
        out.push_back(std::move(one));
    }
    return out;
}

report::Peak peak_of(const EventAnswer& event, const Shown& shown) {
    const auto& peak = *event.peak;
    const std::string window =
        fmt::format("steepest {:.0f} s", (peak.window_to - peak.window_from).seconds());
    const auto delay = [&](Duration d) {
        return report::number(Measured(d.seconds(), peak.clock_uncertainty.seconds(), "clock and event"), "s",
                              "since " + event.zero.word);
    };
    return {.name = peak.name,
            .after = event_word(event.event),
            .event_at = peak.event_at,
            .stay = event.stay->stay->id.text(),
            .spell = static_cast<std::uint32_t>(event.spells[peak.spell] + 1),
            .from = peak.window_from,
            .to = peak.window_to,
            .uptake_mg_per_kg_h = specific(peak.corrected, window + ", selection bias taken off"),
            .uptake_mg_per_h = whole(peak.corrected, window + ", selection bias taken off"),
            .steepest = shown.rate(peak.raw, window + ", as found"),
            .selection_bias = shown.rate(peak.selection_bias_mg_per_h, peak.selection_bias_error_mg_per_h,
                                         "simulation", "simulated on the sensor's own noise"),
            .whole_spell = shown.rate(peak.whole_spell, "mean over the first sealed spell: no search in it"),
            .window_s = report::number((peak.window_to - peak.window_from).seconds(), "s"),
            .delay_to_seal_s = delay(peak.delay_to_seal),
            .delay_to_window_s = delay(peak.start_after_event),
            .air_s = peak.air ? report::number(peak.air->seconds(), "s", "sum of the air spells written down")
                              : report::no_number("no air spell written down", "s"),
            .saturation_start_percent = report::number(peak.saturation_start_percent, "%"),
            .saturation_end_percent = report::number(peak.saturation_end_percent, "%"),
            .temperature_celsius = report::number(peak.temperature_celsius, "°C", "mean over the window"),
            .relative_slope_error = report::number(100.0 * peak.relative_error, "%",
                                                   "standard error of the slope over the slope"),
            .curve = curve_of(peak, shown),
            .mark = peak.mark,
            .reasons = peak.reasons};
}

// ---------------------------------------------------------------- rest

report::LowestNormal lowest_normal_of(const uptake::RestingUptake& resting, const Shown& shown) {
    report::LowestNormal out;
    if (!resting.mixture) {
        for (const auto& entry : resting.estimates) {
            if (entry.method == uptake::RestingMethod::lowest_normal) {
                out.reason = entry.skipped.text;
            }
        }
        out.cv_percent = report::no_number(out.reason.empty() ? "no mixture was fitted" : out.reason, "%");
        return out;
    }
    const auto& mixture = *resting.mixture;
    for (std::size_t i = 0; i < mixture.means_mg_per_h.size(); ++i) {
        out.components.push_back({.mean = shown.scaled(mixture.means_mg_per_h[i]),
                                  .sd = shown.scaled(mixture.sds_mg_per_h[i]),
                                  .weight = mixture.weights[i]});
    }
    out.lowest = mixture.lowest;
    out.classified = mixture.classified;
    out.cv_percent =
        report::number(mixture.cv_percent, "%", "of the values classified into the lowest component");
    return out;
}

constexpr const char* by_halves = "block bootstrap and systematic parts in quadrature";

Number corrected_of(const uptake::RestingEstimate& estimate, const Shown& shown, std::string how) {
    return shown.with_interval(estimate.corrected, std::move(how), estimate.interval_mg_per_h,
                               estimate.interval_mg_per_kg_h, by_halves);
}

Number raw_of(const uptake::RestingEstimate& estimate, const Shown& shown, std::string how) {
    return shown.with_interval(estimate.raw, std::move(how), estimate.raw_interval_mg_per_h,
                               estimate.raw_interval_mg_per_kg_h, by_halves);
}

report::RestingEstimate estimate_of(const uptake::RestingEntry& entry, const uptake::RestingUptake& resting,
                                    const Shown& shown) {
    report::RestingEstimate out{.word = uptake::word(entry.method),
                                .title = uptake::description(entry.method),
                                .is_picked = entry.method == resting.chosen};
    if (!entry.estimate) {
        out.raw = report::no_number(entry.skipped.text, shown.rate_unit());
        out.corrected = out.raw;
        out.noise_bias = out.raw;
        return out;
    }
    const auto& estimate = *entry.estimate;
    out.raw = raw_of(estimate, shown, {});
    out.corrected = corrected_of(estimate, shown, {});
    out.noise_bias = shown.rate(estimate.noise_bias_mg_per_h, estimate.noise_bias_error_mg_per_h,
                                "simulation", "simulated from the values' own errors");
    out.values = estimate.values_used;
    return out;
}

// Every value of the stay, with its hours since handling, and whether it counts.
void add_values(const RestingAnswer& answer, const Shown& shown, report::Resting& out) {
    const auto& resting = *answer.resting;
    std::vector<bool> counts(answer.values.size(), false);
    for (const std::size_t i : resting.counted) {
        counts[i] = true;
    }
    const Instant handled = resting.counted_from - Duration::hours(resting.cut_off_h);
    std::vector<double> counted_hours;
    for (std::size_t i = 0; i < answer.values.size(); ++i) {
        const auto& spell = answer.values[i];
        const double hours = (spell.middle() - handled).hours();
        if (spell.is_usable()) {
            out.values.push_back(
                {.spell = static_cast<std::uint32_t>(answer.spells[i] + 1),
                 .hours_since_handling = hours,
                 .uptake = shown.scaled(spell.uptake_mg_per_h.value()),
                 .standard_uncertainty = shown.scaled(spell.uptake_mg_per_h.standard_uncertainty()),
                 .counts = counts[i]});
        }
        if (counts[i]) {
            counted_hours.push_back(hours);
        }
    }
    out.hours_counted = counted_hours.empty() ? report::no_number("no value counts", "h")
                                              : report::number(counted_hours.back() - counted_hours.front(),
                                                               "h", "first to last value that counts");
}

// Lowest and highest corrected value of the methods named, or of all when none is.
report::EstimatorSpread spread_of(std::string of, const uptake::RestingUptake& resting, const Shown& shown,
                                  std::initializer_list<uptake::RestingMethod> methods) {
    const uptake::UptakeRate* low = nullptr;
    const uptake::UptakeRate* high = nullptr;
    for (const auto& entry : resting.estimates) {
        const bool is_asked =
            methods.size() == 0 || std::find(methods.begin(), methods.end(), entry.method) != methods.end();
        if (!entry.estimate || !is_asked) {
            continue;
        }
        const auto& rate = entry.estimate->corrected;
        low = low == nullptr || rate.mg_per_h.value() < low->mg_per_h.value() ? &rate : low;
        high = high == nullptr || rate.mg_per_h.value() > high->mg_per_h.value() ? &rate : high;
    }
    const auto bare = [&](const uptake::UptakeRate* rate) {
        return rate == nullptr ? report::no_number("none could be computed", shown.rate_unit())
                               : report::number(shown.scaled(rate->mg_per_h.value()), shown.rate_unit());
    };
    return {.of = std::move(of), .low = bare(low), .high = bare(high)};
}

report::Resting resting_of(const RestingAnswer& answer, const Shown& shown) {
    const auto& resting = *answer.resting;
    const auto& value = resting.value;
    const std::string how = uptake::description(resting.chosen) + ", less what measurement noise alone adds";
    report::Resting out{
        .stay = answer.stay->stay->id.text(),
        .kind = resting.name,
        .uptake_mg_per_kg_h = specific(value.corrected, how),
        .uptake_mg_per_h = whole(value.corrected, how),
        .raw = raw_of(value, shown, uptake::description(resting.chosen)),
        .corrected = corrected_of(value, shown, how),
        .picked = uptake::word(resting.chosen),
        .rule = resting.chosen_why,
        .cut_off_hours = report::number(resting.cut_off_h, "h", "since handling"),
        .cut_off_reason = resting.cut_off_why,
        .lowest_normal = lowest_normal_of(resting, shown),
        .routine_whole_night = shown.rate(resting.routine.whole_night, "median of the whole night"),
        .temperature_celsius = report::number(resting.temperature_mean_celsius, "°C"),
        .background_share_percent =
            resting.background_share
                ? report::number(100.0 * *resting.background_share, "%", "of the total uptake")
                : report::no_number("no background was taken off", "%"),
        .stay_hours = report::number(resting.stay_h, "h"),
        .reasons = resting.reasons};
    if (out.uptake_mg_per_kg_h.value) {
        out.uptake_mg_per_kg_h.interval = out.corrected.interval;
    }
    for (const auto& entry : resting.estimates) {
        out.estimates.push_back(estimate_of(entry, resting, shown));
    }
    using Method = uptake::RestingMethod;
    out.family_spread =
        spread_of("those the rule chooses from (lowest normal, 0.2 and 0.25 quantile)", resting, shown,
                  {Method::lowest_normal, Method::quantile_20, Method::quantile_25});
    out.all_spread = spread_of("every estimator", resting, shown, {});
    for (const auto& point : resting.cut_off_curve) {
        report::CutOffPoint one{.hours_since_handling = point.hours_after_handling,
                                .values = point.values,
                                .fall = shown.scaled(point.fall_mg_per_h),
                                .fall_uncertainty = shown.scaled(point.fall_error_mg_per_h),
                                .is_falling = point.falling};
        if (point.mg_per_h) {
            one.resting = shown.scaled(*point.mg_per_h);
        }
        out.cut_off_curve.push_back(one);
    }
    for (const auto& hour : resting.routine.hours) {
        out.routine_hours.push_back({.hour_of_day = static_cast<std::uint32_t>(hour.hour_of_day),
                                     .values = hour.values,
                                     .median = shown.rate(hour.median)});
    }
    add_values(answer, shown, out);
    return out;
}

// ---------------------------------------------------------------- scope, recovery, pair

Number at_least_if(bool is_censored, Number number) {
    number.is_at_least = number.value && is_censored;
    return number;
}

// From a rest that was never reached, scope is a lower bound: that rest is too high.
report::Scope scope_of(const EventAnswer& event, const uptake::RestingUptake& resting, const Shown& shown) {
    const auto& answer = **event.scope;
    const bool is_rest_too_high = resting.standing == uptake::RestingStanding::not_recovered;
    const auto absolute = [&](const uptake::Scope& s) {
        return at_least_if(is_rest_too_high, shown.with_normal_interval(s.absolute, "peak less rest"));
    };
    const auto factorial = [&](const uptake::Scope& s) {
        return at_least_if(is_rest_too_high,
                           with_plain_interval(report::number(s.factorial, "", "peak over rest"),
                                               s.factorial_interval, "log scale"));
    };
    auto reasons = answer.reasons;
    if (is_rest_too_high) {
        reasons.push_back({"resting_not_recovered", "the fish never came to rest, so that its resting uptake "
                                                    "is too high: scope is this or more, and in no mean"});
    }
    const char* alike = "temperatures alike: nothing to adjust";
    return {.after = event_word(event.event),
            .peak_name = answer.peak_name,
            .resting_name = answer.resting_name,
            .absolute = absolute(answer.as_measured),
            .factorial = factorial(answer.as_measured),
            .adjusted_absolute =
                answer.adjusted ? absolute(*answer.adjusted) : report::no_number(alike, shown.rate_unit()),
            .adjusted_factorial =
                answer.adjusted ? factorial(*answer.adjusted) : report::no_number(alike, ""),
            .adjusted_how = answer.adjusted_how,
            .reasons = std::move(reasons)};
}

std::string baseline_word(const uptake::BaselineRecovery& baseline) {
    if (baseline.kind == uptake::BaselineKind::routine_hour_matched) {
        return "hour_matched_median";
    }
    std::string word = "resting_plus_";
    for (const char c : baseline.name) {
        if (c >= '0' && c <= '9') {
            word += c;
        }
    }
    return word;
}

Number hours_of(const uptake::RecoveryTime& time, const char* by) {
    if (time.hours) {
        Number out = report::number(*time.hours, "h", by);
        out.interval =
            report::Interval{.low = time.at_least_h,
                             .high = time.at_most_h.value_or(std::numeric_limits<double>::infinity()),
                             .method = time.limits_from};
        return out;
    }
    if (time.at_least_h > 0.0) {
        return at_least_if(true, report::number(time.at_least_h, "h",
                                                time.reason.empty() ? "not reached by then" : time.reason));
    }
    return report::no_number(time.reason.empty() ? "not known" : time.reason, "h");
}

Number excess_of(const std::optional<uptake::Excess>& excess, const Shown& shown, const char* why_not) {
    if (!excess) {
        return report::no_number(why_not, shown.amount_unit());
    }
    Number out = shown.amount(
        excess->amount, fmt::format("{:.2f} to {:.2f} h after time zero", excess->from_h, excess->to_h));
    out.is_at_least = excess->at_least;
    return out;
}

report::BaselineVariant variant_of(const uptake::BaselineRecovery& baseline, bool is_headline,
                                   const Shown& shown) {
    const auto& widest = baseline.capture_plus_handling ? baseline.capture_plus_handling : baseline.tube;
    const auto share = [&](double uptake::Excess::* part, const char* method) {
        return widest ? report::number(100.0 * ((*widest).*part), "%", method)
                      : report::no_number("no excess", "%");
    };
    return {
        .word = baseline_word(baseline),
        .title = baseline.name,
        .is_headline = is_headline,
        .level = report::number(shown.scaled(baseline.level_mg_per_h), shown.rate_unit()),
        .excess_boat_hour = excess_of(baseline.tube, shown, "no excess in the tube"),
        .excess_after_transfer = excess_of(baseline.after_transfer, shown, "no stay after transfer"),
        .capture_plus_handling = excess_of(baseline.capture_plus_handling, shown, "no stay after transfer"),
        .held_back_share_percent =
            share(&uptake::Excess::held_back_share, "from holding the peak back to time zero"),
        .bridged_share_percent = share(&uptake::Excess::bridged_share, "in gaps between the stays"),
        .hours_by_data =
            hours_of(baseline.by_data, "by the data alone: the first spells in a row at or below the level"),
        .hours_by_fit =
            hours_of(baseline.by_fit,
                     "by the fitted decay; a share above rest counts from its asymptote where that is free"),
        .fitted_excess =
            baseline.fitted_excess
                ? at_least_if(baseline.fitted_excess_at_least,
                              shown.amount(*baseline.fitted_excess, "fitted decay to its crossing"))
                : report::no_number("no fit, or no crossing", shown.amount_unit())};
}

struct SpanWords {
    const char* word;
    const char* title;
};

SpanWords words_of(uptake::DecaySpan span) {
    switch (span) {
    case uptake::DecaySpan::through_events:
        return {"through_events", "one decay through everything"};
    case uptake::DecaySpan::events_allowed_for:
        return {"events_allowed_for", "each handling event allowed an excess of its own"};
    case uptake::DecaySpan::ended_at_first_event:
        return {"ended_at_first_event", "ended at the first handling event"};
    }
    return {"", ""};
}

Number half_time_of(const uptake::HalfTime& half, const char* how) {
    return with_plain_interval(report::number(half.hours, "h", how), half.interval, "log scale");
}

report::DecayFit fit_of(const uptake::DecayFit& fit, const Shown& shown) {
    const auto words = words_of(fit.span);
    report::DecayFit out{
        .span = words.word,
        .title = words.title,
        .phases = static_cast<std::uint32_t>(fit.rates_per_h.size()),
        .spells = fit.spells,
        .half_time_h =
            at_least_if(fit.at_least, half_time_of(fit.half_time, "by the fitted decay, events left out")),
        .excess_first_hour =
            at_least_if(fit.at_least, shown.amount(fit.excess_first_hour, "fitted, above its asymptote")),
        .excess_all = at_least_if(fit.at_least,
                                  shown.amount(fit.excess_all, "fitted, above its asymptote, without end"))};
    out.formula = out.phases == 2 ? "B + A1 exp(-k1 t) + A2 exp(-k2 t)" : "B + A exp(-k t)";
    out.parameters.push_back(
        {.word = "baseline",
         .title = fit.baseline_fixed ? "baseline (fixed)" : "baseline (free)",
         .number = report::number(shown.scaled(fit.baseline_mg_per_h), shown.rate_unit())});
    for (std::size_t i = 0; i < fit.rates_per_h.size(); ++i) {
        out.parameters.push_back(
            {.word = fmt::format("amplitude_{}", i + 1),
             .title = fmt::format("amplitude {}", i + 1),
             .number = report::number(shown.scaled(fit.amplitudes_mg_per_h[i]), shown.rate_unit())});
        out.parameters.push_back(
            {.word = fmt::format("rate_{}", i + 1),
             .title = fmt::format("rate {}", i + 1),
             .number = report::number(Measured(fit.rates_per_h[i], fit.rate_errors_per_h[i], "fit"), "1/h")});
    }
    out.curve.x = fit.at_h;
    for (const double y : fit.curve_mg_per_h) {
        out.curve.y.push_back(shown.scaled(y));
    }
    return out;
}

// Uptake of the spells that recovery looked at, with the baseline of their hour.
void add_points(const FishAnswer& fish, const EventAnswer& event, const Shown& shown, report::Recovery& out) {
    const uptake::RoutineUptake* routine =
        fish.rest && fish.rest->resting ? &fish.rest->resting->routine : nullptr;
    // Beyond the crossing nothing is excess.
    const auto& baselines = event.recovery->baselines;
    const double end_h = baselines.empty() || !baselines.front().by_data.hours
                             ? std::numeric_limits<double>::infinity()
                             : *baselines.front().by_data.hours;
    const auto add = [&](const uptake::SpellUptake& spell, const char* part) {
        if (!spell.is_usable() || spell.middle() < event.zero.at) {
            return;
        }
        const double baseline =
            routine == nullptr ? missing : shown.scaled(routine->at(spell.middle()).rate.mg_per_h.value());
        out.points.push_back(
            {.hours = (spell.middle() - event.zero.at).hours(),
             .uptake = shown.scaled(spell.uptake_mg_per_h.value()),
             .standard_uncertainty = shown.scaled(spell.uptake_mg_per_h.standard_uncertainty()),
             .baseline = baseline,
             .part = (spell.middle() - event.zero.at).hours() <= end_h ? part : ""});
    };
    for (const std::size_t i : event.spells) {
        add(event.stay->uptake->spells[i].answer, "boat_hour");
    }
    if (event.event == uptake::PeakEvent::capture && fish.rest) {
        for (const auto& spell : fish.rest->values) {
            add(spell, "after_transfer");
        }
    }
}

report::Recovery recovery_of(const FishAnswer& fish, const EventAnswer& event, const Shown& shown) {
    const auto& recovery = *event.recovery;
    report::Recovery out{
        .after = event_word(event.event),
        .time_zero = event.zero.word,
        .time_zero_at = event.zero.at,
        .half_time_by_data_h =
            recovery.half_time_by_data
                ? at_least_if(recovery.levels_too_high,
                              half_time_of(*recovery.half_time_by_data, "by the data alone"))
                : report::no_number("not reached", "h"),
        .recovered_share_percent =
            recovery.recovered_share_at_tube_end
                ? report::number(100.0 * *recovery.recovered_share_at_tube_end, "%",
                                 recovery.levels_too_high
                                     ? "(peak - uptake)/(peak - rest) at the end of the "
                                       "stay; at most, since rest is too high"
                                     : "(peak - uptake)/(peak - rest) at the end of the stay")
                : report::no_number("no resting uptake or no peak", "%"),
        .reasons = recovery.reasons};
    if (!event.zero.not_from.empty()) {
        out.reasons.push_back({.word = "time_zero", .text = event.zero.not_from});
    }
    for (const auto& baseline : recovery.baselines) {
        out.baselines.push_back(variant_of(baseline, &baseline == &recovery.baselines.front(), shown));
    }
    if (recovery.fit) {
        out.fit = fit_of(*recovery.fit, shown);
    } else {
        out.fit.reason =
            recovery.reasons.empty() ? "no decay could be fitted" : uptake::joined(recovery.reasons);
        out.fit.half_time_h = report::no_number(out.fit.reason, "h");
        out.fit.excess_first_hour = report::no_number(out.fit.reason, shown.amount_unit());
        out.fit.excess_all = out.fit.excess_first_hour;
    }
    for (const auto& fit : recovery.sensitivity) {
        out.sensitivity.push_back(fit_of(fit, shown));
    }
    add_points(fish, event, shown, out);
    const double last_h = out.points.empty() ? 0.0 : out.points.back().hours;
    for (const auto* row : fish.events) {
        const double hours = (row->at - event.zero.at).hours();
        if (hours > 0.0 && hours <= last_h && is_handling(row->kind)) {
            out.events.push_back({.hours = hours, .what = study::word_of(row->kind)});
        }
    }
    return out;
}

report::PairedPeaks pair_of(const uptake::PeakPair& pair, const Shown& shown) {
    const char* alike = "temperatures alike: nothing to adjust";
    return {.after_capture = shown.rate(pair.after_capture),
            .after_chase = shown.rate(pair.after_chase),
            .difference = shown.with_normal_interval(pair.difference, "capture less chase"),
            .ratio = with_plain_interval(report::number(pair.ratio, "", "capture over chase"),
                                         pair.ratio_interval, "log scale"),
            .hours_between = report::number(pair.hours_between, "h"),
            .temperature_difference_celsius =
                report::number(pair.temperature_difference_c, "°C", "capture less chase"),
            .chase_adjusted = pair.chase_adjusted
                                  ? shown.rate(*pair.chase_adjusted, "chase at the temperature of capture")
                                  : report::no_number(alike, shown.rate_unit()),
            .ratio_adjusted =
                pair.ratio_adjusted ? report::number(*pair.ratio_adjusted, "") : report::no_number(alike, ""),
            .differences = pair.differences,
            .reasons = pair.reasons};
}

void add_adjusted(const Answers& answers, const FishAnswer& fish, report::Metrics& out) {
    const auto add = [&](const StayAnswer& stay, const std::string& word, const std::string& title,
                         const uptake::UptakeRate& rate) {
        if (!stay.input.fish || !stay.input.fish->mass_kg) {
            return;
        }
        auto adjusted = uptake::to_standard_mass(rate, *stay.input.fish->mass_kg,
                                                 answers.study.brief.at(stay.stay->from()).adjust);
        if (!adjusted) {
            return;
        }
        out.adjusted.push_back(
            {.word = word + "_to_mass",
             .title = title + ", to the reference mass",
             .number = specific(adjusted->by_exponent.adjusted, adjusted->by_exponent.how)});
        out.adjusted.push_back(
            {.word = word + "_to_mass_check",
             .title = title + ", to the reference mass by the check exponent",
             .number = specific(adjusted->by_check_exponent.adjusted, adjusted->by_check_exponent.how)});
    };
    for (const auto& event : fish.after) {
        if (event.peak) {
            add(*event.stay, "peak_after_" + event_word(event.event), event.peak->name,
                event.peak->corrected);
        }
    }
    if (fish.rest && fish.rest->resting) {
        add(*fish.rest->stay, "resting", fish.rest->resting->name, fish.rest->resting->value.corrected);
    }
}

} // namespace

report::Metrics metrics_of(const Answers& answers, const FishAnswer& fish) {
    const Shown shown(fish);
    report::Metrics out{.drawn_unit = shown.rate_unit()};
    for (const auto& event : fish.after) {
        const Shown by_its_mass(fish, event.stay);
        if (event.peak) {
            out.peaks.push_back(peak_of(event, by_its_mass));
        }
        if (event.scope && *event.scope) {
            out.scopes.push_back(scope_of(event, *fish.rest->resting, by_its_mass));
            out.scopes.back().temperature_difference_celsius =
                report::number(event.peak->temperature_celsius - fish.rest->resting->temperature_mean_celsius,
                               "°C", "peak less rest");
        }
        if (event.recovery) {
            out.recoveries.push_back(recovery_of(fish, event, by_its_mass));
        }
    }
    if (fish.rest && fish.rest->resting) {
        out.resting = resting_of(*fish.rest, Shown(fish, fish.rest->stay));
    }
    if (fish.pair) {
        out.pair = *fish.pair ? pair_of(**fish.pair, shown)
                              : report::PairedPeaks{.missing = fish.pair->error().text()};
    }
    add_adjusted(answers, fish, out);
    for (const auto& one : fish.missing) {
        out.missing.push_back({.name = one.metric, .text = one.why});
    }
    return out;
}

namespace {

template <typename Quantity, typename Read>
Number optional_number(const std::optional<Quantity>& quantity, const Read& read, const char* unit,
                       const char* why) {
    return quantity ? report::as_written(report::number(read(*quantity), unit))
                    : report::no_number(why, unit);
}

report::Encounter encounter_of(const study::Encounter& row) {
    report::Encounter out{
        .id = row.id.text(),
        .at = row.at,
        .at_uncertainty_s = optional_number(
            row.at_uncertainty, [](Duration d) { return d.seconds(); }, "s", "not stated"),
        .method = row.method,
        .who = row.who,
        .where = row.where,
        .rig = row.rig,
        .unhooking = row.unhooking,
        .landing = row.landing,
        .hook_location = row.hook_location,
        .water_temperature_celsius = optional_number(
            row.water_temperature, [](Temperature t) { return t.celsius(); }, "°C", "not written down"),
        .note = row.note};
    for (const auto& cell : row.free) {
        out.columns.push_back({.name = cell.column, .text = cell.value});
    }
    return out;
}

report::Event event_of(const study::Event& row, std::optional<Instant> zero) {
    report::Event out{.at = row.at,
                      .at_uncertainty_s = optional_number(
                          row.at_uncertainty, [](Duration d) { return d.seconds(); }, "s", "not stated"),
                      .word = study::word_of(row.kind),
                      .stay = row.stay.text(),
                      .assembly = row.assembly.text(),
                      .who = row.who,
                      .note = row.note};
    if (row.value) {
        out.value = report::as_written(report::number(*row.value, row.unit));
    }
    if (zero) {
        out.hours = (row.at - *zero).hours();
    }
    return out;
}

// "in shore_4, stay S122; last good moment 2026-06-15 02:00:00"
std::string place_of_death(const FishAnswer& fish) {
    for (const auto* stay : fish.stays) {
        if (stay->stay->ended && *stay->stay->ended == study::StayEnding::died) {
            return fmt::format("in {}, stay {}; last good moment {}", stay->stay->assembly.text(),
                               stay->stay->id.text(),
                               stay->stay->last_good ? iso_text(*stay->stay->last_good) : "not written down");
        }
    }
    return {};
}

std::string joined_by(const std::string& between, std::initializer_list<std::string> parts) {
    std::string out;
    for (const auto& part : parts) {
        out += part.empty() ? "" : (out.empty() ? "" : between) + part;
    }
    return out;
}

} // namespace

namespace {

// What fates.csv and all else tell of it, where no event or stay says how it ended.
report::Fate fate_by_records(const Answers& answers, const FishAnswer& fish) {
    const auto at = static_cast<std::size_t>(fish.fish - answers.study.tables.fish.data());
    const auto& known = answers.condition.fish[at].fate;
    if (!known) {
        return {.word = "not written down"};
    }
    const auto& fate = known->fate;
    const auto seen = fate.last_alive ? "last seen alive " + iso_text(*fate.last_alive) : std::string();
    if (fate.found_dead) {
        return {.word = "died",
                .at = fate.found_dead,
                .text = joined_by("; ", {"found dead " + iso_text(*fate.found_dead), seen, fate.cause})};
    }
    if (fate.lost) {
        return {.word = "lost",
                .at = fate.lost,
                .text = joined_by("; ", {"lost " + iso_text(*fate.lost), seen, fate.cause})};
    }
    if (fate.released) {
        return {.word = "released",
                .at = fate.released,
                .text = joined_by("; ", {"released " + iso_text(*fate.released), seen})};
    }
    return seen.empty() ? report::Fate{.word = "not written down"}
                        : report::Fate{.word = "alive when last seen", .at = fate.last_alive, .text = seen};
}

} // namespace

report::Fate fate_of(const Answers& answers, const FishAnswer& fish) {
    const auto& study = answers.study;
    const auto counts = [&](Instant death) { // one from before the catch is told as a slip
        return !study::is_before_capture(death, fish.fish->id, study.brief, study.tables);
    };
    for (const auto* event : fish.events) {
        if (event->kind == study::EventKind::died && counts(event->at)) {
            const std::string when =
                "about " + iso_text(event->at) +
                (event->at_uncertainty ? fmt::format(", known to {:.0f} min (standard uncertainty)",
                                                     event->at_uncertainty->seconds() / 60.0)
                                       : "");
            return {.word = "died",
                    .at = event->at,
                    .text = "died " + joined_by("; ", {when, place_of_death(fish), event->note})};
        }
    }
    for (const auto* stay : fish.stays) {
        if (stay->stay->ended && *stay->stay->ended == study::StayEnding::died && counts(stay->stay->to())) {
            return {.word = "died", .at = stay->stay->last_good, .text = "died " + place_of_death(fish)};
        }
    }
    auto by_records = fate_by_records(answers, fish);
    if (by_records.word == "died") { // after its release, say
        return by_records;
    }
    for (auto it = fish.events.rbegin(); it != fish.events.rend(); ++it) {
        if ((*it)->kind == study::EventKind::released) {
            return {.word = "released",
                    .at = (*it)->at,
                    .text = "released " + joined_by("; ", {iso_text((*it)->at), (*it)->note})};
        }
    }
    return by_records;
}

namespace {

// Each number by the bounds of the season in which its stay began.
void add_implausible(const Answers& answers, const FishAnswer& fish, report::Metrics& metrics) {
    const auto judge = [&](const StayAnswer& stay, std::optional<double> resting, std::optional<double> peak,
                           std::optional<double> scope) {
        const auto bounds = answers.study.brief.at(stay.stay->from()).plausible;
        for (auto& reason : uptake::implausible(resting, peak, scope, bounds)) {
            metrics.implausible.push_back(std::move(reason));
        }
    };
    if (metrics.resting) {
        judge(*fish.rest->stay, metrics.resting->uptake_mg_per_kg_h.value, std::nullopt, std::nullopt);
    }
    // Metrics hold a peak, and a scope, of each event that has one, in their order.
    std::size_t peak = 0;
    std::size_t scope = 0;
    for (const auto& event : fish.after) {
        if (event.peak && peak < metrics.peaks.size()) {
            judge(*event.stay, std::nullopt, metrics.peaks[peak++].uptake_mg_per_kg_h.value, std::nullopt);
        }
        if (event.scope && event.scope->has_value() && scope < metrics.scopes.size()) {
            judge(*event.stay, std::nullopt, std::nullopt, metrics.scopes[scope++].factorial.value);
        }
    }
}

double standing_density(const Answers& answers, const FishAnswer& fish) {
    const auto& brief = answers.study.brief;
    return (fish.stays.empty() ? brief.uncertainty : brief.uncertainty_at(fish.stays.front()->stay->from()))
        .density_kg_per_l;
}

// fish.csv's mass, else the one that the fish's first stay goes by; what was weighed again is said beside.
void fill_mass(const Answers& answers, const FishAnswer& fish, report::Fish& out) {
    const auto& row = *fish.fish;
    out.mass_g = report::no_number(not_weighed, "g");
    const auto standing = [&](Instant moment, double grams) {
        return answers.study.brief.uncertainty_at(moment).mass_percent / 100.0 * grams;
    };
    const Instant first = fish.stays.empty() ? Instant() : fish.stays.front()->stay->from();
    std::vector<std::string> again;
    for (const auto* stay : fish.stays) {
        if (!stay->mass || stay->mass->weighed == nullptr) {
            continue;
        }
        const auto& event = *stay->mass->weighed;
        again.push_back(fmt::format("{} g weighed {} for stay {}", exact_text(stay->mass->mass.grams()),
                                    iso_text(event.at), stay->stay->id.text()));
        if (!row.mass && !out.mass_g.value && stay->input.fish && stay->input.fish->mass_kg) {
            out.mass_g =
                report::as_written(report::number(*stay->input.fish->mass_kg * 1000.0, "g", "weighed"));
        }
    }
    if (row.mass) {
        const double grams = row.mass->grams();
        const double uncertainty =
            row.mass_uncertainty ? row.mass_uncertainty->grams() : standing(first, grams);
        out.mass_g =
            report::number(Measured(grams, uncertainty, "mass:" + row.id.text()), "g", row.mass_source);
    }
    if (!again.empty()) {
        out.mass_source += fmt::format("{}{}", out.mass_source.empty() ? "" : "; ", fmt::join(again, "; "));
    }
}

} // namespace

std::string event_word(uptake::PeakEvent event) {
    switch (event) {
    case uptake::PeakEvent::capture:
        return "capture";
    case uptake::PeakEvent::chase:
        return "chase";
    case uptake::PeakEvent::handling:
        return "handling";
    }
    return "";
}

report::Fish fish_of(const Answers& answers, const FishAnswer& fish) {
    const auto& row = *fish.fish;
    report::Fish out{.id = row.id.text(),
                     .species = row.species,
                     .tag = row.tag,
                     .group = group_of(answers.study, row),
                     .mass_source = row.mass_source,
                     .fork_length_mm = optional_number(
                         row.fork_length_mm, [](double v) { return v; }, "mm", "not measured"),
                     .density_kg_per_l = report::as_written(report::number(
                         row.density ? row.density->kg_per_l() : standing_density(answers, fish), "kg/L",
                         row.density ? "measured" : "not measured: the brief's")),
                     .metrics = metrics_of(answers, fish),
                     .fate = fate_of(answers, fish),
                     .note = row.note};
    fill_mass(answers, fish, out);
    if (const auto zero = time_zero_of(answers.study, fish)) {
        out.time_zero = zero->at;
        out.time_zero_word = zero->word;
    }
    for (const auto& column : group_columns(answers.study)) {
        out.treatments.push_back({.name = column, .text = column_of(answers.study, row, column)});
    }
    for (const auto& encounter : answers.study.tables.encounters) {
        if (encounter.fish == row.id) {
            out.encounters.push_back(encounter_of(encounter));
        }
    }
    for (const auto* event : fish.events) {
        out.events.push_back(event_of(*event, out.time_zero));
    }
    for (const auto* stay : fish.stays) {
        out.stays.push_back(stay_of(answers, *stay));
    }
    for (const auto& event : fish.after) {
        if (!event.zero.not_from.empty()) {
            out.notes.push_back(event_word(event.event) + ": " + event.zero.not_from);
        }
    }
    add_implausible(answers, fish, out.metrics);
    return out;
}

} // namespace backeddy::app::detail
