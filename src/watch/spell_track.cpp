#include "watch/spell_track.hpp"

#include <algorithm>
#include <cmath>

#include "watch/precision.hpp"

namespace backeddy::watch {

SpellTrack begin_spell(Instant from, double from_s, double settle_s, double planned_s) {
    SpellTrack track;
    track.from = from;
    track.from_s = from_s;
    track.settle_s = settle_s;
    track.planned_s = planned_s;
    return track;
}

void take(SpellTrack& track, double at_s, double mg_per_l, double jumped_by) {
    if (jumped_by != 0.0) {
        track.jump_mg_per_l = std::max(track.jump_mg_per_l, jumped_by);
        track.whole = track.early = track.late = RunningLine();
    }
    const double settled_s = track.from_s + track.settle_s;
    if (at_s < settled_s) {
        return;
    }
    track.whole.add(at_s, mg_per_l);
    const double third = (track.planned_s - track.settle_s) / 3.0;
    if (at_s < settled_s + third) {
        track.early.add(at_s, mg_per_l);
    } else if (at_s >= settled_s + (2.0 * third)) {
        track.late.add(at_s, mg_per_l);
    }
}

std::optional<RunningUptake> running_uptake(const SpellTrack& track, const ChamberPlan& chamber,
                                            double water_l) {
    const auto slope = track.whole.slope();
    const double length = track.whole.to_s() - track.whole.from_s();
    if (!slope || !(length > 0.0)) {
        return std::nullopt;
    }
    const double per_hour = 3600.0 * water_l;
    return RunningUptake{.mg_per_h = -*slope * per_hour,
                         .error_mg_per_h = slope_error(chamber, length) * per_hour};
}

namespace {

void compare_ends(Spell& spell, const SpellTrack& track, const ChamberPlan& chamber, double water_l) {
    const auto early = track.early.slope();
    const auto late = track.late.slope();
    if (!early || !late || track.early.readings() < 8 || track.late.readings() < 8 || !(*early < 0.0)) {
        return;
    }
    const double early_error = slope_error(chamber, track.early.to_s() - track.early.from_s());
    const double late_error = slope_error(chamber, track.late.to_s() - track.late.from_s());
    const double per_hour = -3600.0 * water_l;
    if (*late * per_hour > spell.uptake_mg_per_h + (2.0 * late_error * 3600.0 * water_l)) {
        spell.end_mg_per_h = *late * per_hour;
    }
    spell.late_share = *late / *early;
    spell.late_share_error = std::hypot(late_error, spell.late_share * early_error) / -*early;
}

} // namespace

std::optional<Spell> finished(const SpellTrack& track, const ChamberPlan& chamber, double water_l) {
    constexpr std::size_t least_readings = 10;
    constexpr double least_s = 30.0;
    const auto uptake = running_uptake(track, chamber, water_l);
    if (!uptake || track.whole.readings() < least_readings ||
        track.whole.to_s() - track.whole.from_s() < least_s) {
        return std::nullopt;
    }
    Spell spell{.from = track.from,
                .sealed_s = track.whole.to_s() - track.from_s,
                .uptake_mg_per_h = uptake->mg_per_h,
                .error_mg_per_h = uptake->error_mg_per_h,
                .end_mg_per_h = uptake->mg_per_h};
    compare_ends(spell, track, chamber, water_l);
    return spell;
}

} // namespace backeddy::watch
