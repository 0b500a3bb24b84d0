// What people do, taken in by the watch.

#include <algorithm>
#include <cmath>
#include <type_traits>
#include <utility>

#include <fmt/format.h>

#include "watch/alarm_list.hpp"
#include "watch/watch.hpp"

namespace backeddy::watch {

namespace {

template <typename Which>
constexpr bool is_about_alarms =
    std::is_same_v<Which, hand::Acknowledge> || std::is_same_v<Which, hand::Quiet> ||
    std::is_same_v<Which, hand::Shelve> || std::is_same_v<Which, hand::Unshelve>;

Event answered(const Hand& hand, const Now& now, std::string refused) {
    const bool is_done = refused.empty();
    return {.at = now.wall,
            .chamber = hand.chamber,
            .what = HandAnswered{.done = is_done, .by = hand.by, .words = std::move(refused)}};
}

bool is_a_mass(double kg) {
    return std::isfinite(kg) && kg > 0.0;
}

/// Hands that change who is in. Empty: done; else why not.
std::string put_in(ChamberState& state, const hand::PutIn& act, const ChamberPlan& chamber, Instant now) {
    if (act.mass_kg && !(is_a_mass(*act.mass_kg) && *act.mass_kg < 0.9 * chamber.water_l)) {
        return fmt::format("a fish of {} kg does not fit into {} L", *act.mass_kg, chamber.water_l);
    }
    const bool is_water = act.role == StayRole::blank || act.role == StayRole::leak_test;
    Stay stay;
    stay.use = is_water ? Use::water : Use::fish;
    stay.role = act.role;
    stay.mass_kg = is_water ? std::nullopt : act.mass_kg;
    stay.handled_at = now;
    stay.dues = state.stay.dues; // what was planned for the fish before it came
    state.stay = std::move(stay);
    return {};
}

std::string clean(ChamberState& state, const hand::Clean& act, Instant now) {
    if (state.stay.has_fish()) {
        return "a fish is in this chamber: enter that it was taken out first";
    }
    if (!(act.minutes > 0.0 && act.minutes <= 1440.0)) {
        return "say for how many minutes: more than none, a day at most";
    }
    state.stay = Stay();
    state.stay.use = Use::cleaning;
    state.stay.cleaning_until = now + Duration::minutes(act.minutes);
    return {};
}

/// Another fish, or none: a spell that runs ends now and belongs to nobody, and what the flush should do is
/// reckoned anew.
void begin_anew(ChamberState& state, const Now& now) {
    state.signs = {};
    state.cycle.hand.reset();
    state.cycle.course.reset();
    state.cycle.window.reset();
    state.cycle.weak_windows = 0;
    state.cycle.pump_is_failing = false;
    if (state.cycle.phase == Phase::sealed) {
        state.cycle.planned_s = 0.0;
        state.spell = begin_spell(now.wall, now.steady_s, 0.0, 0.0);
    }
}

bool changes_who_is_in(const Act& act) {
    return std::holds_alternative<hand::PutIn>(act) || std::holds_alternative<hand::TakenOut>(act) ||
           std::holds_alternative<hand::Clean>(act);
}

void be_done(Stay& stay, Due what) {
    std::erase_if(stay.dues, [what](const DueAt& due) { return due.what == what; });
}

void expect(Stay& stay, const hand::Expect& act) {
    be_done(stay, act.what);
    stay.dues.push_back({.what = act.what, .at = act.at});
}

} // namespace

void Watch::take_hand(const Hand& hand, Output& out) {
    if (hand.chamber && *hand.chamber >= state_.chambers.size()) {
        out.events.push_back(answered(hand, now_, "there is no such chamber"));
        return;
    }
    std::visit(
        [&](const auto& act) {
            if constexpr (is_about_alarms<std::remove_cvref_t<decltype(act)>>) {
                take_alarm_hand(hand, out);
            } else if (hand.chamber) {
                take_chamber_hand(*hand.chamber, hand, out);
            } else {
                out.events.push_back(answered(hand, now_, "say at which chamber"));
            }
        },
        hand.act);
}

void Watch::take_chamber_hand(std::size_t i, const Hand& hand, Output& out) {
    auto& state = state_.chambers[i];
    const auto& chamber = plan_.chambers[i];
    const Phase before = state.cycle.phase;
    std::string refused;
    std::optional<PhaseBegan> began;
    const auto order = [&](HandResult result) {
        refused = std::move(result.refused);
        began = result.began;
    };
    const auto seen = facts_of(i);
    const auto facts = cycle_facts_of(i, seen);
    std::visit(
        [&](const auto& act) {
            using Which = std::remove_cvref_t<decltype(act)>;
            if constexpr (std::is_same_v<Which, hand::PutIn>) {
                learn_inflow(state, state.cycle, seen);
                refused = put_in(state, act, chamber, now_.wall);
            } else if constexpr (std::is_same_v<Which, hand::TakenOut>) {
                state.stay = Stay();
            } else if constexpr (std::is_same_v<Which, hand::Disturbed>) {
                state.stay.handled_at = now_.wall;
                state.signs.restless_in_a_row = state.signs.still_in_a_row = 0;
            } else if constexpr (std::is_same_v<Which, hand::Weighed>) {
                if (is_a_mass(act.mass_kg) && act.mass_kg < 0.9 * chamber.water_l) {
                    state.stay.mass_kg = act.mass_kg;
                } else {
                    refused = fmt::format("{} kg is no mass of a fish in this chamber", act.mass_kg);
                }
            } else if constexpr (std::is_same_v<Which, hand::Clean>) {
                refused = clean(state, act, now_.wall);
            } else if constexpr (std::is_same_v<Which, hand::Hold>) {
                order(hold(state.cycle, facts, act.minutes));
            } else if constexpr (std::is_same_v<Which, hand::Flush>) {
                order(flush_by_hand(state.cycle, facts, act.minutes));
            } else if constexpr (std::is_same_v<Which, hand::Resume>) {
                if (state.cycle.hand) {
                    state.cycle.hand->until_s = now_.steady_s;
                }
            } else if constexpr (std::is_same_v<Which, hand::Expect>) {
                expect(state.stay, act);
            } else if constexpr (std::is_same_v<Which, hand::Done>) {
                be_done(state.stay, act.what);
            }
        },
        hand.act);
    if (changes_who_is_in(hand.act) && refused.empty()) {
        begin_anew(state, now_);
    }
    if (began) {
        note_phase(i, before, *began, out);
    }
    out.events.push_back(answered(hand, now_, std::move(refused)));
}

void Watch::take_alarm_hand(const Hand& hand, Output& out) {
    auto& group = hand.chamber ? state_.chambers[*hand.chamber].alarms : state_.station_alarms;
    const auto& settings = plan_.settings.alarm;
    std::visit(
        [&](const auto& act) {
            using Which = std::remove_cvref_t<decltype(act)>;
            if constexpr (is_about_alarms<Which>) {
                auto& alarm = group[static_cast<std::size_t>(act.cause)];
                const auto rule = rule_of(act.cause);
                const auto before = alarm.state;
                std::string refused;
                if constexpr (std::is_same_v<Which, hand::Acknowledge>) {
                    if (!acknowledge(alarm, rule, now_.steady_s, settings.quiet_s, hand.by)) {
                        refused = "nothing to acknowledge: somebody else was faster, or it came to an end";
                    }
                } else if constexpr (std::is_same_v<Which, hand::Quiet>) {
                    quiet(alarm, now_.steady_s, settings.quiet_s);
                } else if constexpr (std::is_same_v<Which, hand::Shelve>) {
                    const double length = 60.0 * std::min(act.minutes, settings.longest_shelf_min);
                    if (act.reason.empty()) {
                        refused = "say why";
                    } else if (!shelve(alarm, rule, now_.steady_s, length, hand.by)) {
                        refused = rule.priority == Priority::fish_at_risk
                                      ? "a fish may be at risk: this alarm can be quieted for two minutes, "
                                        "not shelved"
                                      : "say for how many minutes: more than none";
                    }
                } else {
                    unshelve(alarm, now_.steady_s);
                }
                if (alarm.state != before) {
                    tell(alarm, {.cause = act.cause, .chamber = hand.chamber}, before, now_, hand.by,
                         out.events);
                }
                out.events.push_back(answered(hand, now_, std::move(refused)));
            }
        },
        hand.act);
}

} // namespace backeddy::watch
