#pragma once
// The sealed spell that is running: its line, and what is odd about it.

#include <optional>

#include "watch/plan.hpp"
#include "watch/stay.hpp"
#include "watch/trend.hpp"

namespace backeddy::watch {

/// Running sums of one sealed spell, after settle.
struct SpellTrack {
    Instant from;
    double from_s = 0.0; ///< steady, of the sealing
    double settle_s = 0.0;
    double planned_s = 0.0;
    RunningLine whole;
    RunningLine early;          ///< the first third after settle
    RunningLine late;           ///< the last third of what was planned
    double jump_mg_per_l = 0.0; ///< the largest step up that was accepted as a new level
};

[[nodiscard]] SpellTrack begin_spell(Instant from, double from_s, double settle_s, double planned_s);
/// A believed reading; those of the settle time are passed over. A reading that is a new level after a jump
/// begins the lines anew: no slope crosses a step.
void take(SpellTrack& track, double at_s, double mg_per_l, double jumped_by);

/// Uptake so far with its standard error, mg/h; nothing before three readings.
struct RunningUptake {
    double mg_per_h = 0.0;
    double error_mg_per_h = 0.0;
};
[[nodiscard]] std::optional<RunningUptake> running_uptake(const SpellTrack& track, const ChamberPlan& chamber,
                                                          double water_l);

/// The spell as it is kept; nothing when its line holds under 10 readings or 30 s: too short to tell anything
/// (common practice, no source).
[[nodiscard]] std::optional<Spell> finished(const SpellTrack& track, const ChamberPlan& chamber,
                                            double water_l);

} // namespace backeddy::watch
