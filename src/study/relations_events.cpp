#include "study/relations.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <optional>
#include <set>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/detail/relation_words.hpp"
#include "study/likeness.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

double uncertainty_s(const Brief& brief, const Event& event) {
    return event.at_uncertainty ? event.at_uncertainty->seconds() : brief.uncertainty_at(event.at).event_s;
}

/// Two masses of one fish further apart than this factor are more likely two units than a meal (choice).
constexpr double strange_mass_factor = 1.5;
/// A swap and the row of assemblies.csv that tells of it are written down this far apart at most (choice).
constexpr double farthest_swap_s = 1800.0;

void check_weighing(std::vector<Complaint>& out, const Event& event, const Tables& tables) {
    if (event.kind != EventKind::weighed || !event.value) {
        return;
    }
    const auto mass = mass_from(*event.value, event.unit);
    if (!mass) {
        out.push_back(stop(event.place, "unit",
                           {.code = ErrorCode::bad_unit,
                            .found = fmt::format("weighed {} \"{}\"", exact_text(*event.value), event.unit),
                            .expected = "a mass above 0 in g or kg",
                            .remedy = "write the mass into value and g or kg into unit"}));
        return;
    }
    const auto weighed =
        std::ranges::find_if(tables.fish, [&](const Fish& f) { return is_weighing_of(f, event, tables); });
    if (weighed == tables.fish.end()) {
        if (event.fish.is_empty() && event.stay.is_empty()) {
            out.push_back(stop(event.place, "fish",
                               {.code = ErrorCode::bad_row,
                                .found = "a mass of no fish",
                                .expected = "the fish that was weighed",
                                .remedy = "fill in fish"}));
        }
        return; // an unknown fish is complained of by its name
    }
    if (weighed->mass) {
        const double ratio = *mass / *weighed->mass;
        if (ratio > strange_mass_factor || ratio < 1.0 / strange_mass_factor) {
            out.push_back(
                warn(event.place, "value",
                     {.code = ErrorCode::out_of_range,
                      .found = fmt::format("{} weighs {} g here and {} g in fish.csv ({})",
                                           quote(weighed->id.text()), exact_text(mass->grams()),
                                           exact_text(weighed->mass->grams()), line_text(weighed->place)),
                      .expected = "masses of one fish that are alike",
                      .remedy = "look at the units, and whether it is the same fish"}));
        }
    }
}

void check_event_names(std::vector<Complaint>& out, const Brief& brief, const Event& event,
                       const Tables& tables) {
    if (!event.fish.is_empty() && tables.find(event.fish) == nullptr) {
        out.push_back(unknown_fish(event.place, event.fish, tables));
    }
    if (!event.assembly.is_empty() && !tables.has(event.assembly)) {
        out.push_back(unknown_assembly(event.place, event.assembly, tables));
    }
    if (event.stay.is_empty()) {
        return;
    }
    const Stay* stay = tables.find(event.stay);
    if (stay == nullptr) {
        out.push_back(unknown_stay(event.place, event.stay, tables));
        return;
    }
    if (!event.fish.is_empty() && stay->fish != event.fish) {
        out.push_back(stop(event.place, "stay",
                           {.found = fmt::format("the stay {} is that of {}", quote(stay->id.text()),
                                                 stay->has_fish() ? quote(stay->fish.text()) : "no fish"),
                            .expected = "a stay of " + quote(event.fish.text()),
                            .remedy = "correct the fish or the stay"}));
    }
    if (!event.assembly.is_empty() && stay->assembly != event.assembly) {
        out.push_back(stop(event.place, "assembly",
                           {.found = fmt::format("the stay {} is in {}", quote(stay->id.text()),
                                                 quote(stay->assembly.text())),
                            .expected = "the same assembly",
                            .remedy = "correct it, or leave it empty"}));
    }
    const Duration slack = Duration::seconds(2.0 * uncertainty_s(brief, event));
    if (event.at < stay->from() - slack || event.at > stay->to() + slack) {
        out.push_back(
            stop(event.place, "at",
                 {.code = ErrorCode::bad_time,
                  .found = fmt::format("{} at {} lies outside its stay {} ({})", word_of(event.kind),
                                       iso_text(event.at), quote(stay->id.text()),
                                       from_to(stay->from(), stay->to())),
                  .expected = "a moment inside it, or no stay: name the stay only for what happened in the "
                              "chamber",
                  .remedy = "correct the time, or leave \"stay\" empty"}));
    }
}

struct Step {
    EventKind first;
    EventKind then;
};

/// In this order for one fish, however often it happens.
constexpr std::array steps{
    Step{EventKind::bite, EventKind::hook_up}, Step{EventKind::hook_up, EventKind::landed},
    Step{EventKind::landed, EventKind::back_in_water}, Step{EventKind::chase_start, EventKind::chase_end},
    Step{EventKind::air_start, EventKind::air_end}};

using FishEvents = std::vector<const Event*>; // of one fish, as in the table

FishEvents of_kind(const FishEvents& events, EventKind kind) {
    FishEvents out;
    for (const Event* event : events) {
        if (event->kind == kind) {
            out.push_back(event);
        }
    }
    std::ranges::stable_sort(out, {}, [](const Event* e) { return e->at; });
    return out;
}

/// The k-th of the one belongs to the k-th of the other; where their numbers differ only starts and ends can
/// be judged, which come in pairs.
void check_step(std::vector<Complaint>& out, const Brief& brief, const FishEvents& events, Step step) {
    const auto firsts = of_kind(events, step.first);
    const auto thens = of_kind(events, step.then);
    const bool is_span = step.first == EventKind::chase_start || step.first == EventKind::air_start;
    if (firsts.size() != thens.size()) {
        if (is_span) {
            const Event& one = firsts.size() > thens.size() ? *firsts.back() : *thens.back();
            out.push_back(
                warn(one.place, "event",
                     {.found = fmt::format("{} {} and {} {} of {}", firsts.size(), word_of(step.first),
                                           thens.size(), word_of(step.then), quote(one.fish.text())),
                      .expected = "as many of the one as of the other",
                      .remedy = "add the missing one if it is known"}));
        }
        return;
    }
    for (std::size_t i = 0; i < firsts.size(); ++i) {
        const Duration slack = Duration::seconds(
            2.0 * std::hypot(uncertainty_s(brief, *firsts[i]), uncertainty_s(brief, *thens[i])));
        if (thens[i]->at + slack < firsts[i]->at) {
            out.push_back(stop(thens[i]->place, "at",
                               {.code = ErrorCode::bad_time,
                                .found = fmt::format("{} of {} at {} comes before {} at {} ({})",
                                                     word_of(step.then), quote(thens[i]->fish.text()),
                                                     iso_text(thens[i]->at), word_of(step.first),
                                                     iso_text(firsts[i]->at), line_text(firsts[i]->place)),
                                .expected = word_of(step.first) + " first",
                                .remedy = "look whether the two are swapped"}));
        }
    }
}

/// When a fish died, by the event or by how a stay of it ended.
struct Death {
    Instant at;
    double uncertainty_s = 0.0;
    std::string where; ///< "line 4", "stays.csv, line 4"
};

/// The first one written down; of a stay that ended so without an event, its end.
std::optional<Death> death_of(const Brief& brief, const FishId& fish, const FishEvents& events,
                              const Tables& tables) {
    const auto deaths = of_kind(events, EventKind::died);
    if (!deaths.empty()) {
        const Event& first = *deaths.front();
        return Death{
            .at = first.at, .uncertainty_s = uncertainty_s(brief, first), .where = line_text(first.place)};
    }
    std::optional<Death> death;
    for (const auto& stay : tables.stays) {
        if (stay.fish == fish && stay.ended == StayEnding::died && (!death || stay.to() < death->at)) {
            death = Death{.at = stay.to(), .where = "stays.csv, " + line_text(stay.parts.back().place)};
        }
    }
    return death;
}

/// Handling of a fish after its death, other than taking it out.
void check_after_death(std::vector<Complaint>& out, const Brief& brief, const FishEvents& events,
                       const Death& death) {
    static const std::set<EventKind> of_the_living{
        EventKind::bite,    EventKind::hook_up,     EventKind::landed,    EventKind::back_in_water,
        EventKind::sealed,  EventKind::chase_start, EventKind::chase_end, EventKind::air_start,
        EventKind::air_end, EventKind::anaesthetic, EventKind::released};
    for (const Event* event : events) {
        const Duration slack =
            Duration::seconds(2.0 * std::hypot(death.uncertainty_s, uncertainty_s(brief, *event)));
        if (of_the_living.contains(event->kind) && event->at > death.at + slack) {
            // A dead fish that is put back is handled once more, and nothing is computed from it; of all else
            // a number would be.
            const bool is_release = event->kind == EventKind::released;
            Saying saying{.found = fmt::format("{} of {} after it died ({})", word_of(event->kind),
                                               quote(event->fish.text()), death.where),
                          .expected = "nothing after a death",
                          .remedy = "correct the fish or one of the times"};
            if (is_release) {
                saying.remedy += "; until then the death stands";
            }
            out.push_back(is_release ? warn(event->place, "at", std::move(saying))
                                     : stop(event->place, "at", std::move(saying)));
        }
    }
}

/// Stays that begin with a dead fish. Its uptake would be that of what lives on it.
void check_stays_after_death(std::vector<Complaint>& out, const FishId& fish, const Death& death,
                             const Tables& tables) {
    const Instant surely_dead = death.at + Duration::seconds(2.0 * death.uncertainty_s);
    const bool is_of_stays = death.where.starts_with("stays.csv");
    for (const auto& stay : tables.stays) {
        // A stay that ended with death begins where another one does, at the earliest.
        const bool is_after = is_of_stays ? stay.from() >= surely_dead : stay.from() > surely_dead;
        if (stay.fish == fish && is_after) {
            out.push_back(
                stop(stay.place, "from",
                     {.code = ErrorCode::bad_time,
                      .found = fmt::format("the stay {} of {} begins at {}, after it died at {} ({})",
                                           quote(stay.id.text()), quote(fish.text()), iso_text(stay.from()),
                                           iso_text(death.at),
                                           is_of_stays ? death.where : "events.csv, " + death.where),
                      .expected = "no stay after a death",
                      .remedy = "correct the fish, one of the times, or how the stay ended"}));
        }
    }
}

bool takes_the_fish_away(const Event& event) {
    return event.kind == EventKind::died || event.kind == EventKind::released;
}

/// Whether the event took the fish of this stay away while it was in it.
bool ends(const Event& event, const Stay& stay) {
    const bool is_its = stay.has_fish() && (event.fish == stay.fish || event.stay == stay.id);
    return is_its && takes_the_fish_away(event) && event.at >= stay.from() && event.at < stay.to();
}

/// A stay that goes on without its fish, and is not said to be good until earlier.
void check_stay_goes_on(std::vector<Complaint>& out, const Brief& brief, const Event& event,
                        const Tables& tables) {
    for (const auto& stay : tables.stays) {
        const Duration slack = Duration::seconds(2.0 * uncertainty_s(brief, event));
        if (!ends(event, stay) || event.at + slack >= stay.usable_to()) {
            continue;
        }
        const bool is_death = event.kind == EventKind::died;
        out.push_back(warn(
            event.place, "at",
            {.code = ErrorCode::bad_time,
             .found =
                 fmt::format("{} {} at {}, and its stay {} goes on to {} (stays.csv, {})",
                             quote(stay.fish.text()), word_of(event.kind), iso_text(event.at),
                             quote(stay.id.text()), iso_text(stay.to()), line_text(stay.parts.back().place)),
             .expected = is_death ? "a stay that ended with died, and its last good moment"
                                  : "a stay that ends where the fish leaves it",
             .remedy =
                 is_death
                     ? "nothing after the event is used; write last_good in stays.csv if the fish may have "
                       "died before it was seen"
                     : "nothing after the event is used; correct \"to\" in stays.csv"}));
    }
}

/// A swap at which the assembly has no new row: the old sensor's calibrations would go on.
void check_swap(std::vector<Complaint>& out, const Brief& brief, const Event& event, const Tables& tables) {
    if (event.kind != EventKind::sensor_swap) {
        return;
    }
    const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
    const AssemblyId& where = event.assembly.is_empty() && stay != nullptr ? stay->assembly : event.assembly;
    const double reach_s = std::max(2.0 * uncertainty_s(brief, event), farthest_swap_s);
    const bool is_told = std::ranges::any_of(tables.assemblies, [&](const Assembly& row) {
        return (where.is_empty() || row.id == where) && row.from &&
               std::abs((*row.from - event.at).seconds()) <= reach_s;
    });
    if (!is_told) {
        out.push_back(warn(
            event.place, "event",
            {.code = ErrorCode::bad_relation,
             .found = fmt::format("a sensor was swapped{}{} at {}, and no row of assemblies.csv begins then",
                                  where.is_empty() ? "" : " in ", where.is_empty() ? "" : quote(where.text()),
                                  iso_text(event.at)),
             .expected = "a row of the assembly from that moment, with the new sensor",
             .remedy = "end the old row there (\"to\") and add the new one: until then the old sensor's "
                       "calibrations go on"}));
    }
}

} // namespace

std::optional<Instant> last_good_of(const Stay& stay, const Tables& tables) {
    std::optional<Instant> last = stay.last_good;
    for (const auto& event : tables.events) {
        if (ends(event, stay) && (!last || event.at < *last)) {
            last = event.at;
        }
    }
    return last;
}

std::vector<Complaint> check_events(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    std::map<FishId, FishEvents> by_fish;
    for (const auto& event : tables.events) {
        check_event_names(out, brief, event, tables);
        check_weighing(out, event, tables);
        check_stay_goes_on(out, brief, event, tables);
        check_swap(out, brief, event, tables);
        FishId fish = event.fish;
        if (const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
            fish.is_empty() && stay) {
            fish = stay->fish;
        }
        if (!fish.is_empty()) {
            by_fish[fish].push_back(&event);
        }
    }
    for (const auto& [fish, events] : by_fish) {
        for (const Step step : steps) {
            check_step(out, brief, events, step);
        }
    }
    for (const auto& row : tables.fish) {
        const auto& events = by_fish[row.id];
        if (const auto death = death_of(brief, row.id, events, tables)) {
            check_after_death(out, brief, events, *death);
            check_stays_after_death(out, row.id, *death, tables);
        }
    }
    return out;
}

} // namespace backeddy::study
