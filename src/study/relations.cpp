#include "study/relations.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <string>
#include <tuple>
#include <type_traits>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "study/doubts.hpp"
#include "study/likeness.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

std::string quote(const std::string& text) {
    return "\"" + text + "\"";
}

/// "unknown fish "st1"; did you mean "st01"?"
template <typename Rows, typename Name>
Complaint unknown(const Place& place, const std::string& column, const std::string& name, const Rows& rows,
                  Name name_of, const std::string& file) {
    std::vector<std::string> names;
    for (const auto& row : rows) {
        names.push_back(name_of(row));
    }
    const auto near = nearest_name(name, names);
    std::string remedy = near ? "did you mean " + quote(*near) + "?" : "add it there, or correct it";
    if (look_alike(name, names)) {
        remedy = look_alike_remedy();
    }
    return stop(place, column,
                {.code = ErrorCode::unknown_name,
                 .found = quote(name) + " is not in " + file,
                 .expected = "a name that is",
                 .remedy = std::move(remedy)});
}

Complaint unknown_fish(const Place& place, const FishId& id, const Tables& tables) {
    return unknown(
        place, "fish", id.text(), tables.fish, [](const Fish& f) { return f.id.text(); }, "fish.csv");
}
Complaint unknown_stay(const Place& place, const StayId& id, const Tables& tables) {
    return unknown(
        place, "stay", id.text(), tables.stays, [](const Stay& s) { return s.id.text(); }, "stays.csv");
}
Complaint unknown_assembly(const Place& place, const AssemblyId& id, const Tables& tables) {
    return unknown(
        place, "assembly", id.text(), tables.assemblies, [](const Assembly& a) { return a.id.text(); },
        "assemblies.csv");
}

void append(std::vector<Complaint>& out, std::vector<Complaint> more) {
    out.insert(out.end(), std::make_move_iterator(more.begin()), std::make_move_iterator(more.end()));
}

/// Rows whose key was there before.
template <typename Rows, typename Key, typename Text>
void duplicates(std::vector<Complaint>& out, const Rows& rows, const std::string& column, Severity severity,
                Key key_of, Text text_of) {
    std::map<decltype(key_of(rows.front())), Place> seen;
    for (const auto& row : rows) {
        const auto [first, is_new] = seen.emplace(key_of(row), row.place);
        if (!is_new) {
            out.push_back(
                complaint(severity, row.place, column,
                          {.code = ErrorCode::duplicate,
                           .found = text_of(row) + " stands in " + line_text(first->second) + " already",
                           .expected = "each once",
                           .remedy = "delete one, or give it a name of its own"}));
        }
    }
}

Instant from_or_ever(const Assembly& row) {
    return row.from.value_or(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::min()));
}
Instant to_or_ever(const Assembly& row) {
    return row.to.value_or(Instant::unix_nanoseconds(std::numeric_limits<std::int64_t>::max()));
}

std::string from_to(Instant from, Instant to) {
    return iso_text(from) + " to " + iso_text(to);
}

} // namespace

// ---------------------------------------------------------------------------------------------- keys

std::vector<Complaint> check_keys(const Tables& tables) {
    std::vector<Complaint> out;
    constexpr auto stops = Severity::stops_the_run;
    duplicates(
        out, tables.fish, "fish", stops, [](const Fish& r) { return r.id.text(); },
        [](const Fish& r) { return "the fish " + quote(r.id.text()); });
    duplicates(
        out, tables.encounters, "encounter", stops, [](const Encounter& r) { return r.id.text(); },
        [](const Encounter& r) { return "the encounter " + quote(r.id.text()); });
    duplicates(
        out, tables.stays, "stay", stops, [](const Stay& r) { return r.id.text(); },
        [](const Stay& r) {
            return "the stay " + quote(r.id.text()) + " (its rows must follow each other)";
        });
    duplicates(
        out, tables.calibrations, "at", stops,
        [](const Calibration& r) { return std::tuple(r.sensor, r.at, r.point); },
        [](const Calibration& r) {
            return fmt::format("the {} point of {} at {}", word_of(r.point), quote(r.sensor.text()),
                               iso_text(r.at));
        });
    duplicates(
        out, tables.clock_checks, "shown", Severity::warning,
        [](const ClockCheck& r) { return std::tuple(r.clock, r.shown, r.true_time, r.reference); },
        [](const ClockCheck& r) { return "this check of " + quote(r.clock.text()); });
    duplicates(
        out, tables.events, "event", Severity::warning,
        [](const Event& r) { return std::tuple(r.at, r.kind, r.fish, r.stay, r.assembly, r.value, r.note); },
        [](const Event& r) { return "the same " + word_of(r.kind); });
    return out;
}

// ---------------------------------------------------------------------------------------------- encounters

std::vector<Complaint> check_encounters(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& row : tables.encounters) {
        if (!row.fish.is_empty() && tables.find(row.fish) == nullptr) {
            out.push_back(unknown_fish(row.place, row.fish, tables));
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- stays

std::vector<StaySplit> splits_of(const Stay& stay, const Tables& tables) {
    std::vector<StaySplit> out;
    for (const auto& row : tables.assemblies) {
        if (row.id != stay.assembly) {
            continue;
        }
        const Instant from = std::max(stay.from(), from_or_ever(row));
        const Instant to = std::min(stay.to(), to_or_ever(row));
        if (from < to) {
            out.push_back({.assembly = &row, .from = from, .to = to});
        }
    }
    std::ranges::stable_sort(out, {}, &StaySplit::from);
    return out;
}

namespace {

bool is_without_fish(uptake::StayRole role) {
    return role == uptake::StayRole::blank || role == uptake::StayRole::leak_test;
}

void check_parts(std::vector<Complaint>& out, const Stay& stay) {
    for (std::size_t i = 0; i < stay.parts.size(); ++i) {
        const auto& part = stay.parts[i];
        if (part.to <= part.from) {
            out.push_back(stop(part.place, "to",
                               {.code = ErrorCode::bad_time,
                                .found = "it ends (" + iso_text(part.to) + ") before it starts (" +
                                         iso_text(part.from) + ")",
                                .expected = "a later \"to\"",
                                .remedy = "look whether the two are swapped, or a date is a day off"}));
        }
        if (is_without_fish(part.role) == stay.has_fish()) {
            out.push_back(stop(
                part.place, stay.has_fish() ? "role" : "fish",
                {.found = stay.has_fish() ? word_of(part.role) + " with the fish " + quote(stay.fish.text())
                                          : word_of(part.role) + " without a fish",
                 .expected = "blank and leak_test without a fish, all other roles with one",
                 .remedy = "correct the role or the fish"}));
        }
        if (i == 0) {
            continue;
        }
        const auto& before = stay.parts[i - 1];
        if (part.from < before.to) {
            out.push_back(stop(part.place, "from",
                               {.found = iso_text(part.from) + " lies before the end of the row above (" +
                                         iso_text(before.to) + ")",
                                .expected = "roles of one stay that follow each other",
                                .remedy = "correct one of the two"}));
        } else if (part.from > before.to) {
            out.push_back(warn(part.place, "from",
                               {.found = "the stay " + quote(stay.id.text()) + " has no role from " +
                                         from_to(before.to, part.from),
                                .expected = "roles that follow each other; nothing in between is used",
                                .remedy = "close the hole, or leave it"}));
        }
    }
}

void check_last_good(std::vector<Complaint>& out, const Stay& stay) {
    const Place& place = stay.parts.back().place;
    if (stay.last_good && (*stay.last_good > stay.to() || *stay.last_good < stay.from())) {
        out.push_back(stop(place, "last_good",
                           {.code = ErrorCode::bad_time,
                            .found = iso_text(*stay.last_good) + " lies outside the stay (" +
                                     from_to(stay.from(), stay.to()) + ")",
                            .expected = "an instant inside it",
                            .remedy = "correct it, or leave it empty"}));
    }
    const bool ended_badly =
        stay.ended && *stay.ended != StayEnding::done && *stay.ended != StayEnding::opened;
    if (ended_badly && !stay.last_good) {
        out.push_back(warn(place, "last_good",
                           {.code = ErrorCode::bad_row,
                            .found = "no last good instant of a stay that ended with " + word_of(*stay.ended),
                            .expected = "the last moment at which all was well; everything up to " +
                                        iso_text(stay.to()) + " is used",
                            .remedy = "fill it in when it is known"}));
    }
}

/// Pieces of the stay that no row of its assembly covers, and swaps inside it.
void check_cover(std::vector<Complaint>& out, const Stay& stay, const Tables& tables) {
    const auto splits = splits_of(stay, tables);
    Instant covered = stay.from();
    const auto hole = [&](Instant from, Instant to) {
        out.push_back(stop(stay.place, "assembly",
                           {.found = "no row of " + quote(stay.assembly.text()) +
                                     " in assemblies.csv holds from " + from_to(from, to),
                            .expected = "one that does, for the whole stay " + quote(stay.id.text()),
                            .remedy = "correct from and to there, or add a row"}));
    };
    for (const auto& split : splits) {
        if (split.from > covered) {
            hole(covered, split.from);
        }
        covered = std::max(covered, split.to);
    }
    if (covered < stay.to()) {
        hole(covered, stay.to());
    }
    for (std::size_t i = 1; i < splits.size(); ++i) {
        const auto& a = *splits[i - 1].assembly;
        const auto& b = *splits[i].assembly;
        const bool is_swap = a.sensor != b.sensor;
        out.push_back(
            warn(stay.place, "assembly",
                 {.found = fmt::format("the stay {} splits at {}: {}", quote(stay.id.text()),
                                       iso_text(splits[i].from),
                                       is_swap ? "the sensor changed from " + quote(a.sensor.text()) +
                                                     " to " + quote(b.sensor.text())
                                               : "another row of " + quote(stay.assembly.text()) + " begins"),
                  .expected = fmt::format("no slope crosses it (assemblies.csv {} and {})",
                                          line_text(a.place), line_text(b.place)),
                  .remedy = "nothing, if so it was"}));
    }
}

void check_size(std::vector<Complaint>& out, const Brief& brief, const Stay& stay, const Tables& tables) {
    const Fish* fish = stay.has_fish() ? tables.find(stay.fish) : nullptr;
    const auto known = fish == nullptr ? std::nullopt : mass_for(*fish, stay, tables);
    if (!known) {
        return;
    }
    const Density density =
        fish->density.value_or(Density::kg_per_l(brief.uncertainty_at(stay.from()).density_kg_per_l));
    const Volume body = known->mass / density;
    for (const auto& split : splits_of(stay, tables)) {
        const Volume chamber = split.assembly->chamber_volume;
        if (body >= chamber) {
            out.push_back(
                stop(stay.place, "fish",
                     {.code = ErrorCode::out_of_range,
                      .found = fmt::format("{} weighs {} g, and {} holds {} L", quote(fish->id.text()),
                                           exact_text(known->mass.grams()), quote(stay.assembly.text()),
                                           exact_text(chamber.litres())),
                      .expected = "a fish that is smaller than its chamber",
                      .remedy = "look at mass_g (in g) and chamber_volume_l (in L)"}));
            return;
        }
    }
}

/// Pairs of stays that share `key` and overlap in time.
template <typename Key>
void overlaps(std::vector<Complaint>& out, const Tables& tables, Key key_of, const std::string& column,
              const std::string& what) {
    std::vector<const Stay*> stays;
    for (const auto& stay : tables.stays) {
        if (!key_of(stay).is_empty()) {
            stays.push_back(&stay);
        }
    }
    std::ranges::stable_sort(stays, {}, [](const Stay* s) { return s->from(); });
    std::map<std::remove_cvref_t<decltype(key_of(*stays.front()))>, const Stay*>
        latest; // the one that reaches furthest so far
    for (const Stay* stay : stays) {
        auto [place, is_new] = latest.emplace(key_of(*stay), stay);
        if (is_new) {
            continue;
        }
        const Stay* before = place->second;
        if (stay->from() < before->to()) {
            const Instant until = std::min(stay->to(), before->to());
            out.push_back(stop(stay->place, column,
                               {.found = fmt::format("{} {} in the stays {} ({}) and {} at once, {}", what,
                                                     quote(key_of(*stay).text()), quote(before->id.text()),
                                                     line_text(before->place), quote(stay->id.text()),
                                                     from_to(stay->from(), until)),
                                .expected = "one after the other",
                                .remedy = "correct from and to of one of them"}));
        }
        if (stay->to() > before->to()) {
            place->second = stay;
        }
    }
}

} // namespace

std::vector<Complaint> check_any_stay(const Tables& tables) {
    if (!tables.stays.empty()) {
        return {};
    }
    return {stop({.file = "stays.csv", .line = {}, .column = {}, .byte = {}}, {},
                 {.code = ErrorCode::too_few,
                  .found = "no stay: there is nothing to compute",
                  .expected = "a row for each time that a fish, or water alone (a blank), was in a chamber",
                  .remedy = "put the loggers' files into raw/, name them with [[trace]] in study.toml, and "
                            "fill in fish.csv, assemblies.csv and stays.csv"})};
}

std::vector<Complaint> check_stays(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& stay : tables.stays) {
        check_parts(out, stay);
        check_last_good(out, stay);
        if (stay.has_fish() && tables.find(stay.fish) == nullptr) {
            out.push_back(unknown_fish(stay.place, stay.fish, tables));
        }
        if (!tables.has(stay.assembly)) {
            out.push_back(unknown_assembly(stay.place, stay.assembly, tables));
        } else if (stay.from() < stay.to()) {
            check_cover(out, stay, tables);
            check_size(out, brief, stay, tables);
        }
    }
    overlaps(
        out, tables, [](const Stay& s) -> const AssemblyId& { return s.assembly; }, "assembly",
        "the assembly");
    overlaps(out, tables, [](const Stay& s) -> const FishId& { return s.fish; }, "fish", "the fish");
    return out;
}

// ---------------------------------------------------------------------------------------------- events

namespace {

double uncertainty_s(const Brief& brief, const Event& event) {
    return event.at_uncertainty ? event.at_uncertainty->seconds() : brief.uncertainty_at(event.at).event_s;
}

/// Two masses of one fish further apart than this factor are more likely two units than a meal (choice).
constexpr double strange_mass_factor = 1.5;

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

/// Handling of a fish after its death, other than taking it out.
void check_after_death(std::vector<Complaint>& out, const Brief& brief, const FishEvents& events) {
    const auto deaths = of_kind(events, EventKind::died);
    if (deaths.empty()) {
        return;
    }
    const Event& death = *deaths.front();
    static const std::set<EventKind> of_the_living{
        EventKind::bite,    EventKind::hook_up,     EventKind::landed,    EventKind::back_in_water,
        EventKind::sealed,  EventKind::chase_start, EventKind::chase_end, EventKind::air_start,
        EventKind::air_end, EventKind::anaesthetic, EventKind::released};
    for (const Event* event : events) {
        const Duration slack =
            Duration::seconds(2.0 * std::hypot(uncertainty_s(brief, death), uncertainty_s(brief, *event)));
        if (of_the_living.contains(event->kind) && event->at > death.at + slack) {
            out.push_back(stop(event->place, "at",
                               {.found = fmt::format("{} of {} after it died ({})", word_of(event->kind),
                                                     quote(event->fish.text()), line_text(death.place)),
                                .expected = "nothing after a death",
                                .remedy = "correct the fish or one of the times"}));
        }
    }
}

} // namespace

std::vector<Complaint> check_events(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    std::map<FishId, FishEvents> by_fish;
    for (const auto& event : tables.events) {
        check_event_names(out, brief, event, tables);
        check_weighing(out, event, tables);
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
        check_after_death(out, brief, events);
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- assemblies

namespace {

bool overlap(const Assembly& a, const Assembly& b) {
    return std::max(from_or_ever(a), from_or_ever(b)) < std::min(to_or_ever(a), to_or_ever(b));
}

void check_pair(std::vector<Complaint>& out, const Assembly& a, const Assembly& b) {
    if (!overlap(a, b)) {
        return;
    }
    if (a.id == b.id) {
        out.push_back(
            stop(b.place, "from",
                 {.found = "two rows of " + quote(a.id.text()) + " hold at once (" + line_text(a.place) + ")",
                  .expected = "one after the other",
                  .remedy = "end the first (\"to\") where the second begins"}));
        return;
    }
    if (a.sensor == b.sensor) {
        out.push_back(stop(b.place, "sensor",
                           {.found = quote(b.sensor.text()) + " is in " + quote(a.id.text()) + " as well (" +
                                     line_text(a.place) + ")",
                            .expected = "a sensor in one assembly at a time",
                            .remedy = "name the sensors apart, or correct from and to"}));
    }
    if (!a.oxygen.is_empty() && a.oxygen == b.oxygen) {
        out.push_back(stop(b.place, "oxygen",
                           {.found = quote(b.oxygen.text()) + " is the channel of " + quote(a.id.text()) +
                                     " as well (" + line_text(a.place) + ")",
                            .expected = "an oxygen channel of its own",
                            .remedy = "correct one of the two"}));
    }
}

void check_channel(std::vector<Complaint>& out, const Brief& brief, const Place& place,
                   const std::string& column, const Channel& channel) {
    if (channel.is_empty() || brief.trace(channel.trace) != nullptr) {
        return;
    }
    std::vector<std::string> names;
    for (const auto& trace : brief.traces) {
        names.push_back(trace.name);
    }
    const auto near = nearest_name(channel.trace, names);
    out.push_back(
        stop(place, column,
             {.code = ErrorCode::unknown_name,
              .found = quote(channel.text()) + ": the brief has no [[trace]] named " + quote(channel.trace),
              .expected = "\"trace:channel\"",
              .remedy = near ? "did you mean " + quote(*near + ":" + channel.channel) + "?"
                             : "add the trace to the brief, or correct the name"}));
}

} // namespace

std::vector<Complaint> check_assemblies(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (std::size_t i = 0; i < tables.assemblies.size(); ++i) {
        const auto& row = tables.assemblies[i];
        if (row.from && row.to && *row.to <= *row.from) {
            out.push_back(stop(row.place, "to",
                               {.code = ErrorCode::bad_time,
                                .found = "it ends (" + iso_text(*row.to) + ") before it starts (" +
                                         iso_text(*row.from) + ")",
                                .expected = "a later \"to\"",
                                .remedy = "look whether the two are swapped"}));
        }
        check_channel(out, brief, row.place, "oxygen", row.oxygen);
        check_channel(out, brief, row.place, "temperature", row.temperature);
        check_channel(out, brief, row.place, "pump", row.pump);
        for (std::size_t k = 0; k < i; ++k) {
            check_pair(out, tables.assemblies[k], row);
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- calibrations

namespace {

/// A zero alone says nothing of the slope.
void check_air_point(std::vector<Complaint>& out, const Assembly& row, const Tables& tables,
                     std::set<SensorId>& said) {
    const Calibration* zero = nullptr;
    for (const auto& point : tables.calibrations) {
        if (point.sensor != row.sensor) {
            continue;
        }
        if (point.point == CalibrationPoint::air) {
            return;
        }
        zero = zero == nullptr ? &point : zero;
    }
    if (zero != nullptr && said.insert(row.sensor).second) {
        out.push_back(warn(
            zero->place, "point",
            {.code = ErrorCode::too_few,
             .found = quote(row.sensor.text()) + " has a zero point and no air point",
             .expected = "an air point, which alone tells how steep the sensor is: its slope is taken as "
                         "it is, as of a sensor that was never calibrated",
             .remedy = "add its air points, or widen [uncertainty] uncalibrated_percent"}));
    }
}

} // namespace

std::vector<Complaint> check_calibrations(const Tables& tables) {
    std::vector<Complaint> out;
    std::set<SensorId> calibrated;
    std::set<SensorId> in_use;
    for (const auto& row : tables.assemblies) {
        in_use.insert(row.sensor);
    }
    for (const auto& row : tables.calibrations) {
        if (!in_use.contains(row.sensor) && !calibrated.contains(row.sensor)) {
            std::vector<std::string> names;
            for (const auto& sensor : in_use) {
                names.push_back(sensor.text());
            }
            const auto near = nearest_name(row.sensor.text(), names);
            out.push_back(warn(
                row.place, "sensor",
                {.code = ErrorCode::unknown_name,
                 .found = quote(row.sensor.text()) + " is in no assembly",
                 .expected = "a sensor of assemblies.csv",
                 .remedy = near ? "did you mean " + quote(*near) + "?" : "nothing, if it was not used"}));
        }
        calibrated.insert(row.sensor);
    }
    std::set<SensorId> said;
    for (const auto& row : tables.assemblies) {
        check_air_point(out, row, tables, said);
        if (!calibrated.contains(row.sensor) && said.insert(row.sensor).second) {
            out.push_back(
                warn(row.place, "sensor",
                     {.code = ErrorCode::too_few,
                      .found = quote(row.sensor.text()) + " was never calibrated (calibrations.csv)",
                      .expected = "an air point before and after; its readings are taken as they are",
                      .remedy = "add its points, or widen [uncertainty] uncalibrated_percent"}));
        }
    }
    // A sensor whose zero reads as high as its air: two points of one unit and sensor, swapped.
    for (const auto& zero : tables.calibrations) {
        for (const auto& air : tables.calibrations) {
            if (zero.point == CalibrationPoint::zero && air.point == CalibrationPoint::air &&
                zero.sensor == air.sensor && zero.unit == air.unit && zero.reading >= air.reading) {
                out.push_back(stop(zero.place, "reading",
                                   {.found = fmt::format("zero of {} reads {}, its air point ({}) {}",
                                                         quote(zero.sensor.text()), exact_text(zero.reading),
                                                         line_text(air.place), exact_text(air.reading)),
                                    .expected = "less at zero than in air",
                                    .remedy = "look whether the two are swapped"}));
            }
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- clocks

namespace {

/// Crystal clocks of loggers stay within about 2 s a day; ten times that is a slip or a wrong entry (choice).
constexpr double largest_drift_s_per_day = 20.0;
/// A twentieth of the time is no drift, nor is half an hour more than such a drift gives: an hour of daylight
/// saving, a date (choice).
constexpr double impossible_drift = 0.05;
constexpr double largest_slip_s = 1800.0;

bool is_reset(const ClockCheck& check) {
    return check.how == "reset";
}

double uncertainty_s(const Brief& brief, const ClockCheck& check) {
    return check.uncertainty ? check.uncertainty->seconds() : brief.uncertainty_at(check.shown).event_s;
}

void check_two(std::vector<Complaint>& out, const Brief& brief, const ClockCheck& a, const ClockCheck& b) {
    const double shown_s = (b.shown - a.shown).seconds();
    const double true_s = (b.true_time - a.true_time).seconds();
    const double tolerance_s = 4.0 * std::hypot(uncertainty_s(brief, a), uncertainty_s(brief, b));
    const std::string pair = fmt::format("{} and {}", line_text(a.place), line_text(b.place));
    if (true_s <= 0.0 && shown_s > tolerance_s) {
        out.push_back(
            stop(b.place, "true",
                 {.code = ErrorCode::bad_time,
                  .found = fmt::format("{} ran on by {} s while the true time went back by {} s ({})",
                                       quote(a.clock.text()), fixed_text(shown_s, 0), fixed_text(-true_s, 0),
                                       pair),
                  .expected = "two checks in the same order by both times",
                  .remedy = "look whether \"shown\" and \"true\" are swapped, or a date is wrong"}));
        return;
    }
    const double change_s = shown_s - true_s;
    const double days = std::abs(true_s) / 86400.0;
    if (std::abs(change_s) <= tolerance_s + largest_drift_s_per_day * days) {
        return;
    }
    const double beyond_s = std::abs(change_s) - tolerance_s - (largest_drift_s_per_day * days);
    if (std::abs(true_s) >= 600.0 &&
        (beyond_s > largest_slip_s || std::abs(change_s) > impossible_drift * std::abs(true_s))) {
        out.push_back(stop(
            b.place, "shown",
            {.code = ErrorCode::bad_time,
             .found =
                 fmt::format("{} went off by {} s in {} h ({}): every time between would be stretched by "
                             "{} %",
                             quote(a.clock.text()), fixed_text(change_s, 0), fixed_text(true_s / 3600.0, 1),
                             pair, significant_text(-100.0 * change_s / shown_s, 2)),
             .expected = fmt::format(
                 "at most {} s a day: no clock drifts so; it was set in between, or an entry is wrong",
                 fixed_text(largest_drift_s_per_day, 0)),
             .remedy =
                 "correct the wrong one (zone? a date?); if the clock was set, add a row whose \"how\" "
                 "is reset, \"shown\" being the first time it showed then, and a check on either side"}));
        return;
    }
    if (std::abs(true_s) < 600.0) {
        out.push_back(
            stop(b.place, "shown",
                 {.found = fmt::format("{} was off by {} s more than {} s before ({})", quote(a.clock.text()),
                                       fixed_text(change_s, 1), fixed_text(true_s, 0), pair),
                  .expected = fmt::format("checks so close that agree within their uncertainties ({} s)",
                                          fixed_text(tolerance_s, 1)),
                  .remedy = "delete the wrong one, or widen its uncertainty_s"}));
    } else {
        out.push_back(
            warn(b.place, "shown",
                 {.found = fmt::format("{} went off by {} s in {} h ({})", quote(a.clock.text()),
                                       fixed_text(change_s, 0), fixed_text(true_s / 3600.0, 1), pair),
                  .expected = fmt::format("at most {} s a day: was it set in between?",
                                          fixed_text(largest_drift_s_per_day, 0)),
                  .remedy = "add a check before and after it was set; look for a wrong entry"}));
    }
}

/// Clocks that are compared with each other in a circle, and so with no true time.
void check_circle(std::vector<Complaint>& out, const Tables& tables) {
    const auto ordered = clocks_in_order(tables);
    const auto is_caught = [&](const ClockId& clock) {
        return std::ranges::find(ordered, clock) == ordered.end() &&
               std::ranges::any_of(tables.clock_checks,
                                   [&](const ClockCheck& check) { return check.clock == clock; });
    };
    const ClockCheck* first = nullptr;
    std::set<std::string> names;
    for (const auto& check : tables.clock_checks) {
        if (check.reference != check.clock && !check.reference.is_empty() && is_caught(check.clock) &&
            is_caught(check.reference)) {
            first = first == nullptr ? &check : first;
            names.insert(quote(check.clock.text()));
        }
    }
    if (first != nullptr) {
        out.push_back(stop(first->place, "reference",
                           {.found = fmt::format("the clocks {} are each compared with another of them",
                                                 fmt::join(names, ", ")),
                            .expected = "clocks that lead to a true time: a reference that is not itself "
                                        "compared with the clock it serves",
                            .remedy = "leave \"reference\" empty where \"true\" is the true time, or delete "
                                      "the row of one direction"}));
    }
}

} // namespace

std::vector<Complaint> check_clocks(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    std::set<ClockId> used;
    std::vector<std::string> names;
    for (const auto& trace : brief.traces) {
        if (used.insert(trace.clock_id()).second) {
            names.push_back(trace.clock_id().text());
        }
    }
    std::map<ClockId, std::vector<const ClockCheck*>> by_clock;
    for (const auto& check : tables.clock_checks) {
        for (const auto& [clock, column] :
             {std::pair(check.clock, "clock"), std::pair(check.reference, "reference")}) {
            if (!clock.is_empty() && !used.contains(clock)) {
                const auto near = nearest_name(clock.text(), names);
                out.push_back(
                    warn(check.place, column,
                         {.code = ErrorCode::unknown_name,
                          .found = "no [[trace]] of the brief is on the clock " + quote(clock.text()),
                          .expected = "a clock that one is on",
                          .remedy = near ? "did you mean " + quote(*near) + "?"
                                         : "correct it, or say clock = in the brief"}));
            }
        }
        if (check.reference == check.clock) {
            out.push_back(stop(check.place, "reference",
                               {.found = quote(check.clock.text()) + " against itself",
                                .expected = "another clock, or empty for the true time",
                                .remedy = "correct it"}));
        } else if (check.reference.is_empty()) {
            by_clock[check.clock].push_back(&check);
        }
    }
    for (auto& [clock, checks] : by_clock) {
        std::ranges::stable_sort(checks, {}, [](const ClockCheck* c) { return c->shown; });
        for (std::size_t i = 1; i < checks.size(); ++i) {
            // Nothing ties the times before a clock was set to those after.
            if (!is_reset(*checks[i - 1]) && !is_reset(*checks[i])) {
                check_two(out, brief, *checks[i - 1], *checks[i]);
            }
        }
    }
    check_circle(out, tables);
    return out;
}

std::vector<ClockId> clocks_in_order(const Tables& tables) {
    std::map<ClockId, std::set<ClockId>> waits_for;
    for (const auto& check : tables.clock_checks) {
        auto& needed = waits_for[check.clock];
        if (!check.reference.is_empty()) {
            needed.insert(check.reference);
        }
    }
    std::vector<ClockId> out;
    std::set<ClockId> done;
    for (bool is_moving = true; is_moving;) {
        is_moving = false;
        for (const auto& [clock, needed] : waits_for) {
            // A clock without a row of its own is as it is: nothing to wait for.
            const bool is_ready = std::ranges::all_of(needed, [&](const ClockId& other) {
                return done.contains(other) || !waits_for.contains(other);
            });
            if (is_ready && done.insert(clock).second) {
                out.push_back(clock);
                is_moving = true;
            }
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- decisions

std::vector<Complaint> check_decisions(const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& row : tables.decisions) {
        const Stay* stay = tables.find(row.stay);
        if (stay == nullptr) {
            out.push_back(unknown_stay(row.place, row.stay, tables));
        }
        const auto outside = [&](const std::string& column, Instant moment) {
            if (stay != nullptr && (moment < stay->from() || moment > stay->to())) {
                out.push_back(
                    stop(row.place, column,
                         {.code = ErrorCode::bad_time,
                          .found = fmt::format("{} lies outside the stay {} ({})", iso_text(moment),
                                               quote(stay->id.text()), from_to(stay->from(), stay->to())),
                          .expected = "a moment inside it",
                          .remedy = "correct it"}));
            }
        };
        const bool moves = row.act == DecisionAct::move_start || row.act == DecisionAct::move_end;
        if (row.moment) {
            outside("moment", *row.moment);
        } else if (moves) {
            out.push_back(stop(row.place, "moment",
                               {.code = ErrorCode::bad_row,
                                .found = "no moment for " + word_of(row.act),
                                .expected = "an instant inside the one spell that is meant",
                                .remedy = "fill it in"}));
        }
        if (row.moved_to) {
            outside("value", *row.moved_to);
        }
        if (row.reason.empty() && row.act != DecisionAct::note) {
            out.push_back(stop(row.place, "reason",
                               {.code = ErrorCode::bad_row,
                                .found = word_of(row.act) + " without a reason",
                                .expected = "why: every decision is printed with its reason",
                                .remedy = "fill it in"}));
        }
        if (row.author.empty()) {
            out.push_back(warn(row.place, "author",
                               {.code = ErrorCode::bad_row,
                                .found = word_of(row.act) + " by nobody",
                                .expected = "who decided",
                                .remedy = "fill it in"}));
        }
    }
    return out;
}

// ---------------------------------------------------------------------------------------------- all

namespace {

void check_water_channels(std::vector<Complaint>& out, const Brief& brief, const Place& place,
                          const Water& water) {
    check_channel(out, brief, place, "salinity_channel", water.salinity_channel);
    check_channel(out, brief, place, "conductivity_channel", water.conductivity_channel);
    check_channel(out, brief, place, "pressure_channel", water.pressure_channel);
    check_channel(out, brief, place, "inflow_oxygen_channel", water.inflow_oxygen_channel);
    check_channel(out, brief, place, "inflow_temperature_channel", water.inflow_temperature_channel);
    if (water.inflow_oxygen_channel.is_empty() && !water.inflow_temperature_channel.is_empty()) {
        out.push_back(warn(place, "inflow_temperature_channel",
                           {.code = ErrorCode::bad_relation,
                            .found = "a temperature of the inflow without its oxygen",
                            .expected = "both, or neither: the temperature only turns the inflow's oxygen "
                                        "into mg/L",
                            .remedy = "name inflow_oxygen_channel too, or take the line out"}));
    }
}

/// What the brief leaves open although it matters.
std::vector<Complaint> check_water(const Brief& brief) {
    std::vector<Complaint> out;
    const Place place{.file = brief.file, .line = {}, .column = {}, .byte = {}};
    const auto is_refused = [&](const char* key) {
        return std::ranges::find(brief.refused, std::string("water.") + key) != brief.refused.end();
    };
    if (!brief.water.says_salinity() && !is_refused("salinity") && !is_refused("conductivity_ms_per_cm")) {
        out.push_back(warn(
            place, {},
            {.code = ErrorCode::bad_setting,
             .found = "[water] says nothing of salinity",
             .expected = "a number or a channel; 0, fresh water, is taken (in sea water that costs 20 %)",
             .remedy = "write salinity = 0.0 if the water is fresh"}));
    }
    if (!brief.water.says_pressure() && !is_refused("pressure_kpa") && !is_refused("altitude_m")) {
        out.push_back(warn(place, {},
                           {.code = ErrorCode::bad_setting,
                            .found = "[water] says nothing of barometric pressure",
                            .expected = "a number, a channel or an altitude; 101.325 kPa is taken",
                            .remedy = "write pressure_kpa, or altitude_m"}));
    }
    check_water_channels(out, brief, place, brief.water);
    return out;
}

/// A season is told from the next by the start of its stays (and calibrations, checks and events by their own
/// times): one in which nothing begins changes nothing, which a slip in its dates looks like.
std::vector<Complaint> check_seasons(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out;
    for (const auto& season : brief.seasons) {
        if (season.overrides_section("water")) {
            check_water_channels(out, brief, season.place, brief.at(season.from).water);
        }
        const bool is_used =
            std::ranges::any_of(tables.stays, [&](const Stay& stay) { return season.holds_at(stay.from()); });
        if (!is_used && !tables.stays.empty() && !season.overrides.empty()) {
            out.push_back(warn(season.place, {},
                               {.found = fmt::format("no stay begins in the season {} ({})",
                                                     quote(season.label()), from_to(season.from, season.to)),
                                .expected = "a season with stays: settings hold for stays that begin in it",
                                .remedy = "correct its dates, or leave it until it comes"}));
        }
    }
    return out;
}

} // namespace

std::vector<Complaint> check_relations(const Brief& brief, const Tables& tables) {
    std::vector<Complaint> out = check_water(brief);
    append(out, check_seasons(brief, tables));
    append(out, check_keys(tables));
    append(out, check_encounters(tables));
    append(out, check_any_stay(tables));
    append(out, check_stays(brief, tables));
    append(out, check_events(brief, tables));
    append(out, check_assemblies(brief, tables));
    append(out, check_calibrations(tables));
    append(out, check_clocks(brief, tables));
    append(out, check_decisions(tables));
    append(out, check_doubts(brief, tables));
    sort_by_place(out);
    return out;
}

std::vector<Instant> cleanings_of(const AssemblyId& assembly, const Tables& tables) {
    std::vector<Instant> out;
    for (const auto& event : tables.events) {
        const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
        const AssemblyId& where =
            event.assembly.is_empty() && stay != nullptr ? stay->assembly : event.assembly;
        if (event.kind == EventKind::cleaning && (where.is_empty() || where == assembly)) {
            out.push_back(event.at);
        }
    }
    std::ranges::sort(out);
    return out;
}

} // namespace backeddy::study
