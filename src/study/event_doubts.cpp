#include "study/event_doubts.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

constexpr double farthest_landing_min = 30.0;
constexpr double latest_capture_h = 2.0;
constexpr double latest_chase_h = 2.0;
constexpr double soonest_capture_min = 10.0;

double seconds_apart(Instant a, Instant b) {
    return std::abs((a - b).seconds());
}

const FishId& fish_of(const Event& event, const Tables& tables) {
    const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
    return event.fish.is_empty() && stay != nullptr ? stay->fish : event.fish;
}

/// Of those with a time; nullptr when there is none.
const Encounter* nearest_encounter(const FishId& fish, Instant at, const Tables& tables) {
    const Encounter* nearest = nullptr;
    for (const auto& encounter : tables.encounters) {
        if (!fish.is_empty() && encounter.fish == fish && encounter.at &&
            (nearest == nullptr || seconds_apart(*encounter.at, at) < seconds_apart(*nearest->at, at))) {
            nearest = &encounter;
        }
    }
    return nearest;
}

/// The last landing up to a moment, else the first after it; nullptr when none is written down.
const Event* landing_for(const FishId& fish, Instant at, const Tables& tables) {
    const Event* before = nullptr;
    const Event* after = nullptr;
    for (const auto& event : tables.events) {
        if (event.kind != EventKind::landed || fish_of(event, tables) != fish) {
            continue;
        }
        if (event.at <= at) {
            before = before == nullptr || event.at > before->at ? &event : before;
        } else {
            after = after == nullptr || event.at < after->at ? &event : after;
        }
    }
    return before != nullptr ? before : after;
}

} // namespace

std::vector<Complaint> check_landings(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& event : tables.events) {
        if (event.kind != EventKind::landed && event.kind != EventKind::back_in_water) {
            continue;
        }
        const FishId& fish = fish_of(event, tables);
        const Encounter* met = nearest_encounter(fish, event.at, tables);
        if (met == nullptr || seconds_apart(*met->at, event.at) <= farthest_landing_min * 60.0) {
            continue;
        }
        out.push_back(
            warn(event.place, "at",
                 {.code = ErrorCode::bad_time,
                  .found = fmt::format("{} of {} at {}; its nearest encounter is at {} (encounters.csv, {})",
                                       word_of(event.kind), quote(fish.text()), iso_text(event.at),
                                       iso_text(*met->at), line_text(met->place)),
                  .expected = "times of one catch within 30 min of each other",
                  .remedy = "look for a clock of 12 hours, a wrong date, or exchanged fish"}));
    }
    return out;
}

std::vector<Complaint> check_captures(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& stay : tables.stays) {
        for (const auto& part : stay.parts) {
            if (part.role != uptake::StayRole::after_capture || !stay.has_fish()) {
                continue;
            }
            const Event* landing = landing_for(stay.fish, part.from, tables);
            if (landing == nullptr) {
                continue;
            }
            const double hours = (part.from - landing->at).hours();
            if (hours >= 0.0 && hours <= latest_capture_h) {
                continue;
            }
            out.push_back(warn(
                part.place, "role",
                {.found = fmt::format("after_capture of {} begins at {}; it was landed at {} (events.csv, "
                                      "{})",
                                      quote(stay.fish.text()), iso_text(part.from), iso_text(landing->at),
                                      line_text(landing->place)),
                 .expected = "a landing in the 2 h before it",
                 .remedy = "look whether two roles or two fish are exchanged, and at both times"}));
        }
    }
    return out;
}

namespace {

/// The last of a kind of a fish from `from` up to `to`; nullptr when there is none.
const Event* last_between(const FishId& fish, EventKind kind, Instant from, Instant to,
                          const Tables& tables) {
    const Event* last = nullptr;
    for (const auto& event : tables.events) {
        if (event.kind == kind && fish_of(event, tables) == fish && event.at >= from && event.at <= to &&
            (last == nullptr || event.at > last->at)) {
            last = &event;
        }
    }
    return last;
}

void check_chase_of(std::vector<Complaint>& out, const Stay& stay, const StayPart& part,
                    const Tables& tables) {
    if (part.role == uptake::StayRole::after_chase &&
        last_between(stay.fish, EventKind::chase_end, part.from - Duration::hours(latest_chase_h), part.to,
                     tables) == nullptr) {
        out.push_back(warn(part.place, "role",
                           {.found = fmt::format("after_chase of {} begins at {}, and no chase_end of it "
                                                 "is written down in the 2 h before",
                                                 quote(stay.fish.text()), iso_text(part.from)),
                            .expected = "a chase_end in the 2 h before it",
                            .remedy = "look whether two roles or two fish are exchanged, or add the "
                                      "chase_end to events.csv"}));
    }
    if (part.role != uptake::StayRole::after_capture) {
        return;
    }
    const Event* chase = last_between(stay.fish, EventKind::chase_end,
                                      part.from - Duration::minutes(soonest_capture_min), part.from, tables);
    if (chase != nullptr) {
        out.push_back(warn(part.place, "role",
                           {.found = fmt::format("after_capture of {} begins at {}, {} min after its "
                                                 "chase_end at {} (events.csv, {})",
                                                 quote(stay.fish.text()), iso_text(part.from),
                                                 significant_text((part.from - chase->at).minutes(), 2),
                                                 iso_text(chase->at), line_text(chase->place)),
                            .expected = "after_chase so soon after a chase",
                            .remedy = "look whether two roles are exchanged, and at both times"}));
    }
}

/// What shows that a released fish was met again before a moment; an encounter without a time may be it.
bool is_met_again(const FishId& fish, Instant released, Instant before, const Tables& tables) {
    const bool by_encounter = std::ranges::any_of(tables.encounters, [&](const Encounter& met) {
        return met.fish == fish && (!met.at || (*met.at > released && *met.at <= before));
    });
    return by_encounter || std::ranges::any_of(tables.events, [&](const Event& event) {
               const bool is_catch = event.kind == EventKind::bite || event.kind == EventKind::hook_up ||
                                     event.kind == EventKind::landed;
               return is_catch && fish_of(event, tables) == fish && event.at > released && event.at <= before;
           });
}

/// The last release of the fish before a moment, by more than twice its uncertainty, after which it was not
/// met again.
const Event* release_before(const FishId& fish, Instant at, const Tables& tables) {
    const Event* released = nullptr;
    for (const auto& event : tables.events) {
        if (event.kind != EventKind::released || fish_of(event, tables) != fish) {
            continue;
        }
        const Duration slack = Duration::seconds(2.0 * event.at_uncertainty.value_or(Duration()).seconds());
        if (event.at + slack < at && (released == nullptr || event.at > released->at)) {
            released = &event;
        }
    }
    return released == nullptr || is_met_again(fish, released->at, at, tables) ? nullptr : released;
}

Complaint after_release(const Place& place, const std::string& column, const std::string& what,
                        const FishId& fish, Instant at, const Event& released) {
    return warn(place, column,
                {.code = ErrorCode::bad_time,
                 .found = fmt::format("{} of {} at {}; it was released at {} (events.csv, {})", what,
                                      quote(fish.text()), iso_text(at), iso_text(released.at),
                                      line_text(released.place)),
                 .expected = "nothing after a release, until the fish is met again",
                 .remedy = "correct the fish or one of the times, or add its next encounter"});
}

} // namespace

std::vector<Complaint> check_chases(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& stay : tables.stays) {
        for (const auto& part : stay.parts) {
            if (stay.has_fish()) {
                check_chase_of(out, stay, part, tables);
            }
        }
    }
    return out;
}

std::vector<Complaint> check_released(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& stay : tables.stays) {
        const Event* released = stay.has_fish() ? release_before(stay.fish, stay.from(), tables) : nullptr;
        if (released != nullptr) {
            out.push_back(after_release(stay.place, "from", "the stay " + quote(stay.id.text()), stay.fish,
                                        stay.from(), *released));
        }
    }
    for (const auto& event : tables.events) {
        const FishId& fish = fish_of(event, tables);
        if (fish.is_empty() || (event.kind != EventKind::chase_start && event.kind != EventKind::chase_end)) {
            continue;
        }
        if (const Event* released = release_before(fish, event.at, tables)) {
            out.push_back(after_release(event.place, "at", word_of(event.kind), fish, event.at, *released));
        }
    }
    return out;
}

std::vector<Complaint> check_nameless_acts(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& event : tables.events) {
        const bool is_act = event.kind == EventKind::opened || event.kind == EventKind::sensor_swap ||
                            event.kind == EventKind::anaesthetic;
        if (is_act && event.fish.is_empty() && event.stay.is_empty() && event.assembly.is_empty()) {
            out.push_back(warn(event.place, "assembly",
                               {.code = ErrorCode::bad_row,
                                .found = fmt::format("{} at {} names no stay, assembly or fish",
                                                     word_of(event.kind), iso_text(event.at)),
                                .expected = "the chamber it was done to",
                                .remedy = "fill in stay or assembly"}));
        }
    }
    return out;
}

std::vector<Complaint> check_rigs(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& event : tables.events) {
        if (event.rig.empty() || (event.kind != EventKind::bite && event.kind != EventKind::hook_up &&
                                  event.kind != EventKind::landed)) {
            continue;
        }
        const Encounter* met = nearest_encounter(event.fish, event.at, tables);
        if (met == nullptr || met->rig.empty() || met->rig == event.rig) {
            continue;
        }
        out.push_back(warn(event.place, "rig",
                           {.found = fmt::format("{} of {} on the rig {}; its encounter says {} "
                                                 "(encounters.csv, {})",
                                                 word_of(event.kind), quote(event.fish.text()),
                                                 quote(event.rig), quote(met->rig), line_text(met->place)),
                            .expected = "one rig for one catch",
                            .remedy = "correct the one that is wrong"}));
    }
    return out;
}

std::vector<Complaint> check_weighings(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& fish : tables.fish) {
        std::vector<const Event*> before;
        for (const auto& event : tables.events) {
            if (!is_weighing_of(fish, event, tables)) {
                continue;
            }
            const Mass mass = *mass_from(*event.value, event.unit);
            for (const Event* other : before) {
                const Mass first = *mass_from(*other->value, other->unit);
                if (other->at != event.at || first.grams() == mass.grams()) {
                    continue;
                }
                out.push_back(
                    warn(event.place, "value",
                         {.code = ErrorCode::duplicate,
                          .found = fmt::format("{} weighs {} g here and {} g at the same moment ({})",
                                               quote(fish.id.text()), exact_text(mass.grams()),
                                               exact_text(first.grams()), line_text(other->place)),
                          .expected = "one mass of one fish at one moment",
                          .remedy = "correct one of the two, or take it out"}));
            }
            before.push_back(&event);
        }
    }
    return out;
}

std::vector<Complaint> check_event_doubts(const Tables& tables) {
    std::vector<Complaint> out;
    for (auto&& some :
         {check_landings(tables), check_captures(tables), check_chases(tables), check_released(tables),
          check_nameless_acts(tables), check_rigs(tables), check_weighings(tables)}) {
        std::ranges::copy(some, std::back_inserter(out));
    }
    return out;
}

} // namespace backeddy::study
