#include "uptake/peak.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string_view>

#include "base/number_text.hpp"
#include "fit/quantile.hpp"
#include "fit/selection.hpp"
#include "fit/windows.hpp"
#include "uptake/detail/picking.hpp"

namespace backeddy::uptake {

namespace {

constexpr double seconds_per_hour = 3600.0;
// Of the selection bias's size: the standard uncertainty of the correction (the spell's true bend is not
// known better).
constexpr double correction_doubt = 0.25;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Readings of one spell after the event, without missing ones, cut at gaps. Seconds count from the spell's
// first reading.
struct Run {
    std::size_t spell = 0;
    detail::SearchedRun searched;
    std::vector<std::size_t> rows; ///< of the spell's view
};

std::vector<Run> runs_of(const PeakInput& input, std::size_t index, const PeakSettings& settings) {
    const auto& view = input.spells[index].readings;
    std::vector<std::size_t> rows;
    std::vector<double> steps;
    for (std::size_t i = 0; i < view.times_ns.size(); ++i) {
        if (std::isfinite(view.oxygen_mg_per_l[i]) &&
            Instant::unix_nanoseconds(view.times_ns[i]) >= input.at) {
            if (!rows.empty()) {
                steps.push_back(static_cast<double>(view.times_ns[i] - view.times_ns[rows.back()]) * 1e-9);
            }
            rows.push_back(i);
        }
    }
    const double usual = fit::quantile(steps, 0.5).value_or(0.0);
    std::vector<Run> out;
    for (std::size_t k = 0; k < rows.size(); ++k) {
        if (k == 0 || steps[k - 1] > settings.gap_factor * usual) {
            out.push_back({.spell = index, .searched = {.noise = input.spells[index].noise}, .rows = {}});
        }
        auto& run = out.back();
        run.searched.seconds.push_back(
            static_cast<double>(view.times_ns[rows[k]] - view.times_ns[rows.front()]) * 1e-9);
        run.searched.oxygen.push_back(view.oxygen_mg_per_l[rows[k]]);
        run.rows.push_back(rows[k]);
    }
    return out;
}

// The steepest window of all runs.
struct Steepest {
    std::size_t run = 0;
    fit::WindowLine window;
    double slope = 0.0; ///< mg/L/s, with the lag's transient carried when asked for
    double slope_se = 0.0;
    double level = 0.0; ///< of the plain line at x_mean
};

std::optional<Steepest> steepest_of(const PeakInput& input, std::span<const Run> runs, double window_s) {
    std::optional<Steepest> best;
    for (std::size_t r = 0; r < runs.size(); ++r) {
        const auto& run = runs[r].searched;
        const auto found = fit::steepest_window(
            run.seconds, run.oxygen, {.length = window_s, .least_readings = 3}, fit::Steepest::falling);
        if (found && (!best || found->slope < best->window.slope)) {
            best = Steepest{.run = r,
                            .window = *found,
                            .slope = found->slope,
                            .slope_se = found->slope_se,
                            .level = found->level};
        }
    }
    if (!best) {
        return best;
    }
    const auto& run = runs[best->run];
    const auto& spell = input.spells[run.spell];
    const auto part = [&](const std::vector<double>& column) {
        return std::span(column).subspan(best->window.first, best->window.n());
    };
    const auto seconds = part(run.searched.seconds);
    std::vector<double> x(seconds.begin(), seconds.end());
    if (spell.modelled_lag_s > 0.0) {
        // Seconds count from the run's first row; the fall began at the seal.
        const double began = (spell.readings.sealed_from -
                              Instant::unix_nanoseconds(spell.readings.times_ns[run.rows.front()]))
                                 .seconds() +
                             run.searched.seconds.front();
        x = fit::lagged_times(seconds, began, spell.modelled_lag_s);
        if (const auto line = fit::fit_line(x, part(run.searched.oxygen))) {
            best->slope = line->slope;
            best->slope_se = line->slope_se;
        }
    }
    if (spell.noise.variance() > 0.0) {
        if (const auto modelled = fit::modelled_slope(spell.noise, seconds, x)) {
            best->slope_se = modelled->slope_se;
        }
    }
    return best;
}

struct Ends {
    Instant from;
    Instant to;
    double temperature = nan;
    double saturation_start = nan;
    double saturation_end = nan;
};

double mean_of(std::span<const double> column, const Run& run, const fit::WindowLine& window) {
    double sum = 0.0;
    std::size_t n = 0;
    for (std::size_t i = window.first; i < window.end && !column.empty(); ++i) {
        if (std::isfinite(column[run.rows[i]])) {
            sum += column[run.rows[i]];
            ++n;
        }
    }
    return n == 0 ? nan : sum / static_cast<double>(n);
}

Ends ends_of(const PeakSpell& spell, const Run& run, const Steepest& steepest) {
    const auto& window = steepest.window;
    Ends out;
    out.from = Instant::unix_nanoseconds(spell.readings.times_ns[run.rows[window.first]]);
    out.to = Instant::unix_nanoseconds(spell.readings.times_ns[run.rows[window.end - 1]]);
    out.temperature = mean_of(spell.readings.temperature_celsius, run, window);
    // Of the fitted line, by the window's mean ratio of the two columns.
    const double ratio = mean_of(spell.readings.saturation_percent, run, window) / window.level;
    const auto at = [&](std::size_t i) {
        return ratio * (window.level + (window.slope * (run.searched.seconds[i] - window.x_mean)));
    };
    out.saturation_start = at(window.first);
    out.saturation_end = at(window.end - 1);
    return out;
}

// mg/h of one mg/L/s of slope in a spell's water.
double per_slope(const PeakSpell& spell) {
    return spell.spell->scale.value() * spell.spell->water_volume_l.value() * seconds_per_hour;
}

UptakeRate uptake_of(const PeakInput& input, const PeakSpell& spell, const Steepest& steepest, Instant from) {
    const Measured slope(steepest.slope * seconds_per_hour, steepest.slope_se * seconds_per_hour,
                         "peak slope:" + input.stay + "@" + iso_text(from));
    const Measured total = -(slope * spell.spell->scale * spell.spell->water_volume_l);
    UptakeRate out{.mg_per_h = total - spell.spell->answer.background_mg_per_h, .mg_per_kg_h = std::nullopt};
    if (input.mass_kg) {
        out.mg_per_kg_h = out.mg_per_h / *input.mass_kg;
    }
    return out;
}

detail::Picking picking_of(std::span<const Run> runs, const Steepest& steepest, double window_s,
                           const PeakSettings& settings, std::size_t draws) {
    // Runs whose own steepest window lies far below the winner could not have won: left out, to save time.
    std::vector<detail::SearchedRun> searched;
    for (std::size_t r = 0; r < runs.size(); ++r) {
        const auto found =
            fit::steepest_window(runs[r].searched.seconds, runs[r].searched.oxygen,
                                 {.length = window_s, .least_readings = 3}, fit::Steepest::falling);
        if (found &&
            (r == steepest.run || found->slope < steepest.window.slope + (6.0 * steepest.slope_se))) {
            searched.push_back(runs[r].searched);
        }
    }
    return detail::picking_bias(searched, window_s, draws, settings.seed);
}

PeakCurvePoint curve_point(const PeakInput& input, std::span<const Run> runs, double window_s,
                           const PeakSettings& settings) {
    PeakCurvePoint out;
    out.window_s = window_s;
    const auto steepest = steepest_of(input, runs, window_s);
    if (!steepest) {
        out.reason = "no sealed spell after the event holds an unbroken " + fixed_text(window_s, 0) + " s";
        return out;
    }
    const auto& run = runs[steepest->run];
    const auto& spell = input.spells[run.spell];
    const auto ends = ends_of(spell, run, *steepest);
    const auto rate = uptake_of(input, spell, *steepest, ends.from);
    out.readings = steepest->window.n();
    out.raw_mg_per_h = rate.mg_per_h.value();
    out.error_mg_per_h = steepest->slope_se * per_slope(spell);
    out.relative_error = steepest->slope_se / std::abs(steepest->slope);
    out.picking_mg_per_h =
        picking_of(runs, *steepest, window_s, settings, settings.draws / 2).bias * per_slope(spell);
    out.corrected_mg_per_h = out.raw_mg_per_h - out.picking_mg_per_h;
    out.start_after_event_s = (ends.from - input.at).seconds();
    out.saturation_end_percent = ends.saturation_end;
    return out;
}

void mark(PeakUptake& out, const PeakSpell& spell, const PeakSettings& settings) {
    const auto doubtful = [&](std::string word, std::string text) {
        out.mark = Mark::doubtful;
        out.reasons.push_back({std::move(word), std::move(text)});
    };
    if (!(out.slope_mg_per_l_h < 0.0)) {
        doubtful("no_fall", "oxygen does not fall in the steepest window");
    }
    if (!(out.relative_error <= settings.largest_relative_error)) {
        doubtful("slope_error",
                 "the slope's error is " + fixed_text(100.0 * out.relative_error, 1) + " % of it, over " +
                     fixed_text(100.0 * settings.largest_relative_error, 0) + " %: a longer window may do");
    }
    if (out.saturation_end_percent < settings.saturation_floor_percent) {
        doubtful("low_oxygen", "the window ends at " + fixed_text(out.saturation_end_percent, 1) +
                                   " % of air saturation, under " +
                                   fixed_text(settings.saturation_floor_percent, 0) +
                                   " %: uptake may have been limited");
    }
    if (out.readings < settings.least_readings) {
        doubtful("few_readings", "only " + std::to_string(out.readings) + " readings in the window");
    }
    // What the whole spell was marked for and the window has just been judged for by itself is not repeated.
    constexpr std::array<std::string_view, 8> judged_anew{
        "low_start", "low_oxygen", "slope_error", "falling_uptake", "few_readings", "gap", "missing", "note"};
    for (const auto& reason : spell.spell->answer.reasons) {
        if (spell.spell->answer.mark == Mark::doubtful &&
            std::find(judged_anew.begin(), judged_anew.end(), reason.word) == judged_anew.end()) {
            doubtful(reason.word, "the spell is marked: " + reason.text);
        }
    }
}

void add_whole_spell(PeakUptake& out, const PeakInput& input) {
    bool first = true;
    for (std::size_t i = 0; i < input.spells.size(); ++i) {
        const auto& answer = input.spells[i].spell->answer;
        if (answer.to <= input.at) {
            continue;
        }
        if (first) {
            out.delay_to_seal = std::max(answer.sealed_from, input.at) - input.at;
        }
        if (answer.is_usable()) {
            out.whole_spell = rate_of(answer);
            out.whole_spell_index = i;
            if (!first) {
                out.reasons.push_back({"first_spell_unusable",
                                       "the first sealed spell cannot be used: a later one stands for it"});
            }
            return;
        }
        first = false;
    }
}

Error no_window(const PeakInput& input, std::span<const Run> runs, const PeakSettings& settings) {
    double longest = 0.0;
    for (const auto& run : runs) {
        longest = std::max(longest, run.searched.seconds.back() - run.searched.seconds.front());
    }
    return {.code = ErrorCode::too_few,
            .found = runs.empty() ? "no usable sealed spell after the event at " + iso_text(input.at)
                                  : "the longest unbroken sealed run after the event is " +
                                        fixed_text(longest, 0) + " s",
            .expected = "a peak needs one of " + fixed_text(settings.window.seconds(), 0) + " s",
            .remedy = "look at the spells' marks and gaps, or set a shorter window",
            .place = {},
            .context = {peak_name(input.event) + ", stay " + input.stay}};
}

} // namespace

std::string peak_name(PeakEvent event) {
    switch (event) {
    case PeakEvent::capture:
        return "peak after capture";
    case PeakEvent::chase:
        return "peak after chase";
    case PeakEvent::handling:
        break;
    }
    return "peak after handling";
}

void add_averaging(PeakUptake& peak, double decay_per_h, double baseline_mg_per_h) {
    for (auto& point : peak.curve) {
        if (point.has_value()) {
            const double excess = point.corrected_mg_per_h - baseline_mg_per_h;
            const double share = regression_share(decay_per_h, point.window_s / seconds_per_hour);
            point.averaging_mg_per_h = excess - (excess / share);
        }
    }
}

double averaging_share(double decay_per_h, double window_h, double delay_h) {
    const double a = decay_per_h * window_h;
    const double mean = a == 0.0 ? 1.0 : -std::expm1(-a) / a;
    return std::exp(-decay_per_h * delay_h) * mean;
}

double regression_share(double decay_per_h, double window_h, double delay_h) {
    const double a = decay_per_h * window_h;
    // The closed form loses digits as a^-3; below 0.02 the series to a^4 is exact to 1e-11.
    const double share =
        std::abs(a) < 0.02 ? 1.0 + (a * (-1.0 / 2.0 + (a * (3.0 / 20.0 + (a * (-1.0 / 30.0 + (a / 168.0)))))))
                           : 12.0 / (a * a * a) * ((a / 2.0) - 1.0 + (std::exp(-a) * (1.0 + (a / 2.0))));
    return std::exp(-decay_per_h * delay_h) * share;
}

Expected<PeakUptake> peak_uptake(const PeakInput& input, const PeakSettings& settings) {
    std::vector<Run> runs;
    for (std::size_t i = 0; i < input.spells.size(); ++i) {
        if (input.spells[i].spell->answer.is_usable()) {
            for (auto& run : runs_of(input, i, settings)) {
                runs.push_back(std::move(run));
            }
        }
    }
    const double window_s = settings.window.seconds();
    const auto steepest = steepest_of(input, runs, window_s);
    if (!steepest) {
        return fail(no_window(input, runs, settings));
    }
    const auto& run = runs[steepest->run];
    const auto& spell = input.spells[run.spell];
    const auto ends = ends_of(spell, run, *steepest);

    PeakUptake out;
    out.name = peak_name(input.event);
    out.event = input.event;
    out.event_at = input.at;
    out.spell = run.spell;
    out.window_from = ends.from;
    out.window_to = ends.to;
    out.readings = steepest->window.n();
    out.start_after_event = ends.from - input.at;
    out.clock_uncertainty = input.clock_uncertainty;
    out.air = input.air;
    out.slope_mg_per_l_h = steepest->slope * seconds_per_hour;
    out.slope_error = steepest->slope_se * seconds_per_hour;
    out.relative_error = steepest->slope_se / std::abs(steepest->slope);
    out.temperature_celsius = ends.temperature;
    out.saturation_start_percent = ends.saturation_start;
    out.saturation_end_percent = ends.saturation_end;
    out.raw = uptake_of(input, spell, *steepest, ends.from);

    const auto picking = picking_of(runs, *steepest, window_s, settings, settings.draws);
    out.selection_bias_mg_per_h = picking.bias * per_slope(spell);
    out.selection_bias_error_mg_per_h = picking.bias_error * per_slope(spell);
    if (const auto steady =
            fit::selection_bias(spell.noise, run.searched.seconds, {.length = window_s, .least_readings = 3},
                                {.runs = std::max<std::size_t>(settings.draws, 2),
                                 .seed = settings.seed,
                                 .threads = {.count = 1}})) {
        out.selection_bias_at_most_mg_per_h = steady->bias * per_slope(spell);
    }
    // The steepest of many varies less than any one of them: its own spread is the error of the corrected
    // value.
    Steepest searched = *steepest;
    searched.slope_se = picking.spread > 0.0 ? picking.spread : steepest->slope_se;
    out.corrected = with_uncertainty(
        moved(uptake_of(input, spell, searched, ends.from), -out.selection_bias_mg_per_h),
        std::hypot(correction_doubt * out.selection_bias_mg_per_h, out.selection_bias_error_mg_per_h),
        "peak selection:" + input.stay);
    if (!(spell.noise.variance() > 0.0)) {
        out.reasons.push_back({"noise_unknown",
                               "no noise model of this sensor: the slope's error is the ordinary one "
                               "and the selection bias is not known"});
    }
    add_whole_spell(out, input);
    for (const double length : settings.curve_windows_s) {
        out.curve.push_back(curve_point(input, runs, length, settings));
    }
    mark(out, spell, settings);
    return out;
}

} // namespace backeddy::uptake
