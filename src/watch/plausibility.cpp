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

bool moves_by_itself(const ChamberPlan& chamber) {
    const double sd = std::hypot(chamber.noise.white_sd_mg_per_l, chamber.noise.coloured_sd_mg_per_l);
    return chamber.display_step_mg_per_l <= 0.0 || sd > chamber.display_step_mg_per_l;
}

void count_stillness(SensorTrack& track, const ChamberPlan& chamber, double at_s, double change_per_s) {
    const double dt = at_s - track.counted_s;
    track.counted_s = at_s;
    if (track.changed_s == at_s) {
        track.owed_mg_per_l = track.beyond_s = 0.0;
        return;
    }
    if (track.owed_mg_per_l > chamber.display_step_mg_per_l && change_per_s > 0.0) {
        track.beyond_s += dt;
    }
    track.owed_mg_per_l += change_per_s * dt;
}

double frozen_for_s(const SensorTrack& track, const ChamberPlan& chamber) {
    if (!track.believed_s) {
        return 0.0;
    }
    return moves_by_itself(chamber) ? *track.believed_s - track.changed_s : track.beyond_s;
}

bool is_frozen(const SensorTrack& track, const ChamberPlan& chamber, const SensorSettings& settings) {
    const double limit = moves_by_itself(chamber) ? settings.frozen_unsure_after_s : settings.frozen_after_s;
    return frozen_for_s(track, chamber) > limit;
}

void bend(SensorTrack& track) {
    if (track.believed_s) {
        const double level = *track.line.at(*track.believed_s);
        track.line.restart();
        track.line.add(*track.believed_s, level, 1.0);
    }
}

} // namespace backeddy::watch
