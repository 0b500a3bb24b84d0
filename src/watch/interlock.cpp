#include "watch/interlock.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::watch {

namespace {

/// How old the knowledge of the level is: of the last believed reading, or of the last that moved.
double age_s(const InterlockFacts& facts, const ChamberPlan& chamber) {
    constexpr double still_by_chance_s = 10.0;
    const double stood = frozen_for_s(*facts.oxygen, chamber);
    const double late = facts.now_s - *facts.oxygen->believed_s;
    return stood > std::max(still_by_chance_s, 4.0 * chamber.interval_s) ? late + stood : late;
}

} // namespace

std::optional<double> foreseen_level(const InterlockFacts& facts, const ChamberPlan& chamber,
                                     const InterlockSettings& settings) {
    const auto& track = *facts.oxygen;
    if (!track.believed_s) {
        return std::nullopt;
    }
    const double level = *track.line.at(*track.believed_s);
    const double age = age_s(facts, chamber);
    double slope = std::min(0.0, track.line.slope().value_or(0.0));
    if (age > 2.0 * chamber.interval_s) {
        slope = std::min(slope, -facts.expected_fall_mg_per_l_s);
    }
    return level + (slope * (age + chamber.sensor_lag_s + chamber.mixing_s + settings.reaction_s));
}

std::optional<Why> interlock(const InterlockFacts& facts, const ChamberPlan& chamber,
                             const Settings& settings) {
    if (facts.is_unsure) {
        return Why::unsure;
    }
    if (facts.is_unkept) {
        return Why::not_kept;
    }
    const auto& track = *facts.oxygen;
    const auto& limits = settings.interlock;
    if (!track.believed_s || unbelieved_for_s(track, facts.now_s) > limits.unsure_after_s ||
        is_implausible(track, settings.sensor, facts.now_s) || is_frozen(track, chamber, settings.sensor)) {
        return Why::sensor;
    }
    if (facts.has_fish && facts.celsius &&
        !(*facts.celsius >= limits.lowest_celsius && *facts.celsius <= limits.highest_celsius)) {
        return Why::temperature;
    }
    if (facts.has_fish && facts.is_sealed) {
        const auto foreseen = foreseen_level(facts, chamber, limits);
        if (foreseen && *foreseen <= facts.floor_mg_per_l) {
            return Why::floor;
        }
    }
    return std::nullopt;
}

} // namespace backeddy::watch
