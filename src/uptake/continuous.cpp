#include "uptake/continuous.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "base/number_text.hpp"
#include "fit/quantile.hpp"
#include "fit/smooth.hpp"

namespace backeddy::uptake {

namespace {

constexpr double seconds_per_hour = 3600.0;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// Readings drawn together over equal steps; a step without readings is a missing one (bridged by the
// smoother).
struct Steps {
    std::vector<double> seconds;
    std::vector<double> means;
    std::vector<std::int64_t> times_ns;
    fit::NoiseModel noise; ///< of the means
};

// The noise of a mean of k readings a step apart: white noise falls with the root of k; the remembering part
// as the exact variance of its mean, and keeps its memory.
fit::NoiseModel noise_of_means(const fit::NoiseModel& noise, std::size_t k, double interval) {
    if (k <= 1) {
        return noise;
    }
    const auto n = static_cast<double>(k);
    fit::NoiseModel out = noise;
    out.white_sd = noise.white_sd / std::sqrt(n);
    if (noise.is_coloured()) {
        std::vector<double> times(k);
        for (std::size_t i = 0; i < k; ++i) {
            times[i] = static_cast<double>(i) * interval;
        }
        const std::vector<double> weights(k, 1.0 / n);
        auto coloured = noise;
        coloured.white_sd = 0.0;
        out.coloured_sd = std::sqrt(fit::variance_of_sum(coloured, times, weights));
    }
    return out;
}

double usual_step(std::span<const std::int64_t> times_ns) {
    std::vector<double> steps;
    for (std::size_t i = 1; i < times_ns.size(); ++i) {
        steps.push_back(static_cast<double>(times_ns[i] - times_ns[i - 1]) * 1e-9);
    }
    return fit::quantile(steps, 0.5).value_or(1.0);
}

Steps drawn_together(std::span<const std::int64_t> times_ns, std::span<const double> values,
                     const fit::NoiseModel& noise, double step_s) {
    const double interval = usual_step(times_ns);
    const auto k = static_cast<std::size_t>(std::max(1.0, std::floor((step_s / interval) + 1e-6)));
    Steps out;
    out.noise = noise_of_means(noise, k, interval);
    const double width = static_cast<double>(k) * interval;
    std::size_t i = 0;
    while (i < times_ns.size()) {
        const std::size_t first = i;
        double time = 0.0;
        double sum = 0.0;
        std::size_t n = 0;
        while (i < times_ns.size() &&
               static_cast<double>(times_ns[i] - times_ns[first]) * 1e-9 < width - (0.5 * interval)) {
            if (std::isfinite(values[i])) {
                time += static_cast<double>(times_ns[i] - times_ns.front()) * 1e-9;
                sum += values[i];
                ++n;
            }
            ++i;
        }
        // Half a step's readings at least: a mean of fewer would pass for a better one than it is.
        if (2 * n >= k) {
            out.seconds.push_back(time / static_cast<double>(n));
            out.means.push_back(sum / static_cast<double>(n));
            out.times_ns.push_back(times_ns.front() + std::llround(out.seconds.back() * 1e9));
        }
    }
    return out;
}

double step_for(std::span<const std::int64_t> times_ns, const ContinuousSettings& settings) {
    const double span = static_cast<double>(times_ns.back() - times_ns.front()) * 1e-9;
    return std::min(settings.step_s, span / settings.least_steps);
}

double normal_quantile(double level) {
    // By bisection of the error function: a band is drawn once, speed is no matter.
    double low = 0.0;
    double high = 10.0;
    for (int i = 0; i < 80; ++i) {
        const double middle = 0.5 * (low + high);
        (std::erf(middle / std::sqrt(2.0)) < level ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

double relative(const Measured& value) {
    return value.value() != 0.0 ? value.standard_uncertainty() / std::abs(value.value()) : 0.0;
}

Expected<fit::SmoothRate> smoothed(const Steps& steps, double lag_s, std::optional<double> intensity) {
    return fit::smooth_rate(steps.noise, steps.seconds, steps.means,
                            {.sensor_lag = lag_s, .intensity = intensity, .first_imbalance = std::nullopt});
}

void add(ContinuousUptake& out, const Steps& steps, const fit::SmoothRate& rate, double litres,
         double background, double z, int piece) {
    for (std::size_t i = 0; i < steps.seconds.size(); ++i) {
        const double uptake = (-rate.rate[i] * litres * seconds_per_hour) - background;
        const double half = z * rate.rate_se[i] * litres * seconds_per_hour;
        out.at.push_back(Instant::unix_nanoseconds(steps.times_ns[i]));
        out.mg_per_h.push_back(uptake);
        out.low_mg_per_h.push_back(uptake - half);
        out.high_mg_per_h.push_back(uptake + half);
        out.piece.push_back(piece);
    }
}

Error nothing_to_draw(const std::string& why) {
    return {.code = ErrorCode::too_few,
            .found = why,
            .expected = "a curve in time needs a sealed spell of at least five readings with known noise",
            .remedy = "the uptake by spell is what there is",
            .place = {},
            .context = {"continuous uptake"}};
}

Error out_of_range(const std::string& what, const std::string& expected) {
    return {.code = ErrorCode::out_of_range,
            .found = what,
            .expected = expected,
            .remedy =
                "give the flow, the water's volume and the inflow's oxygen, or draw sealed spells alone",
            .place = {},
            .context = {"continuous uptake through flushes"}};
}

// What the flush has brought into the chamber so far, mg/L, as the lagging sensor sees it.
std::vector<double> brought_as_seen(const ThroughFlushes& input) {
    const std::size_t n = input.times_ns.size();
    const double turnover = input.flow_l_per_min.value() / 60.0 / input.water_volume_l.value(); // per second
    // The water's own oxygen is the reading of one lag later, to second order in the lag.
    const auto water = [&](std::size_t i) {
        const auto then = input.times_ns[i] + std::llround(input.sensor_lag_s * 1e9);
        auto j = static_cast<std::size_t>(
            std::lower_bound(input.times_ns.begin(), input.times_ns.end(), then) - input.times_ns.begin());
        j = std::min(j, n - 1);
        while (j > 0 && !std::isfinite(input.oxygen_mg_per_l[j])) {
            --j;
        }
        if (j == 0 || input.times_ns[j] <= then || !std::isfinite(input.oxygen_mg_per_l[j - 1])) {
            return input.oxygen_mg_per_l[j];
        }
        const double u = static_cast<double>(then - input.times_ns[j - 1]) /
                         static_cast<double>(input.times_ns[j] - input.times_ns[j - 1]);
        return input.oxygen_mg_per_l[j - 1] + (u * (input.oxygen_mg_per_l[j] - input.oxygen_mg_per_l[j - 1]));
    };
    const auto inflow = [&](std::size_t i) {
        return input.state[i] == ChamberState::flush ? turnover * (input.inflow_mg_per_l[i] - water(i)) : 0.0;
    };
    std::vector<double> seen(n, 0.0);
    double brought = 0.0;
    double rate = inflow(0);
    for (std::size_t i = 1; i < n; ++i) {
        const double dt = static_cast<double>(input.times_ns[i] - input.times_ns[i - 1]) * 1e-9;
        const double next = inflow(i);
        const double after = brought + (0.5 * dt * (rate + next));
        if (input.sensor_lag_s > 0.0) {
            // First-order lag of a ramp from `brought` to `after`, exact.
            const double ramp = (after - brought) / dt;
            const double keep = std::exp(-dt / input.sensor_lag_s);
            seen[i] = after - (ramp * input.sensor_lag_s) +
                      ((seen[i - 1] - brought + (ramp * input.sensor_lag_s)) * keep);
        } else {
            seen[i] = after;
        }
        brought = after;
        rate = next;
    }
    return seen;
}

} // namespace

namespace {

/// A spell's readings drawn together, ready to be smoothed.
struct Piece {
    const PeakSpell* spell = nullptr;
    Steps steps;
};

std::vector<Piece> pieces_of(std::span<const PeakSpell> spells, const ContinuousSettings& settings) {
    std::vector<const PeakSpell*> usable;
    double seconds = 0.0;
    for (const auto& spell : spells) {
        const auto& times = spell.readings.times_ns;
        if (spell.spell->answer.is_usable() && times.size() >= 5) {
            usable.push_back(&spell);
            seconds += static_cast<double>(times.back() - times.front()) * 1e-9;
        }
    }
    auto longer = settings;
    longer.step_s = std::max(settings.step_s, seconds / settings.most_steps);
    std::vector<Piece> out;
    for (const auto* spell : usable) {
        const auto& view = spell->readings;
        out.push_back({.spell = spell,
                       .steps = drawn_together(view.times_ns, view.oxygen_mg_per_l, spell->noise,
                                               step_for(view.times_ns, longer))});
    }
    return out;
}

} // namespace

Expected<ContinuousUptake> continuous_sealed(std::span<const PeakSpell> spells,
                                             const ContinuousSettings& settings) {
    const auto pieces = pieces_of(spells, settings);
    if (pieces.size() > settings.most_spells) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = std::to_string(pieces.size()) + " sealed spells in one stay",
                     .expected = "at most " + std::to_string(settings.most_spells) +
                                 ": more stand closer than a figure can show",
                     .remedy = "the uptake by spell is the curve",
                     .place = {},
                     .context = {"continuous uptake"}});
    }
    ContinuousUptake out;
    out.how = "sealed spells, each for itself";
    std::vector<double> intensities;
    const std::size_t wanted = std::max<std::size_t>(1, std::min(settings.roughness_from, pieces.size()));
    for (std::size_t k = 0; k < wanted && !pieces.empty(); ++k) {
        const auto& piece = pieces[k * pieces.size() / wanted];
        if (const auto rate = smoothed(piece.steps, piece.spell->modelled_lag_s, std::nullopt)) {
            intensities.push_back(rate->intensity);
        }
    }
    if (intensities.empty()) {
        return fail(nothing_to_draw(std::to_string(spells.size()) + " spells, none of which gives a curve"));
    }
    const double intensity = fit::quantile(intensities, 0.5).value_or(intensities.front());
    const double z = normal_quantile(settings.level);
    for (std::size_t i = 0; i < pieces.size(); ++i) {
        const auto& spell = *pieces[i].spell;
        const auto rate = smoothed(pieces[i].steps, spell.modelled_lag_s, intensity);
        if (!rate) {
            out.reasons.push_back(
                {"no_curve", "spell of " + iso_text(spell.spell->answer.from) + ": " + rate.error().text()});
            continue;
        }
        const Measured litres = spell.spell->water_volume_l * spell.spell->scale;
        out.scale_uncertainty = std::max(out.scale_uncertainty, relative(litres));
        add(out, pieces[i].steps, *rate, litres.value(), spell.spell->answer.background_mg_per_h.value(), z,
            static_cast<int>(i));
    }
    return out;
}

Expected<ContinuousUptake> continuous_through_flushes(const ThroughFlushes& input,
                                                      const ContinuousSettings& settings) {
    const std::size_t n = input.times_ns.size();
    if (input.oxygen_mg_per_l.size() != n || input.state.size() != n || input.inflow_mg_per_l.size() != n) {
        return fail(out_of_range("columns of unequal length", "all columns must have one length"));
    }
    if (n < 5) {
        return fail(nothing_to_draw(std::to_string(n) + " readings"));
    }
    if (!(input.water_volume_l.value() > 0.0) || !(input.flow_l_per_min.value() >= 0.0)) {
        return fail(out_of_range("a water volume of " + significant_text(input.water_volume_l.value(), 4) +
                                     " L and a flow of " + significant_text(input.flow_l_per_min.value(), 4) +
                                     " L/min",
                                 "the volume must be above 0 and the flow not below"));
    }
    for (std::size_t i = 0; i < n; ++i) {
        if (input.state[i] == ChamberState::flush && !std::isfinite(input.inflow_mg_per_l[i])) {
            return fail(out_of_range("a flush at " + iso_text(Instant::unix_nanoseconds(input.times_ns[i])) +
                                         " whose inflow's oxygen is not known",
                                     "a curve through flushes needs it"));
        }
    }
    const auto brought = brought_as_seen(input);
    std::vector<double> without(n, nan);
    for (std::size_t i = 0; i < n; ++i) {
        without[i] = input.oxygen_mg_per_l[i] - brought[i]; // NaN stays NaN
    }
    const double span = static_cast<double>(input.times_ns.back() - input.times_ns.front()) * 1e-9;
    const auto steps = drawn_together(input.times_ns, without, input.noise,
                                      std::max(settings.step_s, span / settings.most_steps));
    const auto rate = smoothed(steps, input.sensor_lag_s, std::nullopt);
    if (!rate) {
        return fail(nothing_to_draw(rate.error().text()));
    }
    ContinuousUptake out;
    out.how = "through flushes, inflow known";
    out.scale_uncertainty = std::hypot(relative(input.water_volume_l), relative(input.flow_l_per_min));
    add(out, steps, *rate, input.water_volume_l.value(), input.background_mg_per_h,
        normal_quantile(settings.level), 0);
    return out;
}

} // namespace backeddy::uptake
