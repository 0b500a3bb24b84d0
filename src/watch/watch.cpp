#include "watch/watch.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "watch/alarm_list.hpp"
#include "watch/interlock.hpp"
#include "watch/kept.hpp"

namespace backeddy::watch {

Watch::Watch(Plan plan) : plan_(std::move(plan)) {
    state_.chambers.resize(plan_.chambers.size());
}

Watch::Watch(Plan plan, State state) : plan_(std::move(plan)), state_(std::move(state)) {
    state_.chambers.resize(plan_.chambers.size());
}

Output Watch::step(const Input& input) {
    Output out;
    take_time(input.now, out);
    if (input.machine) {
        state_.machine = *input.machine;
    }
    take_readings(input.readings, out);
    for (const auto& hand : input.hands) {
        take_hand(hand, out);
    }
    for (std::size_t i = 0; i < state_.chambers.size(); ++i) {
        step_chamber(i, out);
    }
    attend_station(out);
    attend_flood(state_, plan_.settings, now_, out.events);
    state_.last = now_;
    state_.has_begun = true;
    return out;
}

void Watch::begin_in_other_time(const Now& now, Output& out) {
    for (std::size_t i = 0; i < state_.chambers.size(); ++i) {
        if (state_.chambers[i].cycle.phase == Phase::sealed) {
            out.events.push_back({.at = now.wall,
                                  .chamber = i,
                                  .what = PhaseBegan{.phase = Phase::flush, .why = Why::unsure}});
        }
    }
    state_ = resume(keep(state_, plan_), plan_, now);
}

void Watch::take_time(const Now& now, Output& out) {
    const auto& settings = plan_.settings;
    const bool is_other_time =
        state_.has_begun && (now.boot != state_.last.boot || now.steady_s < state_.last.steady_s);
    if (is_other_time) {
        begin_in_other_time(now, out);
    }
    if (state_.has_begun) {
        away_s_ = now.steady_s - state_.last.steady_s;
        was_away_ = away_s_ > settings.interlock.longest_step_gap_s;
        clock_step_s_ = (now.wall - state_.last.wall).seconds() - away_s_;
    } else {
        away_s_ = state_.kept_at ? (now.wall - *state_.kept_at).seconds() : 0.0;
        was_away_ = is_other_time || away_s_ > settings.machine.longest_restart_s;
        clock_step_s_ = 0.0;
        for (auto& chamber : state_.chambers) {
            chamber.oxygen.watched_from_s = chamber.temperature.watched_from_s = now.steady_s;
            chamber.cycle.since_s = now.steady_s;
        }
    }
    is_unsure_ = !state_.has_begun || was_away_;
    clock_stepped_ = std::abs(clock_step_s_) > settings.machine.clock_step_s;
    now_ = now;
}

namespace {

/// A stretch without readings is over: it is recorded.
void record_gap(const SensorTrack& track, const Reading& reading, double longest_s, Instant at, Output& out) {
    const double gap = reading.steady_s - track.spoke_s.value_or(reading.steady_s);
    if (reading.value && gap > longest_s) {
        out.events.push_back(
            {.at = at,
             .chamber = reading.chamber,
             .what = Gap{.temperature = reading.kind == ChannelKind::temperature, .length_s = gap}});
    }
}

} // namespace

void Watch::take_readings(const std::vector<Reading>& readings, Output& out) {
    const auto& sensor = plan_.settings.sensor;
    for (const auto& reading : readings) {
        if (reading.chamber && *reading.chamber >= state_.chambers.size()) {
            continue;
        }
        const bool is_oxygen = reading.kind == ChannelKind::oxygen;
        const ChamberPlan shared;
        const auto& chamber = reading.chamber ? plan_.chambers[*reading.chamber] : shared;
        auto* owner = reading.chamber ? &state_.chambers[*reading.chamber] : nullptr;
        auto& track = owner != nullptr ? (is_oxygen ? owner->oxygen : owner->temperature)
                                       : (is_oxygen ? state_.inflow_oxygen : state_.inflow_temperature);
        const double celsius = reading.chamber
                                   ? facts_of(*reading.chamber).celsius.value_or(chamber.temperature_celsius)
                                   : chamber.temperature_celsius;
        const auto bounds = is_oxygen ? oxygen_bounds(plan_, chamber, full_mg_per_l(plan_, celsius))
                                      : temperature_bounds(plan_, chamber);
        record_gap(track, reading, std::max(5.0 * chamber.interval_s, 10.0), now_.wall, out);
        watch::take(track, sensor, bounds, reading.steady_s, reading.value);
        if (owner != nullptr && is_oxygen) {
            // Under a dead pump the water has to fall as under a lid.
            const bool falls = owner->cycle.phase == Phase::sealed || owner->cycle.pump_is_failing;
            const double water = water_beside_fish_l(chamber, owner->stay.mass_kg);
            const double fall = expected_uptake(owner->stay, plan_.settings.course) / water / 3600.0;
            count_stillness(track, chamber, reading.steady_s, falls ? fall : 0.0);
        }
        const bool is_believed = track.believed_s == reading.steady_s;
        if (owner != nullptr && is_oxygen && is_believed && owner->cycle.phase == Phase::sealed) {
            watch::take(owner->spell, reading.steady_s, track.value, track.jumped_by);
        }
    }
}

ChamberFacts Watch::facts_of(std::size_t i) const {
    const auto& chamber = plan_.chambers[i];
    const auto& state = state_.chambers[i];
    const auto& settings = plan_.settings;
    ChamberFacts facts{
        .now = now_, .plan = &plan_, .chamber = &chamber, .cycle = &settings.cycle(state.stay.role)};
    facts.celsius = chamber.has_temperature ? state.temperature.line.at(state.temperature.line.at_s())
                                            : std::optional(chamber.temperature_celsius);
    facts.full_mg_per_l = full_mg_per_l(plan_, facts.celsius.value_or(chamber.temperature_celsius));
    const auto& track = state.oxygen;
    if (track.believed_s && unbelieved_for_s(track, now_.steady_s) <= settings.interlock.unsure_after_s) {
        facts.level_mg_per_l = track.line.at(now_.steady_s);
        facts.slope_mg_per_l_s = track.line.slope();
    }
    const auto& inflow = state_.inflow_oxygen;
    const double percent = state.inflow_percent > 0.0 ? state.inflow_percent : settings.flush.inflow_percent;
    facts.inflow_mg_per_l = percent / 100.0 * facts.full_mg_per_l;
    constexpr double believed_error = 0.03; // calibration, and a bath not in balance with the air
    constexpr double known_error = 0.005;   // tide and sun since the last flush
    facts.inflow_error_mg_per_l =
        (state.inflow_percent > 0.0 ? known_error : believed_error) * facts.full_mg_per_l;
    if (inflow.believed_s && unbelieved_for_s(inflow, now_.steady_s) < settings.sensor.silent_after_s) {
        facts.inflow_mg_per_l = *inflow.line.at(*inflow.believed_s); // another sensor: its own calibration
    }
    facts.uptake_mg_per_h = expected_uptake(state.stay, settings.course);
    return facts;
}

/// A lock that lasts a moment is none: the alarm's delay counts here too.
bool Watch::is_unkept() const {
    return !state_.machine.readings_are_kept &&
           state_.station_alarms[static_cast<std::size_t>(Cause::disk)].active;
}

CycleFacts Watch::cycle_facts_of(std::size_t i, const ChamberFacts& facts) const {
    const auto& state = state_.chambers[i];
    const auto& settings = plan_.settings;
    const double floor = facts.cycle->floor_percent / 100.0 * facts.full_mg_per_l;
    const double water = water_beside_fish_l(*facts.chamber, state.stay.mass_kg);
    const InterlockFacts lock{.now_s = now_.steady_s,
                              .is_unsure = is_unsure_,
                              .is_unkept = is_unkept(),
                              .is_sealed = state.cycle.phase == Phase::sealed,
                              .has_fish = state.stay.has_fish(),
                              .oxygen = &state.oxygen,
                              .celsius = facts.celsius,
                              .floor_mg_per_l = floor,
                              .expected_fall_mg_per_l_s = facts.uptake_mg_per_h / water / 3600.0};
    return {.now_s = now_.steady_s,
            .stay = &state.stay,
            .settings = facts.cycle,
            .flush = &settings.flush,
            .chamber = facts.chamber,
            .clear_for_s = settings.interlock.clear_for_s,
            .interlock = interlock(lock, *facts.chamber, settings),
            .level_mg_per_l = facts.level_mg_per_l,
            .full_mg_per_l = facts.full_mg_per_l,
            .inflow_mg_per_l = facts.inflow_mg_per_l,
            .uptake_mg_per_h = facts.uptake_mg_per_h};
}

namespace {

SpellEnded told(const SpellTrack& track, const std::optional<Spell>& spell, double now_s, Why why,
                double water_l) {
    SpellEnded ended{.sealed_s = now_s - track.from_s, .planned_s = track.planned_s, .why = why};
    if (spell) {
        ended.uptake_mg_per_h = spell->uptake_mg_per_h;
        ended.slope_mg_per_l_h = -spell->uptake_mg_per_h / water_l;
        ended.slope_error_mg_per_l_h = spell->error_mg_per_h / water_l;
        ended.usable = true;
    }
    return ended;
}

} // namespace

void Watch::note_phase(std::size_t i, Phase before, const PhaseBegan& began, Output& out) {
    auto& state = state_.chambers[i];
    const auto facts = facts_of(i);
    const double water = water_beside_fish_l(*facts.chamber, state.stay.mass_kg);
    if (before == Phase::sealed) {
        const auto spell = finished(state.spell, *facts.chamber, water);
        out.events.push_back({.at = now_.wall,
                              .chamber = i,
                              .what = told(state.spell, spell, now_.steady_s, began.why, water)});
        judge_spell(state, facts, state.spell, spell);
        if (spell) {
            auto& spells = state.stay.spells;
            spells.push_back(*spell);
            if (spells.size() > plan_.settings.course.spells_kept) {
                spells.erase(spells.begin());
            }
        }
    }
    bend(state.oxygen);
    if (began.phase == Phase::sealed) {
        state.spell = begin_spell(now_.wall, now_.steady_s, facts.cycle->settle_s, began.planned_s);
    }
    out.events.push_back({.at = now_.wall, .chamber = i, .what = began});
}

void Watch::step_chamber(std::size_t i, Output& out) {
    auto& state = state_.chambers[i];
    if (state.stay.use == Use::cleaning && state.stay.cleaning_until &&
        now_.wall >= *state.stay.cleaning_until) {
        state.stay = Stay();
    }
    const auto facts = facts_of(i);
    judge_flush(state, facts);
    const auto cycle_facts = cycle_facts_of(i, facts);
    const Phase before = state.cycle.phase;
    const auto flush = state.cycle; // its course is forgotten where it ends
    if (const auto began = advance(state.cycle, cycle_facts)) {
        learn_inflow(state, flush, facts);
        note_phase(i, before, *began, out);
    }
    attend_chamber(i, out);
    out.commands.push_back(
        {.chamber = i, .pump = state.cycle.phase, .good_for_s = plan_.settings.command_good_for_s});
}

namespace {

bool is_of_station(Cause cause) {
    return cause >= Cause::clock_step;
}

} // namespace

void Watch::attend_chamber(std::size_t i, Output& out) {
    auto& state = state_.chambers[i];
    const auto facts = facts_of(i);
    for (const auto& row : all_causes()) {
        if (!is_of_station(row.cause)) {
            attend(state_, state.alarms, {.cause = row.cause, .chamber = i}, look(row.cause, state, facts),
                   is_off_by_design(row.cause, state.stay, facts), plan_.settings, now_, out.events);
        }
    }
}

void Watch::attend_station(Output& out) {
    const auto& settings = plan_.settings.machine;
    const auto& machine = state_.machine;
    const auto one = [&](Cause cause, bool is_there, const std::string& words) {
        const Found found{.sign = is_there ? Sign::there : Sign::gone,
                          .words = is_there ? words : std::string()};
        attend(state_, state_.station_alarms, {.cause = cause, .chamber = std::nullopt}, found, false,
               plan_.settings, now_, out.events);
    };
    one(Cause::clock_step, clock_stepped_, fmt::format("the clock stepped by {:+.1f} s", clock_step_s_));
    const bool is_low = machine.disk_free_mb && *machine.disk_free_mb < settings.disk_low_mb;
    one(Cause::disk, is_low || !machine.readings_are_kept,
        machine.readings_are_kept
            ? fmt::format("{:.0f} MB left on the disk", machine.disk_free_mb.value_or(0.0))
            : "the last samples could not be written");
    const bool is_off_mains = machine.on_mains && !*machine.on_mains;
    const bool is_battery_low =
        machine.battery_percent && *machine.battery_percent < settings.battery_low_percent;
    one(Cause::power, is_off_mains || is_battery_low,
        machine.battery_percent ? fmt::format("battery at {:.0f} %", *machine.battery_percent)
                                : "mains power is gone");
    one(Cause::watch_away, was_away_, fmt::format("no step for {:.0f} s", away_s_));
}

Glance Watch::glance(std::size_t i) const {
    const auto& state = state_.chambers[i];
    const auto facts = facts_of(i);
    Glance shown{.name = plan_.chambers[i].name,
                 .use = state.stay.use,
                 .phase = state.cycle.phase,
                 .why = state.cycle.why,
                 .by_hand = state.cycle.hand.has_value(),
                 .floor_percent = facts.cycle->floor_percent,
                 .celsius = facts.celsius,
                 .next_change_s = next_change_s(state.cycle, cycle_facts_of(i, facts))};
    if (facts.level_mg_per_l) {
        shown.oxygen_percent = facts.percent(*facts.level_mg_per_l);
    }
    if (state.cycle.phase == Phase::sealed) {
        shown.uptake = running_uptake(state.spell, *facts.chamber,
                                      water_beside_fish_l(*facts.chamber, state.stay.mass_kg));
    }
    if (!shown.uptake && !state.stay.spells.empty()) {
        const auto& last = state.stay.spells.back();
        shown.uptake = RunningUptake{.mg_per_h = last.uptake_mg_per_h, .error_mg_per_h = last.error_mg_per_h};
    }
    for (const auto& row : all_causes()) {
        const auto& alarm = state.alarms[static_cast<std::size_t>(row.cause)];
        if (is_listed(alarm) && (!shown.worst || row.priority < info(*shown.worst).priority)) {
            shown.worst = row.cause;
        }
        shown.sounds = shown.sounds || sounds(alarm, rule_of(row.cause), now_.steady_s);
    }
    return shown;
}

} // namespace backeddy::watch
