#include "watch/signs.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace backeddy::watch {

namespace {

/// Words are made only where they are needed: most signs, most of the time, are not there.
template <typename Words>
Found with(Sign sign, const Words& words) {
    return {.sign = sign, .words = sign == Sign::there ? std::string(words()) : std::string()};
}

template <typename Words>
Found when(bool is_there, const Words& words) {
    return with(is_there ? Sign::there : Sign::gone, words);
}
double in_flush_s(const ChamberState& state, const ChamberFacts& facts) {
    return state.cycle.phase == Phase::flush ? facts.now.steady_s - state.cycle.since_s : 0.0;
}

/// Nothing is known of the oxygen: what the oxygen said before still stands. The sensor has alarms of its
/// own.
Found not_known() {
    return {.sign = Sign::as_before, .words = {}};
}

Found oxygen_low(const ChamberState& state, const ChamberFacts& facts) {
    if (!state.stay.has_fish()) {
        return {};
    }
    if (!facts.level_mg_per_l) {
        return not_known();
    }
    const auto& course = facts.plan->settings.course;
    const double percent = facts.percent(*facts.level_mg_per_l);
    const double limit = facts.cycle->floor_percent - course.low_below_floor_percent;
    return with(sign_below(percent, limit, course.low_deadband_percent), [&] {
        return fmt::format("oxygen {:.0f} %, floor {:.0f} %", percent, facts.cycle->floor_percent);
    });
}

Found oxygen_falling(const ChamberState& state, const ChamberFacts& facts) {
    if (!state.stay.has_fish()) {
        return {};
    }
    if (!facts.level_mg_per_l || !facts.slope_mg_per_l_s) {
        return not_known();
    }
    const double turnover = turnover_s(*facts.chamber, state.stay.mass_kg);
    const double elapsed = in_flush_s(state, facts);
    if (elapsed < std::max(0.5 * turnover, 2.0 * seen_after_s(*facts.chamber))) {
        return {};
    }
    const auto& course = facts.plan->settings.course;
    const double ahead = facts.percent(*facts.level_mg_per_l + (*facts.slope_mg_per_l_s * course.ahead_s));
    return with(sign_below(ahead, facts.cycle->floor_percent, course.low_deadband_percent), [&] {
        return fmt::format("in flush and {:.0f} % in {:.0f} min, floor {:.0f} %", ahead,
                           course.ahead_s / 60.0, facts.cycle->floor_percent);
    });
}

Found flush_failing(const ChamberState& state, const ChamberFacts& facts) {
    if (state.cycle.phase != Phase::flush) {
        return {.sign = Sign::as_before, .words = {}};
    }
    if (!state.stay.is_used()) {
        return {};
    }
    if (!facts.level_mg_per_l || !state.cycle.course) {
        return not_known();
    }
    return when(state.cycle.pump_is_failing, [&] {
        return fmt::format("oxygen {:.0f} % after {:.1f} min of flush, predicted {:.0f} %",
                           facts.percent(*facts.level_mg_per_l), in_flush_s(state, facts) / 60.0,
                           facts.percent(state.cycle.course->working_at(facts.now.steady_s)));
    });
}

constexpr double sure = 0.15; ///< standard error of an uptake over the uptake

/// Uptake from the flush's own balance, R = F (C_in - C) - V dC/dt, for a fish that was never sealed (open
/// respirometry with the wash-out correction; Steffensen 1989, Niimi 1978, both from memory). Nothing while
/// it is not sure, which with a strong pump it never is.
std::optional<double> uptake_in_flush(const ChamberState& state, const ChamberFacts& facts) {
    const auto& course = state.cycle.course;
    if (!course || !facts.level_mg_per_l || state.cycle.phase != Phase::flush) {
        return std::nullopt;
    }
    const double elapsed = facts.now.steady_s - course->from_s;
    if (elapsed < 2.0 * seen_after_s(*facts.chamber) || elapsed > 1.5 * course->turnover_s) {
        return std::nullopt; // a straight line between the ends stands for the curve
    }
    const double flow = 60.0 * facts.chamber->flow_l_per_min;
    const double per_rise = 3600.0 * water_beside_fish_l(*facts.chamber, state.stay.mass_kg) / elapsed;
    const double mean = (course->start_mg_per_l + *facts.level_mg_per_l) / 2.0;
    const double rise = *facts.level_mg_per_l - course->start_mg_per_l;
    const double uptake = (flow * (facts.inflow_mg_per_l - mean)) - (per_rise * rise);
    const double error = std::hypot(flow * facts.inflow_error_mg_per_l,
                                    per_rise * std::sqrt(2.0) * level_error(*facts.plan, *facts.chamber));
    return error < sure * uptake ? std::optional(uptake) : std::nullopt;
}

/// Uptake by which the pump is judged: the running spell's once it is sure, else the last spell's, else the
/// flush's.
std::optional<double> known_uptake(const ChamberState& state, const ChamberFacts& facts) {
    if (state.cycle.phase == Phase::sealed) {
        const double water = water_beside_fish_l(*facts.chamber, state.stay.mass_kg);
        const auto running = finished(state.spell, *facts.chamber, water); // long enough to tell anything
        if (running && running->error_mg_per_h < sure * running->uptake_mg_per_h) {
            return running->uptake_mg_per_h;
        }
    }
    return state.stay.spells.empty() ? uptake_in_flush(state, facts) : std::optional(facts.uptake_mg_per_h);
}

Found pump_too_small(const ChamberState& state, const ChamberFacts& facts) {
    const auto uptake = state.stay.has_fish() ? known_uptake(state, facts) : std::nullopt;
    if (!uptake) {
        return {};
    }
    const double reach = facts.inflow_mg_per_l - (*uptake / 60.0 / facts.chamber->flow_l_per_min);
    const double percent = facts.percent(reach);
    return with(sign_below(percent, facts.cycle->start_floor_percent, 1.0), [&] {
        return fmt::format("with {:.0f} mg/h this pump reaches {:.0f} %; a spell should start at {:.0f} %",
                           *uptake, percent, facts.cycle->start_floor_percent);
    });
}

Found inflow_low(const ChamberState& state, const ChamberFacts& facts) {
    if (!state.stay.is_used()) {
        return {};
    }
    const double percent = facts.percent(facts.inflow_mg_per_l);
    return with(sign_below(percent, facts.plan->settings.course.inflow_low_percent, 1.0),
                [&] { return fmt::format("the inflow has {:.0f} % of air saturation", percent); });
}

Found temperature(const ChamberState& state, const ChamberFacts& facts) {
    if (!state.stay.has_fish()) {
        return {};
    }
    if (!facts.celsius) {
        return not_known();
    }
    const auto& limits = facts.plan->settings.interlock;
    constexpr double deadband = 0.3;
    const Sign high = sign_above(*facts.celsius, limits.highest_celsius, deadband);
    const Sign low = sign_below(*facts.celsius, limits.lowest_celsius, deadband);
    const Sign both = high == Sign::there || low == Sign::there ? Sign::there : std::max(high, low);
    return with(both, [&] {
        return fmt::format("{:.1f} degC, allowed {:.0f} to {:.0f}", *facts.celsius, limits.lowest_celsius,
                           limits.highest_celsius);
    });
}

Found sensor_silent(const ChamberState& state, const ChamberFacts& facts) {
    const double silent = silent_for_s(state.oxygen, facts.now.steady_s);
    return when(state.stay.is_used() && silent >= facts.plan->settings.sensor.silent_after_s,
                [&] { return fmt::format("no reading for {:.0f} s", silent); });
}

Found sensor_frozen(const ChamberState& state, const ChamberFacts& facts) {
    const auto& sensor = facts.plan->settings.sensor;
    const double frozen = frozen_for_s(state.oxygen, *facts.chamber);
    const bool is_speaking = silent_for_s(state.oxygen, facts.now.steady_s) < sensor.silent_after_s;
    return when(state.stay.is_used() && is_speaking && frozen >= sensor.frozen_after_s, [&] {
        return fmt::format("{:.3f} mg/L unchanged for {:.1f} min", state.oxygen.value,
                           (facts.now.steady_s - state.oxygen.changed_s) / 60.0);
    });
}

Found sensor_implausible(const ChamberState& state, const ChamberFacts& facts) {
    return when(state.stay.is_used() &&
                    is_implausible(state.oxygen, facts.plan->settings.sensor, facts.now.steady_s),
                [&] {
                    return fmt::format("reads {:.2f} mg/L, {:.2f} before", state.oxygen.odd_value,
                                       state.oxygen.value);
                });
}

Found temperature_silent(const ChamberState& state, const ChamberFacts& facts) {
    const double silent = silent_for_s(state.temperature, facts.now.steady_s);
    return when(facts.chamber->has_temperature && state.stay.is_used() &&
                    silent >= facts.plan->settings.sensor.silent_after_s,
                [&] { return fmt::format("no temperature for {:.0f} s", silent); });
}

Found overdue(Due what, const ChamberState& state, const ChamberFacts& facts) {
    const auto grace = Duration::seconds(facts.plan->settings.machine.due_grace_s);
    for (const auto& due : state.stay.dues) {
        if (due.what == what && facts.now.wall > due.at + grace) {
            return when(true, [&] {
                return fmt::format("{} was due {:.0f} min ago", word(what),
                                   (facts.now.wall - due.at).minutes());
            });
        }
    }
    return {};
}

Found restless(const ChamberState& state, const ChamberFacts& facts) {
    const auto& course = facts.plan->settings.course;
    return when(state.signs.restless_in_a_row >= course.restless_spells, [&] {
        return fmt::format("uptake over {:.1f} times its own median in {} spells", course.restless_factor,
                           state.signs.restless_in_a_row);
    });
}

Found still(const ChamberState& state, const ChamberFacts& facts) {
    const auto& course = facts.plan->settings.course;
    return when(state.signs.still_in_a_row >= course.still_spells, [&] {
        return fmt::format("uptake under {:.0f} % of its own median in {} spells",
                           100.0 * course.still_factor, state.signs.still_in_a_row);
    });
}

Found bubble(const ChamberState& state, const ChamberFacts& facts) {
    const double jump = facts.percent(state.cycle.phase == Phase::sealed ? state.spell.jump_mg_per_l : 0.0);
    if (state.signs.jumped || jump > facts.plan->settings.course.bubble_jump_percent) {
        return when(true, [] { return "oxygen stepped up while sealed"; });
    }
    return when(state.signs.bubbles_in_a_row >= facts.plan->settings.course.bubble_spells,
                [&] { return "oxygen falls slower and slower within a spell, again and again"; });
}

/// What the fish's fall is compared with, mg/h.
double reference_uptake(const Stay& stay, const CourseSettings& course) {
    const double resting = course.rest_mg_per_kg_h * stay.mass_kg.value_or(1.0);
    return median_uptake(stay).value_or(resting);
}

} // namespace

Found look(Cause cause, const ChamberState& state, const ChamberFacts& facts) {
    switch (cause) {
    case Cause::oxygen_low:
        return oxygen_low(state, facts);
    case Cause::oxygen_falling:
        return oxygen_falling(state, facts);
    case Cause::flush_failing:
        return flush_failing(state, facts);
    case Cause::pump_too_small:
        return pump_too_small(state, facts);
    case Cause::inflow_low:
        return inflow_low(state, facts);
    case Cause::no_decline:
        return when(state.signs.no_decline, [&] { return "oxygen hardly falls while sealed"; });
    case Cause::bubble:
        return bubble(state, facts);
    case Cause::restless:
        return restless(state, facts);
    case Cause::still:
        return still(state, facts);
    case Cause::temperature:
        return temperature(state, facts);
    case Cause::sensor_silent:
        return sensor_silent(state, facts);
    case Cause::sensor_frozen:
        return sensor_frozen(state, facts);
    case Cause::sensor_implausible:
        return sensor_implausible(state, facts);
    case Cause::temperature_silent:
        return temperature_silent(state, facts);
    case Cause::seal_overdue:
        return overdue(Due::seal, state, facts);
    case Cause::blood_due:
        return overdue(Due::blood, state, facts);
    case Cause::other_due:
        return overdue(Due::other, state, facts);
    case Cause::clock_step:
    case Cause::disk:
    case Cause::power:
    case Cause::watch_away:
        break;
    }
    return {};
}

bool is_off_by_design(Cause cause, const Stay& stay, const ChamberFacts& facts) {
    switch (cause) {
    case Cause::restless:
    case Cause::still: {
        const auto quiet_after = Duration::hours(facts.plan->settings.course.quiet_after_h);
        return !stay.has_fish() || facts.now.wall - stay.handled_at < quiet_after;
    }
    case Cause::no_decline:
    case Cause::bubble:
    case Cause::pump_too_small:
        return !stay.has_fish();
    default:
        return false;
    }
}

void judge_spell(ChamberState& state, const ChamberFacts& facts, const SpellTrack& track,
                 const std::optional<Spell>& spell) {
    const auto& course = facts.plan->settings.course;
    auto& signs = state.signs;
    signs.jumped = facts.percent(track.jump_mg_per_l) > course.bubble_jump_percent;
    if (!spell) {
        return;
    }
    const double low = course.no_decline_share * reference_uptake(state.stay, course);
    signs.no_decline = spell->uptake_mg_per_h + (2.0 * spell->error_mg_per_h) < low;
    const bool slows = spell->late_share + (3.0 * spell->late_share_error) < course.bubble_late_share;
    signs.bubbles_in_a_row = slows ? signs.bubbles_in_a_row + 1 : 0;
    const auto median = median_uptake(state.stay);
    const bool is_judged = median && !is_off_by_design(Cause::restless, state.stay, facts);
    const bool is_restless = is_judged && spell->uptake_mg_per_h > course.restless_factor * *median;
    signs.restless_in_a_row = is_restless ? signs.restless_in_a_row + 1 : 0;
    const bool is_still =
        is_judged && spell->uptake_mg_per_h + (2.0 * spell->error_mg_per_h) < course.still_factor * *median;
    signs.still_in_a_row = is_still ? signs.still_in_a_row + 1 : 0;
}

namespace {

/// Judged late in a turnover, when most of its rise should be seen, and sooner while oxygen is low.
bool is_time_to_judge(const FlushCourse& window, const ChamberFacts& facts) {
    const double elapsed = facts.now.steady_s - window.from_s;
    const double seen = (2.0 * facts.chamber->sensor_lag_s) + (3.0 * facts.chamber->interval_s);
    const double wait = std::min(std::max(0.8 * window.turnover_s, seen), 0.9 * window.turnover_s);
    const bool is_low = facts.percent(*facts.level_mg_per_l) < facts.plan->settings.course.flush_low_percent;
    return elapsed >= (is_low ? 0.5 * wait : wait);
}

/// What the pump does of its work in this window; nothing while that cannot be told from noise and from what
/// is not known of the inflow.
std::optional<double> share_of_work(const FlushCourse& window, const ChamberFacts& facts,
                                    double inflow_error) {
    const double now_s = facts.now.steady_s;
    const double way = 1.0 - std::exp(-(now_s - window.from_s) / window.turnover_s);
    const double noise = std::sqrt(2.0) * level_error(*facts.plan, *facts.chamber);
    const double least = facts.plan->settings.course.flush_sigmas * std::hypot(noise, way * inflow_error);
    return pump_share(window, now_s, facts.chamber->sensor_lag_s, *facts.level_mg_per_l, least);
}

/// Later windows ask of the pump only that it holds the level, so that what is not known of the inflow does
/// not matter. A fish that stirs or a bath that sinks looks like half a pump: only one that does nothing,
/// twice in a row, has failed.
void judge_later_window(Cycle& cycle, double share) {
    constexpr double nothing = 0.15;
    constexpr int in_a_row = 2;
    cycle.weak_windows = share < nothing ? cycle.weak_windows + 1 : 0;
    cycle.pump_is_failing = cycle.weak_windows >= in_a_row;
}

FlushCourse holding_window(const FlushCourse& before, const ChamberFacts& facts, double water_l) {
    const double level = *facts.level_mg_per_l;
    const double fall = facts.uptake_mg_per_h / water_l / 3600.0;
    return flush_course(facts.now.steady_s, level, level + (fall * before.turnover_s), facts.uptake_mg_per_h,
                        water_l, before.turnover_s);
}

} // namespace

void judge_flush(ChamberState& state, const ChamberFacts& facts) {
    auto& cycle = state.cycle;
    if (cycle.phase != Phase::flush || !state.stay.is_used() || !facts.level_mg_per_l || !cycle.course) {
        return;
    }
    if (!cycle.window) {
        cycle.window = cycle.course;
    }
    const auto& window = *cycle.window;
    if (!is_time_to_judge(window, facts)) {
        return;
    }
    const bool is_first = window.from_s == cycle.course->from_s;
    const auto share = share_of_work(window, facts, is_first ? facts.inflow_error_mg_per_l : 0.0);
    const bool is_over = facts.now.steady_s - window.from_s >= window.turnover_s;
    constexpr double works = 0.6;
    if (is_first) {
        cycle.pump_is_failing = share && *share < facts.plan->settings.course.flush_share;
    } else if (cycle.pump_is_failing) {
        cycle.pump_is_failing = !share || *share < works;
    } else if (is_over && share) {
        judge_later_window(cycle, *share);
    }
    if (is_over && (is_first || share)) { // a window in which nothing can be told goes on
        const double water = water_beside_fish_l(*facts.chamber, state.stay.mass_kg);
        cycle.window = holding_window(window, facts, water);
    }
}

void learn_inflow(ChamberState& state, const Cycle& flush, const ChamberFacts& facts) {
    if (flush.phase != Phase::flush || !flush.course || flush.pump_is_failing || !facts.level_mg_per_l) {
        return;
    }
    const auto found = explained_inflow(*flush.course, facts.now.steady_s, *facts.level_mg_per_l);
    if (!found) {
        return;
    }
    constexpr double trust = 0.6; // the tide moves it by the next flush
    constexpr double farthest_percent = 20.0;
    const double believed = facts.plan->settings.flush.inflow_percent;
    const double percent =
        std::clamp(facts.percent(*found), believed - farthest_percent, believed + farthest_percent);
    const double before = state.inflow_percent;
    state.inflow_percent = before > 0.0 ? before + (trust * (percent - before)) : percent;
}

double level_error(const Plan& plan, const ChamberPlan& chamber) {
    const auto& sensor = plan.settings.sensor;
    const double memory = std::max(sensor.least_memory_s, sensor.memory_intervals * chamber.interval_s);
    const double white = chamber.noise.white_sd_mg_per_l * std::sqrt(1.25 * chamber.interval_s / memory);
    return std::hypot(white, chamber.noise.coloured_sd_mg_per_l,
                      chamber.display_step_mg_per_l / std::sqrt(12.0));
}

} // namespace backeddy::watch
