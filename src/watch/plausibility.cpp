#include "watch/plausibility.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::watch {

namespace {

double memory_s(const Plan& plan, const ChamberPlan& chamber) {
    const auto& sensor = plan.settings.sensor;
    return std::max(sensor.least_memory_s, sensor.memory_intervals * chamber.interval_s);
}

void believe(SensorTrack& track, const Bounds& bounds, double at_s, double value) {
    if (!track.believed_s || value != track.value) {
        track.changed_s = at_s;
    }
    track.value = value;
    track.believed_s = at_s;
    track.odd = 0;
    track.line.add(at_s, value, bounds.memory_s);
}

void doubt(SensorTrack& track, double at_s, double value) {
    if (track.odd == 0) {
        track.odd_since_s = at_s;
    }
    ++track.odd;
    track.odd_value = value;
    track.odd_seen_s = at_s;
}

/// What the next reading should be: the running line, but never far beyond the last reading, since a line
/// drawn on through a gap says nothing.
double expected(const SensorTrack& track, const Bounds& bounds, double at_s) {
    const double drawn = track.line.at(at_s).value_or(track.value);
    return std::clamp(drawn, track.value - bounds.jump, track.value + bounds.jump);
}

} // namespace

Bounds oxygen_bounds(const Plan& plan, const ChamberPlan& chamber, double full_mg_per_l) {
    const auto& sensor = plan.settings.sensor;
    return {.lowest = sensor.lowest_mg_per_l,
            .highest = sensor.highest_percent / 100.0 * full_mg_per_l,
            .jump = sensor.jump_mg_per_l + (6.0 * chamber.noise.white_sd_mg_per_l),
            .memory_s = memory_s(plan, chamber)};
}

Bounds temperature_bounds(const Plan& plan, const ChamberPlan& chamber) {
    const auto& sensor = plan.settings.sensor;
    return {.lowest = sensor.lowest_celsius,
            .highest = sensor.highest_celsius,
            .jump = sensor.jump_celsius,
            .memory_s = memory_s(plan, chamber)};
}

void take(SensorTrack& track, const SensorSettings& settings, const Bounds& bounds, double at_s,
          std::optional<double> value) {
    track.jumped_by = 0.0;
    if (!value) {
        return;
    }
    track.spoke_s = at_s;
    if (!std::isfinite(*value) || *value < bounds.lowest || *value > bounds.highest) {
        doubt(track, at_s, std::isfinite(*value) ? *value : bounds.highest * 10.0);
        return;
    }
    if (!track.believed_s) {
        believe(track, bounds, at_s, *value);
        return;
    }
    const double was = expected(track, bounds, at_s);
    if (std::abs(*value - was) <= bounds.jump) {
        believe(track, bounds, at_s, *value);
        return;
    }
    if (track.odd > 0 && std::abs(*value - track.odd_value) > bounds.jump) {
        track.odd_since_s = at_s; // odd in another way: counted anew
        track.odd = 0;
    }
    doubt(track, at_s, *value);
    if (track.odd >= settings.believed_after) {
        track.line.restart();
        believe(track, bounds, at_s, *value);
        track.jumped_by = *value - was;
    }
}

double silent_for_s(const SensorTrack& track, double now_s) {
    return now_s - track.spoke_s.value_or(track.watched_from_s);
}

double unbelieved_for_s(const SensorTrack& track, double now_s) {
    return now_s - track.believed_s.value_or(track.watched_from_s);
}

bool is_implausible(const SensorTrack& track, const SensorSettings& settings, double now_s) {
    return track.odd > 0 && unbelieved_for_s(track, now_s) > settings.implausible_after_s &&
           now_s - track.odd_seen_s < settings.silent_after_s;
}

double frozen_for_s(const SensorTrack& track, const ChamberPlan& chamber, double change_per_s) {
    if (!track.believed_s) {
        return 0.0;
    }
    const double stood = *track.believed_s - track.changed_s;
    const double step = chamber.display_step_mg_per_l;
    const auto& noise = chamber.noise;
    const double sd = std::hypot(noise.white_sd_mg_per_l, noise.coloured_sd_mg_per_l);
    if (step <= 0.0 || sd > step) {
        return stood;
    }
    const double change = std::abs(change_per_s);
    return change > 0.0 ? std::max(0.0, stood - (step / change)) : 0.0;
}

} // namespace backeddy::watch
