#include "uptake/recovery.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "base/number_text.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake {

double excess_one_phase(double amplitude, double rate_per_h, double until_h) {
    // expm1 keeps the digits of a short time; at infinity it is -1.
    return -amplitude / rate_per_h * std::expm1(-rate_per_h * until_h);
}

double excess_two_phase(double amplitude_1, double rate_1, double amplitude_2, double rate_2,
                        double until_h) {
    return excess_one_phase(amplitude_1, rate_1, until_h) + excess_one_phase(amplitude_2, rate_2, until_h);
}

double time_to_level(double amplitude, double rate_per_h, double above_baseline) {
    return amplitude <= above_baseline ? 0.0 : std::log(amplitude / above_baseline) / rate_per_h;
}

double half_time(double rate_per_h) {
    return std::numbers::ln2 / rate_per_h;
}

namespace {

// Why the headline's times are lower limits; one reason for all of them has been given already.
void say_why_censored(Recovery& out) {
    if (out.levels_too_high) {
        return;
    }
    const auto& headline = out.baselines.front();
    if (!headline.by_data.hours && !headline.by_data.reason.empty()) {
        out.reasons.push_back({"by_data_at_least", "hours by the data: " + headline.by_data.reason});
    }
    if (!headline.by_fit.hours && out.fit) {
        out.reasons.push_back({"by_fit_at_least", "hours by the fit: " + headline.by_fit.reason});
    }
}

} // namespace

Expected<Recovery> recovery(const RecoveryInput& input, const RecoverySettings& settings) {
    const auto points = detail::points_of(input);
    if (points.empty()) {
        return fail({.code = ErrorCode::too_few,
                     .found = "no usable spell after time zero (" + iso_text(input.time_zero) + ")",
                     .expected = "recovery needs at least one",
                     .remedy = "look at the marks of the stay's spells and at the event that is time zero",
                     .place = {},
                     .context = {"recovery of " + input.fish}});
    }
    std::vector<detail::Baseline> baselines;
    if (input.routine && input.routine->values > 0) {
        baselines.push_back(detail::Baseline::routine(*input.routine));
    }
    const bool has_resting = input.resting && std::isfinite(input.resting->mg_per_h.value());
    if (has_resting) {
        for (const double share : settings.shares_above_resting) {
            baselines.push_back(detail::Baseline::resting_plus(*input.resting, input.resting_name, share));
        }
    }
    if (baselines.empty()) {
        return fail({.code = ErrorCode::too_few,
                     .found = "neither an overnight median nor a resting uptake of this fish",
                     .expected = "an excess needs a level to be measured from",
                     .remedy = "without a resting stay the uptake by spell is what there is",
                     .place = {},
                     .context = {"recovery of " + input.fish}});
    }

    Recovery out;
    out.spells = points.size();
    std::vector<detail::Place> answered_in;
    for (const auto& baseline : baselines) {
        auto answer = detail::recovery_by_data(input, settings, points, baseline);
        detail::add_time_zero(answer.baseline, input, settings, points, baseline);
        out.baselines.push_back(std::move(answer.baseline));
        answered_in.push_back(answer.answered_in);
    }
    if (out.baselines.front().kind != BaselineKind::routine_hour_matched) {
        out.reasons.push_back({"no_routine", "no overnight median of the fish's own: " +
                                                 out.baselines.front().name + " stands in its place"});
    } else if (out.baselines.front().whole_night_used) {
        out.reasons.push_back({"hour_not_held",
                               "the night holds not every hour of the recovery: there the whole "
                               "night's median is the baseline"});
    }
    if (auto reason = detail::levels_too_high(input)) {
        out.levels_too_high = true;
        out.reasons.push_back(
            {std::move(reason->word), reason->text + ", so that excess and times are lower bounds"});
    }
    out.half_time_by_data = detail::half_time_by_data(input, points, baselines.front());
    if (has_resting) {
        const detail::Point* last = nullptr;
        for (const auto& point : points) {
            last = point.place == detail::Place::tube ? &point : last;
        }
        const double start = input.peak ? input.peak->mg_per_h.value() : points.front().mg_per_h();
        const double span = start - input.resting->mg_per_h.value();
        if (last != nullptr && span > 0.0) {
            out.recovered_share_at_tube_end = (start - last->mg_per_h()) / span;
        }
    }
    const detail::RestElsewhere elsewhere(input, settings, points);
    detail::add_fits(out, input, settings, points, baselines, elsewhere);
    for (std::size_t b = 0; b < baselines.size(); ++b) {
        detail::add_limits(out.baselines[b].by_data, elsewhere, points, answered_in[b], baselines[b],
                           out.fit);
        detail::widen_by_time_zero(out.baselines[b].by_data, input.time_zero_uncertainty);
        detail::widen_by_time_zero(out.baselines[b].by_fit, input.time_zero_uncertainty);
    }
    say_why_censored(out);
    return out;
}

} // namespace backeddy::uptake
