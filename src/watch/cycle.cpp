#include "watch/cycle.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "watch/precision.hpp"

namespace backeddy::watch {

std::string_view word(Why why) {
    switch (why) {
    case Why::started:
        return "started";
    case Why::as_planned:
        return "as_planned";
    case Why::flushed_enough:
        return "flushed_enough";
    case Why::at_time_limit:
        return "at_time_limit";
    case Why::by_hand:
        return "by_hand";
    case Why::hand_ended:
        return "hand_ended";
    case Why::floor:
        return "floor";
    case Why::sensor:
        return "sensor";
    case Why::temperature:
        return "temperature";
    case Why::unsure:
        return "unsure";
    case Why::not_kept:
        return "not_kept";
    case Why::nothing_in:
        return "nothing_in";
    }
    return {};
}

std::string_view in_words(Why why) {
    switch (why) {
    case Why::started:
        return "the watch has just begun";
    case Why::as_planned:
        return "its time was over";
    case Why::flushed_enough:
        return "the water is back";
    case Why::at_time_limit:
        return "its longest time was over";
    case Why::by_hand:
        return "by hand";
    case Why::hand_ended:
        return "the order by hand is over";
    case Why::floor:
        return "oxygen is at its floor";
    case Why::sensor:
        return "the oxygen sensor is silent or not to be believed";
    case Why::temperature:
        return "the temperature is out of range";
    case Why::unsure:
        return "the watch was away for a moment";
    case Why::not_kept:
        return "samples are not being kept";
    case Why::nothing_in:
        return "nothing is in this chamber";
    }
    return {};
}

namespace {

PhaseBegan begin(Cycle& cycle, const CycleFacts& facts, Phase phase, Why why, double planned_s) {
    cycle.phase = phase;
    cycle.why = why;
    cycle.since_s = facts.now_s;
    cycle.planned_s = planned_s;
    cycle.course.reset();
    cycle.window.reset();
    cycle.weak_windows = 0;
    cycle.below_start_floor = false;
    cycle.pump_is_failing = false;
    return {.phase = phase, .why = why, .planned_s = planned_s};
}

double longest_flush_s(const CycleFacts& facts) {
    const double limit = (facts.flush->longest_turnovers * facts.turnover_s()) + seen_after_s(*facts.chamber);
    return facts.settings->timing == Timing::timetable ? std::max(limit, facts.settings->flush_s) : limit;
}

PhaseBegan begin_flush(Cycle& cycle, const CycleFacts& facts, Why why) {
    return begin(cycle, facts, Phase::flush, why, longest_flush_s(facts));
}

/// The level from which a fish may be sealed at all; water alone has none.
double least_level(const CycleFacts& facts) {
    return facts.mg_per_l(facts.settings->floor_percent + facts.flush->least_headroom_percent);
}

bool may_seal(const Cycle& cycle, const CycleFacts& facts) {
    if (facts.interlock || !facts.stay->is_used() || !facts.level_mg_per_l || cycle.pump_is_failing) {
        return false;
    }
    if (cycle.must_clear &&
        !(cycle.clear_since_s && facts.now_s - *cycle.clear_since_s >= facts.clear_for_s)) {
        return false;
    }
    return !facts.stay->has_fish() || *facts.level_mg_per_l >= least_level(facts);
}

PhaseBegan begin_sealed(Cycle& cycle, const CycleFacts& facts, Why why, std::optional<double> length_s) {
    const auto recent = recent_uptake(*facts.stay);
    Prospect prospect{.level_mg_per_l = *facts.level_mg_per_l,
                      .floor_mg_per_l = facts.stay->has_fish() ? facts.mg_per_l(facts.settings->floor_percent)
                                                               : -facts.full_mg_per_l};
    if (recent) {
        prospect.fall_mg_per_l_s = *recent / facts.water_l() / 3600.0;
    }
    const double planned =
        std::min(length_s.value_or(next_sealed_s(*facts.settings, *facts.chamber, prospect)),
                 facts.settings->longest_sealed_s);
    const bool below = *facts.level_mg_per_l < facts.mg_per_l(facts.settings->start_floor_percent);
    auto began = begin(cycle, facts, Phase::sealed, why, planned);
    cycle.below_start_floor = began.below_start_floor = below;
    cycle.must_clear = false;
    return began;
}

/// Why the flush is over, or nothing.
std::optional<Why> flush_is_over(const Cycle& cycle, const CycleFacts& facts) {
    const double elapsed = facts.now_s - cycle.since_s;
    if (!cycle.course || elapsed < facts.flush->least_turnovers * facts.turnover_s()) {
        return std::nullopt;
    }
    const double level = *facts.level_mg_per_l;
    const double start_floor = facts.mg_per_l(facts.settings->start_floor_percent);
    const bool is_timetable = facts.settings->timing == Timing::timetable;
    if (is_timetable && elapsed >= facts.settings->flush_s && level >= start_floor) {
        return Why::as_planned;
    }
    const bool reached = level >= cycle.course->target(facts.flush->share_of_way);
    const bool no_better = cycle.course->reach_mg_per_l < start_floor; // waiting will not bring it there
    if (reached && (level >= start_floor || no_better) &&
        (!is_timetable || elapsed >= facts.settings->flush_s)) {
        return Why::flushed_enough;
    }
    if (elapsed >= longest_flush_s(facts)) {
        return Why::at_time_limit;
    }
    return std::nullopt;
}

void draw_course(Cycle& cycle, const CycleFacts& facts) {
    if (!cycle.course && facts.level_mg_per_l) {
        cycle.course = flush_course(facts.now_s, *facts.level_mg_per_l, facts.inflow_mg_per_l,
                                    facts.uptake_mg_per_h, facts.water_l(), facts.turnover_s());
    }
}

std::optional<PhaseBegan> advance_sealed(Cycle& cycle, const CycleFacts& facts) {
    const double elapsed = facts.now_s - cycle.since_s;
    if (elapsed >= facts.settings->longest_sealed_s) {
        cycle.hand.reset();
        return begin_flush(cycle, facts, Why::at_time_limit);
    }
    const bool is_held = cycle.hand && cycle.hand->phase == Phase::sealed;
    if (!is_held && elapsed >= cycle.planned_s) {
        return begin_flush(cycle, facts, Why::as_planned);
    }
    return std::nullopt;
}

std::optional<PhaseBegan> advance_flush(Cycle& cycle, const CycleFacts& facts) {
    draw_course(cycle, facts);
    if (cycle.hand || !may_seal(cycle, facts)) {
        return std::nullopt;
    }
    if (const auto over = flush_is_over(cycle, facts)) {
        return begin_sealed(cycle, facts, *over, std::nullopt);
    }
    return std::nullopt;
}

/// A hold or flush whose time is over. A hold's end flushes; a flush's end leaves the flush to the cycle.
std::optional<PhaseBegan> end_hand(Cycle& cycle, const CycleFacts& facts) {
    if (!cycle.hand || facts.now_s < cycle.hand->until_s) {
        return std::nullopt;
    }
    const Phase ended = cycle.hand->phase;
    cycle.hand.reset();
    if (ended == Phase::sealed && cycle.phase == Phase::sealed) {
        return begin_flush(cycle, facts, Why::hand_ended);
    }
    return std::nullopt;
}

HandResult refusal(std::string why) {
    return {.refused = std::move(why), .began = std::nullopt};
}

constexpr const char* too_short = "say for how many minutes: more than none";

} // namespace

std::optional<PhaseBegan> advance(Cycle& cycle, const CycleFacts& facts) {
    if (facts.interlock || !facts.stay->is_used()) {
        const Why why = facts.interlock ? *facts.interlock : Why::nothing_in;
        cycle.clear_since_s.reset();
        cycle.must_clear = true;
        if (cycle.phase == Phase::sealed) {
            cycle.hand.reset();
            return begin_flush(cycle, facts, why);
        }
        draw_course(cycle, facts);
        return end_hand(cycle, facts);
    }
    if (!cycle.clear_since_s) {
        cycle.clear_since_s = facts.now_s;
    }
    if (auto began = end_hand(cycle, facts)) {
        return began;
    }
    return cycle.phase == Phase::sealed ? advance_sealed(cycle, facts) : advance_flush(cycle, facts);
}

HandResult hold(Cycle& cycle, const CycleFacts& facts, double minutes) {
    if (!(minutes > 0.0)) {
        return refusal(too_short);
    }
    if (!facts.stay->is_used()) {
        return refusal("nothing is in this chamber: it is flushed");
    }
    if (facts.interlock) {
        return refusal(fmt::format("it stays in flush: {}", in_words(*facts.interlock)));
    }
    const double longest = facts.settings->longest_sealed_s;
    if (cycle.phase == Phase::sealed) {
        const double until = std::min(facts.now_s + (60.0 * minutes), cycle.since_s + longest);
        cycle.hand = ByHand{.phase = Phase::sealed, .until_s = until};
        cycle.planned_s = until - cycle.since_s;
        return {};
    }
    if (!may_seal(cycle, facts)) {
        return refusal("it cannot be sealed now: its oxygen is too low or not known, or its pump is failing");
    }
    const double length = std::min(60.0 * minutes, longest);
    auto began = begin_sealed(cycle, facts, Why::by_hand, length);
    cycle.hand = ByHand{.phase = Phase::sealed, .until_s = facts.now_s + length};
    return {.refused = {}, .began = began};
}

HandResult flush_by_hand(Cycle& cycle, const CycleFacts& facts, double minutes) {
    if (!(minutes > 0.0)) {
        return refusal(too_short);
    }
    constexpr double a_day = 1440.0;
    HandResult result;
    if (cycle.phase == Phase::sealed) {
        result.began = begin_flush(cycle, facts, Why::by_hand);
    }
    cycle.hand = ByHand{.phase = Phase::flush, .until_s = facts.now_s + (60.0 * std::min(minutes, a_day))};
    return result;
}

std::optional<double> next_change_s(const Cycle& cycle, const CycleFacts& facts) {
    if (cycle.hand) {
        return std::max(0.0, cycle.hand->until_s - facts.now_s);
    }
    if (cycle.phase == Phase::sealed) {
        return std::max(0.0, cycle.since_s + cycle.planned_s - facts.now_s);
    }
    if (!facts.stay->is_used() || facts.interlock || !cycle.course || cycle.pump_is_failing) {
        return std::nullopt;
    }
    const double predicted = facts.settings->timing == Timing::timetable
                                 ? facts.settings->flush_s
                                 : -std::log(1.0 - facts.flush->share_of_way) * facts.turnover_s();
    return std::max(0.0, cycle.since_s + predicted - facts.now_s);
}

} // namespace backeddy::watch
