#include "app/fish_answers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <mutex>
#include <numeric>
#include <set>
#include <span>

#include <fmt/format.h>

#include "app/detail/local_time.hpp"
#include "study/words.hpp"

namespace backeddy::app {

namespace {

using study::EventKind;
using uptake::PeakEvent;
using uptake::StayRole;

// ---------------------------------------------------------------- events of one fish

std::vector<const study::Event*> events_of(const Study& study, const FishAnswer& fish) {
    std::vector<const study::Event*> out;
    for (const auto& event : study.tables.events) {
        const bool by_stay = event.fish.is_empty() && !event.stay.is_empty() &&
                             std::any_of(fish.stays.begin(), fish.stays.end(),
                                         [&](const StayAnswer* s) { return s->stay->id == event.stay; });
        if (event.fish == fish.fish->id || by_stay) {
            out.push_back(&event);
        }
    }
    std::stable_sort(out.begin(), out.end(),
                     [](const study::Event* a, const study::Event* b) { return a->at < b->at; });
    return out;
}

// What led to one event: after the fish's earlier event of such a kind was over, until the chamber closed.
struct LeadUp {
    std::optional<Instant> after;
    Instant until;
};

const study::Event* last_of(const FishAnswer& fish, EventKind kind, const LeadUp& within) {
    const study::Event* found = nullptr;
    for (const auto* event : fish.events) {
        if (event->kind == kind && event->at <= within.until &&
            (!within.after || event->at > *within.after)) {
            found = event;
        }
    }
    return found;
}

// Sum of the air spells that end in [from, to].
std::optional<Duration> air_between(const FishAnswer& fish, Instant from, Instant to) {
    std::optional<Duration> sum;
    const study::Event* began = nullptr;
    for (const auto* event : fish.events) {
        if (event->kind == EventKind::air_start) {
            began = event;
        } else if (event->kind == EventKind::air_end && began != nullptr) {
            if (event->at >= from && event->at <= to) {
                sum = sum.value_or(Duration()) + (event->at - began->at);
            }
            began = nullptr;
        }
    }
    return sum;
}

EventKind kind_of(uptake::TimeZero zero) {
    switch (zero) {
    case uptake::TimeZero::hook_up:
        return EventKind::hook_up;
    case uptake::TimeZero::landed:
        return EventKind::landed;
    case uptake::TimeZero::back_in_water:
        return EventKind::back_in_water;
    case uptake::TimeZero::sealed:
        return EventKind::sealed;
    case uptake::TimeZero::chase_end:
        return EventKind::chase_end;
    case uptake::TimeZero::air_end:
        return EventKind::air_end;
    }
    return EventKind::back_in_water;
}

TimeZeroMoment moment_of(const study::Event& event, double standing_s) {
    return {.at = event.at,
            .word = study::word_of(event.kind),
            .uncertainty_s = event.at_uncertainty ? event.at_uncertainty->seconds() : standing_s};
}

// The last event of this kind; "air_end" after a chase means the end of both, whichever came last.
const study::Event* zero_after_chase(const FishAnswer& fish, EventKind kind, const LeadUp& led) {
    const auto* chase = last_of(fish, EventKind::chase_end, led);
    const auto* event = last_of(fish, kind, led);
    const bool is_old_air =
        kind == EventKind::air_end && chase != nullptr && event != nullptr && event->at < chase->at;
    return event == nullptr || is_old_air ? chase : event;
}

// The brief's own choice, then what is nearest in meaning.
std::array<EventKind, 4> kinds_after_capture(const study::Brief& brief) {
    return {kind_of(brief.recovery.time_zero), EventKind::back_in_water, EventKind::landed,
            EventKind::hook_up};
}

// The event that the stay follows: the brief's own choice, else the nearest in meaning that was written down.
TimeZeroMoment time_zero(const study::Brief& brief, const FishAnswer& fish, const study::StayPart& part,
                         PeakEvent what, const LeadUp& led) {
    const double standing_s = brief.uncertainty.event_s;
    if (what == PeakEvent::chase) {
        if (const auto* event = zero_after_chase(fish, kind_of(brief.time_zero_after_chase), led)) {
            return moment_of(*event, standing_s);
        }
    } else {
        for (const auto kind : kinds_after_capture(brief)) {
            if (const auto* event = last_of(fish, kind, led)) {
                return moment_of(*event, standing_s);
            }
        }
    }
    return {.at = part.from, .word = "stay_begins", .uncertainty_s = standing_s};
}

std::vector<uptake::HandlingEvent> handlings(const FishAnswer& fish, Instant from, Instant to) {
    std::vector<uptake::HandlingEvent> out;
    for (const auto* event : fish.events) {
        if (is_handling(event->kind) && event->at > from && event->at < to) {
            out.push_back({.at = event->at, .what = study::word_of(event->kind)});
        }
    }
    return out;
}

// ---------------------------------------------------------------- spells of one role

std::vector<std::size_t> spells_of(const StayAnswer& stay, StayRole role) {
    std::vector<std::size_t> out;
    if (stay.uptake) {
        for (std::size_t i = 0; i < stay.uptake->spells.size(); ++i) {
            if (stay.uptake->spells[i].role == role) {
                out.push_back(i);
            }
        }
    }
    return out;
}

std::vector<uptake::SpellUptake> answers_of(const StayAnswer& stay, const std::vector<std::size_t>& spells) {
    std::vector<uptake::SpellUptake> out;
    out.reserve(spells.size());
    for (const std::size_t i : spells) {
        out.push_back(stay.uptake->spells[i].answer);
    }
    return out;
}

bool has_role(const study::Stay& stay, StayRole role) {
    return std::any_of(stay.parts.begin(), stay.parts.end(),
                       [&](const study::StayPart& part) { return part.role == role; });
}

Error unanswered(std::string why) {
    return {.code = ErrorCode::too_few, .found = std::move(why)};
}

// ---------------------------------------------------------------- the parts

Instant last_handling_before(const FishAnswer& fish, Instant first_seal, Instant otherwise) {
    Instant last = otherwise;
    for (const auto* event : fish.events) {
        const bool counts = is_handling(event->kind) || event->kind == EventKind::back_in_water ||
                            event->kind == EventKind::chase_end || event->kind == EventKind::air_end;
        if (counts && event->at <= first_seal && event->at > last) {
            last = event->at;
        }
    }
    return last;
}

std::optional<RestingAnswer> resting_of(const Study& study, const FishAnswer& fish,
                                        const FishAnswer* before) {
    std::optional<RestingAnswer> best;
    for (const auto* stay : fish.stays) {
        auto spells = spells_of(*stay, StayRole::rest);
        if (spells.empty() || (best && spells.size() <= best->spells.size())) {
            continue;
        }
        best = RestingAnswer{.stay = stay,
                             .spells = spells,
                             .values = answers_of(*stay, spells),
                             .resting = fail(unanswered("not computed"))};
    }
    if (!best) {
        return best;
    }
    best->of_stay = best->stay->uptake.made();
    if (before != nullptr && before->rest && before->rest->of_stay == best->of_stay) {
        best->resting = before->rest->resting;
        return best;
    }
    if (best->stay->stay->ended == study::StayEnding::died) {
        best->resting =
            fail(unanswered("the fish died in this stay: what it took up before is no resting uptake"));
        return best;
    }
    auto settings = study.brief.at(best->stay->stay->from()).resting;
    settings.utc_offset = detail::utc_offset(study.brief.study.zone, best->stay->stay->from());
    best->resting = uptake::resting_uptake(
        {.spells = best->values,
         .handled = last_handling_before(fish, best->values.front().sealed_from, best->stay->stay->from()),
         .stay = best->stay->stay->id.text()},
        settings);
    return best;
}

// Of the time between the event and the readings: as written down, and by the logger's clock.
Duration event_uncertainty(const StayAnswer& stay, const EventAnswer& event) {
    double clock_s = 0.0;
    for (const std::size_t i : event.spells) {
        clock_s = std::max(clock_s, stay.slices[stay.uptake->spells[i].slice]->clock_uncertainty_s);
    }
    return Duration::seconds(std::hypot(clock_s, event.zero.uncertainty_s));
}

uptake::PeakInput peak_input(const StayAnswer& stay, const EventAnswer& event) {
    uptake::PeakInput input{
        .event = event.event, .at = event.zero.at, .air = event.air, .stay = stay.stay->id.text()};
    for (const std::size_t i : event.spells) {
        const auto& spell = stay.uptake->spells[i];
        const auto& slice = stay.input.slices[spell.slice];
        const bool carries_lag = stay.input.settings.model_lag_when_fast && uptake::is_fast(spell.role);
        input.spells.push_back({.spell = &spell,
                                .readings = uptake::readings_of(stay.input, spell),
                                .noise = slice.noise.value_or(fit::NoiseModel{}),
                                .modelled_lag_s = carries_lag ? slice.chamber.sensor_lag_s : 0.0});
    }
    if (stay.input.fish) {
        input.mass_kg = stay.input.fish->mass_kg;
    }
    input.clock_uncertainty = event_uncertainty(stay, event);
    return input;
}

uptake::RecoveryInput recovery_input(const FishAnswer& fish, const EventAnswer& event,
                                     const std::vector<uptake::SpellUptake>& tube,
                                     const std::vector<uptake::SpellUptake>& after,
                                     const StayAnswer* after_stay) {
    uptake::RecoveryInput input{.time_zero = event.zero.at,
                                .time_zero_uncertainty = event_uncertainty(*event.stay, event),
                                .tube = tube,
                                .after = after,
                                .fish = fish.fish->id.text()};
    Instant end = event.stay->stay->to();
    input.tube_until = end;
    if (after_stay != nullptr) {
        input.after_from = after_stay->stay->from();
        end = after_stay->stay->to();
    }
    input.events = handlings(fish, event.zero.at, end);
    if (event.peak) {
        input.peak = event.peak->corrected;
    }
    if (fish.rest && fish.rest->resting) {
        const auto& resting = *fish.rest->resting;
        input.resting = resting.value.corrected;
        input.resting_name = resting.name;
        input.routine = resting.routine;
    }
    return input;
}

// The rest that follows this event and comes before the next one.
const StayAnswer* stay_after(const FishAnswer& fish, const EventAnswer& event) {
    for (const auto* stay : fish.stays) {
        const bool follows = stay->stay->from() >= event.stay->stay->to() || stay == event.stay;
        if (follows && has_role(*stay->stay, StayRole::rest)) {
            return stay;
        }
        if (follows && stay != event.stay &&
            (has_role(*stay->stay, StayRole::after_chase) ||
             has_role(*stay->stay, StayRole::after_capture))) {
            return nullptr;
        }
    }
    return nullptr;
}

// Once recovery is known, the peak's curve can say what averaging over a window hides.
void add_averaging(EventAnswer& event) {
    if (event.peak && event.recovery && event.recovery->fit && !event.recovery->fit->rates_per_h.empty()) {
        uptake::add_averaging(*event.peak, event.recovery->fit->rates_per_h.front(),
                              event.recovery->fit->baseline_mg_per_h);
    }
}

Expected<uptake::Recovery> recovery_of(const Study& study, const FishAnswer& fish, const EventAnswer& event,
                                       const StayAnswer* after_stay) {
    const auto tube = answers_of(*event.stay, event.spells);
    const auto after = after_stay == nullptr
                           ? std::vector<uptake::SpellUptake>{}
                           : answers_of(*after_stay, spells_of(*after_stay, StayRole::rest));
    const auto brief = study.brief.at(event.stay->stay->from());
    auto settings = brief.recovery;
    settings.q10 = brief.adjust.q10;
    return uptake::recovery(
        recovery_input(fish, event, tube, after, after_stay == event.stay ? nullptr : after_stay), settings);
}

// `before`: the same event as it was answered last, and `has_same_rest`, whether its fish's rest was the
// same.
void answer_event(const Study& study, const FishAnswer& fish, const EventAnswer* before, bool has_same_rest,
                  EventAnswer& event) {
    const auto& stay = *event.stay;
    if (!stay.uptake) {
        event.peak = fail(stay.uptake.error());
        event.recovery = fail(stay.uptake.error());
        return;
    }
    if (event.spells.empty()) {
        event.peak = fail(unanswered("no sealed spell of this role in stay " + stay.stay->id.text()));
        event.recovery = fail(event.peak.error());
        return;
    }
    const auto brief = study.brief.at(stay.stay->from());
    const auto* after_stay = stay_after(fish, event);
    event.of_stay = stay.uptake.made();
    event.of_recovery = after_stay == nullptr ? nullptr : after_stay->uptake.made();
    const bool has_same_peak = before != nullptr && before->of_stay == event.of_stay;
    event.peak_alone =
        has_same_peak ? before->peak_alone : uptake::peak_uptake(peak_input(stay, event), brief.peak);
    event.peak = event.peak_alone;
    event.recovery = has_same_peak && has_same_rest && before->of_recovery == event.of_recovery
                         ? before->recovery
                         : recovery_of(study, fish, event, after_stay);
    add_averaging(event);
    if (event.peak && fish.rest && fish.rest->resting) {
        const auto& resting = *fish.rest->resting;
        event.scope = uptake::scope({.peak = event.peak->corrected,
                                     .resting = resting.value.corrected,
                                     .peak_at = Temperature::celsius(event.peak->temperature_celsius),
                                     .resting_at = Temperature::celsius(resting.temperature_mean_celsius),
                                     .peak_name = event.peak->name,
                                     .resting_name = resting.name},
                                    brief.adjust);
    }
}

// When this fish's last stretch in a fast role before this one ended: what is older belongs to that one. A
// fish that is met again keeps its captures apart.
std::optional<Instant> earlier_event_over(const FishAnswer& fish, const study::Stay& stay, StayRole role) {
    const auto own = std::find_if(stay.parts.begin(), stay.parts.end(),
                                  [&](const study::StayPart& part) { return part.role == role; });
    std::optional<Instant> last;
    for (const auto* other : fish.stays) {
        for (const auto& part : other->stay->parts) {
            if (uptake::is_fast(part.role) && part.to <= own->from && (!last || part.to > *last)) {
                last = part.to;
            }
        }
    }
    return last;
}

const study::StayPart& part_of(const study::Stay& stay, StayRole role) {
    return *std::find_if(stay.parts.begin(), stay.parts.end(),
                         [&](const study::StayPart& part) { return part.role == role; });
}

// When the chamber first closed in this role: by the first spell with a slope, else by the states; where
// neither says, when the role begins.
Instant closed_at(const StayAnswer& stay, const std::vector<std::size_t>& spells,
                  const study::StayPart& part) {
    if (!spells.empty()) {
        return stay.uptake->spells[spells.front()].answer.sealed_from;
    }
    if (stay.uptake) {
        for (const auto& state : stay.uptake->states) {
            const bool is_closed = state.run.state == uptake::ChamberState::settle ||
                                   state.run.state == uptake::ChamberState::sealed;
            if (is_closed && state.run.from >= part.from && state.run.from < part.to) {
                return state.run.from;
            }
        }
    }
    return part.from;
}

// Events that should have come before the chamber closed and are written down for when it was closed: one of
// the two times is wrong. Whether time zero would have been one of them shows in the words.
std::vector<const study::Event*> late_for(const FishAnswer& fish, PeakEvent what, const study::StayPart& part,
                                          Instant closed) {
    static const std::set<EventKind> of_capture{EventKind::landed, EventKind::back_in_water,
                                                EventKind::air_end};
    static const std::set<EventKind> of_chase{EventKind::chase_end, EventKind::air_end};
    const auto& kinds = what == PeakEvent::chase ? of_chase : of_capture;
    std::vector<const study::Event*> out;
    for (const auto* event : fish.events) {
        if (kinds.contains(event->kind) && event->at > closed && event->at < part.to) {
            out.push_back(event);
        }
    }
    return out;
}

std::string zero_text(const TimeZeroMoment& zero) {
    return zero.word == "stay_begins"
               ? fmt::format("time zero is the start of the role, {}, since no event says more",
                             iso_text(zero.at))
               : fmt::format("time zero is taken from {} at {}", zero.word, iso_text(zero.at));
}

// What a result says of an event that was not its time zero.
std::string passed_over_text(const EventAnswer& event) {
    std::string out = zero_text(event.zero);
    for (const auto* late : event.late) {
        out += fmt::format("; not from {} at {} (events.csv, {}), which lies after the chamber closed at {}",
                           study::word_of(late->kind), iso_text(late->at), study::line_text(late->place),
                           iso_text(event.closed));
    }
    return out;
}

// The event that one stretch in a fast role follows.
EventAnswer event_before(const Study& study, const FishAnswer& fish, const StayAnswer& stay, StayRole role,
                         PeakEvent what) {
    const auto& part = part_of(*stay.stay, role);
    EventAnswer event{.event = what,
                      .stay = &stay,
                      .spells = spells_of(stay, role),
                      .peak = fail(unanswered("not computed")),
                      .peak_alone = fail(unanswered("not computed")),
                      .recovery = fail(unanswered("not computed"))};
    event.closed = closed_at(stay, event.spells, part);
    const LeadUp led{.after = earlier_event_over(fish, *stay.stay, role), .until = event.closed};
    event.zero = time_zero(study.brief.at(stay.stay->from()), fish, part, what, led);
    event.late = late_for(fish, what, part, event.closed);
    if (!event.late.empty()) {
        event.zero.not_from = passed_over_text(event);
    }
    const auto* began =
        last_of(fish, what == PeakEvent::chase ? EventKind::chase_start : EventKind::hook_up, led);
    event.air =
        air_between(fish, began != nullptr ? began->at : event.zero.at - Duration::hours(1.0), event.closed);
    return event;
}

// Stays of a fast role, each with the event it follows.
void find_events(const Study& study, FishAnswer& fish) {
    struct Kind {
        StayRole role;
        PeakEvent event;
    };
    for (const auto* stay : fish.stays) {
        for (const auto& kind : {Kind{StayRole::after_capture, PeakEvent::capture},
                                 Kind{StayRole::after_chase, PeakEvent::chase},
                                 Kind{StayRole::handled_only, PeakEvent::handling}}) {
            if (has_role(*stay->stay, kind.role)) {
                fish.after.push_back(event_before(study, fish, *stay, kind.role, kind.event));
            }
        }
    }
}

uptake::PeakSurroundings surroundings(const FishAnswer& fish, const EventAnswer& event) {
    uptake::PeakSurroundings out{.assembly = event.stay->stay->assembly.text(), .air = event.air};
    if (!event.stay->slices.empty()) {
        out.sensor = event.stay->slices.front()->trace.sensor;
    }
    const auto* bled = last_of(fish, EventKind::blood, {.after = {}, .until = event.zero.at});
    out.bled_before = bled != nullptr;
    return out;
}

void note_missing(FishAnswer& fish) {
    const auto add = [&](std::string metric, std::string why) {
        fish.missing.push_back({.metric = std::move(metric), .why = std::move(why)});
    };
    for (const auto& event : fish.after) {
        if (!event.peak) {
            add(uptake::peak_name(event.event), event.peak.error().text());
        }
        if (!event.recovery) {
            add("recovery", event.recovery.error().text());
        }
    }
    if (fish.after_event(PeakEvent::capture) == nullptr) {
        add(uptake::peak_name(PeakEvent::capture), "no stay with the role after_capture");
    }
    if (!fish.rest) {
        add("resting", "no stay with the role rest, or no sealed spell in it");
    } else if (!fish.rest->resting) {
        add("resting", fish.rest->resting.error().text());
    }
    const bool is_weighed = std::any_of(fish.stays.begin(), fish.stays.end(),
                                        [](const StayAnswer* stay) { return stay->mass.has_value(); });
    if (!fish.fish->mass && !is_weighed) {
        add("mass-specific uptake", "not weighed: uptake is in mg/h, with the whole chamber's volume");
    }
}

// A fish with its stays, its events and what they follow; nothing computed yet.
FishAnswer gathered(const Study& study, std::span<const StayAnswer> stays, const study::Fish& fish) {
    FishAnswer out{.fish = &fish};
    for (const auto& stay : stays) {
        if (stay.fish == &fish) {
            out.stays.push_back(&stay);
        }
    }
    std::stable_sort(out.stays.begin(), out.stays.end(), [](const StayAnswer* a, const StayAnswer* b) {
        return a->stay->from() < b->stay->from();
    });
    out.events = events_of(study, out);
    find_events(study, out);
    return out;
}

// Of a rest: which outcome of a stay; nothing where there is none.
Computed rest_made_of(const FishAnswer& fish) {
    return fish.rest ? fish.rest->of_stay : nullptr;
}

// `before`: the fish as it was answered last, whose parts are taken over where their stays are the same.
FishAnswer answer_one(const Study& study, const StayAnswers& stays, const study::Fish& fish,
                      const FishAnswer* before, Threads threads) {
    FishAnswer out = gathered(study, stays.list, fish);
    out.rest = resting_of(study, out, before);
    const bool has_same_rest = before != nullptr && rest_made_of(*before) == rest_made_of(out);
    parallel_for(out.after.size(), threads, [&](std::size_t i) {
        const bool is_known = before != nullptr && i < before->after.size();
        answer_event(study, out, is_known ? &before->after[i] : nullptr, has_same_rest, out.after[i]);
    });
    const auto* capture = out.after_event(PeakEvent::capture);
    const auto* chase = out.after_event(PeakEvent::chase);
    if (capture != nullptr && chase != nullptr && capture->peak && chase->peak) {
        out.pair =
            uptake::peak_pair(*capture->peak, surroundings(out, *capture), *chase->peak,
                              surroundings(out, *chase), study.brief.at(chase->stay->stay->from()).adjust);
    }
    note_missing(out);
    out.made = std::make_shared<const char>();
    return out;
}

} // namespace

bool FishAnswer::came_to_rest() const {
    return rest && rest->resting && rest->resting->standing != uptake::RestingStanding::not_recovered;
}

const EventAnswer* FishAnswer::after_event(PeakEvent event) const {
    const auto found =
        std::find_if(after.begin(), after.end(), [&](const EventAnswer& a) { return a.event == event; });
    return found == after.end() ? nullptr : &*found;
}

std::optional<TimeZeroMoment> time_zero_of(const Study& study, const FishAnswer& fish) {
    if (const auto* capture = fish.after_event(PeakEvent::capture)) {
        return capture->zero;
    }
    const bool has_stay = !fish.stays.empty();
    const auto& brief = has_stay ? study.brief.at(fish.stays.front()->stay->from()) : study.brief;
    for (const auto kind : kinds_after_capture(brief)) {
        const auto found = std::find_if(fish.events.begin(), fish.events.end(),
                                        [&](const study::Event* event) { return event->kind == kind; });
        if (found != fish.events.end()) {
            return moment_of(**found, brief.uncertainty.event_s);
        }
    }
    if (!fish.after.empty()) {
        return fish.after.front().zero;
    }
    return has_stay ? std::optional(TimeZeroMoment{.at = fish.stays.front()->stay->from(),
                                                   .word = "stay_begins",
                                                   .uncertainty_s = brief.uncertainty.event_s})
                    : std::nullopt;
}

std::vector<study::Complaint> late_events(const Study& study, std::span<const StayAnswer> stays) {
    std::vector<study::Complaint> out;
    for (const auto& row : study.tables.fish) {
        const auto fish = gathered(study, stays, row);
        for (const auto& event : fish.after) {
            for (const auto* late : event.late) {
                const auto& stay = *event.stay->stay;
                out.push_back(study::warn(
                    late->place, "at",
                    {ErrorCode::bad_time,
                     fmt::format("{} of \"{}\" at {} lies after the chamber of the stay \"{}\" closed at {} "
                                 "(stays.csv, {})",
                                 study::word_of(late->kind), row.id.text(), iso_text(late->at),
                                 stay.id.text(), iso_text(event.closed), study::line_text(stay.place)),
                     "what comes before a stay before its chamber closes; " + zero_text(event.zero),
                     "correct the event's time, or the times of the stay"}));
            }
        }
    }
    return out;
}

bool is_handling(EventKind kind) {
    return kind == EventKind::blood || kind == EventKind::transfer || kind == EventKind::anaesthetic ||
           kind == EventKind::disturbance || kind == EventKind::tagged || kind == EventKind::opened;
}

namespace {

// The fish of these numbers, in any order of work.
void answer_these(std::span<const std::size_t> which, std::vector<FishAnswer>& out, const Study& study,
                  const StayAnswers& stays, Threads threads, const Progress& progress) {
    std::size_t done = 0;
    std::mutex guard;
    // Of few fish their events are answered side by side.
    const Threads within = which.size() < threads.resolved() ? threads : Threads{.count = 1};
    parallel_for(which.size(), threads, [&](std::size_t i) {
        const auto before = std::exchange(out[which[i]], FishAnswer());
        out[which[i]] =
            answer_one(study, stays, study.tables.fish[which[i]], before.made ? &before : nullptr, within);
        const std::lock_guard lock(guard);
        progress("peak, rest, recovery", ++done, which.size(), "fish");
    });
}

} // namespace

std::vector<FishAnswer> answer_fish(const Study& study, const StayAnswers& stays, Threads threads,
                                    const Progress& progress) {
    std::vector<FishAnswer> out(study.tables.fish.size());
    std::vector<std::size_t> all(out.size());
    std::iota(all.begin(), all.end(), std::size_t{0});
    answer_these(all, out, study, stays, threads, progress);
    return out;
}

void answer_fish_again(const Study& study, const StayAnswers& stays, const std::vector<bool>& is_changed,
                       std::vector<FishAnswer>& fish, Threads threads, const Progress& progress) {
    std::set<const study::Fish*> touched;
    for (std::size_t i = 0; i < is_changed.size(); ++i) {
        if (is_changed[i]) {
            touched.insert(stays.list[i].fish);
        }
    }
    std::vector<std::size_t> which;
    for (std::size_t i = 0; i < fish.size(); ++i) {
        if (touched.contains(fish[i].fish)) {
            which.push_back(i);
        }
    }
    answer_these(which, fish, study, stays, threads, progress);
}

std::vector<FishAnswer> of_copied_stays(std::vector<FishAnswer> fish, const StayAnswers& stays,
                                        const StayAnswers& copy) {
    const auto move = [&](const StayAnswer*& stay) {
        stay = &copy.list[static_cast<std::size_t>(stay - stays.list.data())];
    };
    for (auto& one : fish) {
        std::ranges::for_each(one.stays, move);
        for (auto& event : one.after) {
            move(event.stay);
        }
        if (one.rest) {
            move(one.rest->stay);
        }
    }
    return fish;
}

} // namespace backeddy::app
