#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "app/detail/local_time.hpp"
#include "app/detail/observed_condition.hpp"
#include "app/detail/observed_rows.hpp"
#include "app/detail/results_parts.hpp"
#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using findings::Absent;
using findings::Cell;
using findings::Observations;
using findings::Value;
using findings::Within;
using findings::Word;
using study::EventKind;
using uptake::PeakEvent;

constexpr double infinite = std::numeric_limits<double>::infinity();

Cell measured_cell(const Measured& measured) {
    return Value{.value = measured.value(),
                 .uncertainty = measured.standard_uncertainty(),
                 .contributions = {measured.contributions().begin(), measured.contributions().end()}};
}

// A cell of a column of the study's own: a number, a number below or above a limit, or words.
Cell free_cell(const std::string& text) {
    if (const auto number = parse_number(text)) {
        return Value{.value = *number};
    }
    if (text.size() > 1 && (text[0] == '<' || text[0] == '>')) {
        const auto from = text.find_first_not_of(" =", 1);
        const auto limit = from == std::string::npos ? std::nullopt : parse_number(text.substr(from));
        if (limit) {
            return text[0] == '<' ? Within{.lower = -infinite, .upper = *limit}
                                  : Within{.lower = *limit, .upper = infinite};
        }
    }
    return word_cell(text);
}

// ---------------------------------------------------------------- metrics

Cell specific_cell(const uptake::UptakeRate& rate) {
    return rate.mg_per_kg_h ? measured_cell(*rate.mg_per_kg_h) : Cell(Absent{not_weighed});
}

Cell peak_cell(const EventAnswer* event, const char* none) {
    if (event == nullptr) {
        return Absent{none};
    }
    if (!event->peak) {
        return Absent{event->peak.error().text()};
    }
    if (event->peak->mark == uptake::Mark::unusable) {
        return Absent{uptake::joined(event->peak->reasons)};
    }
    return specific_cell(event->peak->corrected);
}

Cell resting_cell(const FishAnswer& fish) {
    if (!fish.rest) {
        return Absent{"no resting stay"};
    }
    if (!fish.rest->resting) {
        return Absent{fish.rest->resting.error().text()};
    }
    return fish.came_to_rest() ? specific_cell(fish.rest->resting->value.corrected)
                               : Cell(Absent{"the fish never came to rest"});
}

enum class ScopeKind : unsigned char { absolute, ratio };

Cell scope_cell(const FishAnswer& fish, const EventAnswer* event, ScopeKind kind) {
    if (event == nullptr || !event->scope || !fish.came_to_rest()) {
        return Absent{"no peak, or no rest to measure it from"};
    }
    if (!*event->scope) {
        return Absent{event->scope->error().text()};
    }
    const auto& scope = (**event->scope).as_measured;
    return kind == ScopeKind::ratio ? measured_cell(scope.factorial) : specific_cell(scope.absolute);
}

enum class ExcessKind : unsigned char { boat_hour, total };

Cell excess_cell(const EventAnswer* event, ExcessKind kind) {
    if (event == nullptr) {
        return Absent{"no such event"};
    }
    if (!event->recovery) {
        return Absent{event->recovery.error().text()};
    }
    if (event->recovery->baselines.empty()) {
        return Absent{"no level of rest to measure from"};
    }
    const auto& baseline = event->recovery->baselines.front();
    const auto& excess = kind == ExcessKind::boat_hour ? baseline.tube : baseline.capture_plus_handling;
    if (!excess || !excess->amount.mg_per_kg) {
        return Absent{!excess ? "no excess could be computed" : not_weighed};
    }
    const auto& amount = *excess->amount.mg_per_kg;
    return excess->at_least ? Cell(Within{.lower = amount.value(), .upper = infinite, .at = amount.value()})
                            : measured_cell(amount);
}

const char* ending_word(study::StayEnding ended) {
    switch (ended) {
    case study::StayEnding::died:
        return "died";
    case study::StayEnding::escaped:
        return "escaped";
    case study::StayEnding::welfare_stop:
        return "withdrawn";
    case study::StayEnding::done:
    case study::StayEnding::equipment:
    case study::StayEnding::opened:
        return nullptr; // the looking ended, whatever the fish did
    }
    return nullptr;
}

// What took the fish away in the stays in which it was watched after the event, before another event began.
std::optional<findings::Ending> ending_after(const FishAnswer& fish, const EventAnswer& event) {
    const auto next = std::ranges::find_if(
        fish.after, [&](const EventAnswer& other) { return other.zero.at > event.zero.at; });
    std::optional<findings::Ending> first;
    const auto take = [&](const char* word, Instant at) {
        const double hours = (at - event.zero.at).hours();
        if (hours > 0.0 && (!first || hours < first->at)) {
            first = findings::Ending{.word = word, .at = hours};
        }
    };
    for (const auto* stay : fish.stays) {
        const bool is_watched = stay->stay->to() > event.zero.at &&
                                (next == fish.after.end() || stay->stay->from() < next->zero.at);
        if (!is_watched) {
            continue;
        }
        if (const char* word = stay->stay->ended ? ending_word(*stay->stay->ended) : nullptr) {
            take(word, stay->stay->to());
        }
        for (const auto* died : fish.events) {
            if (died->kind == EventKind::died && died->at >= stay->stay->from() &&
                died->at <= stay->stay->to()) {
                take("died", died->at);
            }
        }
    }
    return first;
}

Cell recovery_cell(const FishAnswer& fish, const EventAnswer* event) {
    if (event == nullptr) {
        return Absent{"no such event"};
    }
    if (!event->recovery) {
        return Absent{event->recovery.error().text(), ending_after(fish, *event)};
    }
    if (event->recovery->baselines.empty()) {
        return Absent{"no level of rest to recover to", ending_after(fish, *event)};
    }
    const auto& time = event->recovery->baselines.front().by_data;
    if (!time.hours) {
        Within within{.lower = time.at_least_h, .upper = infinite, .ending = ending_after(fish, *event)};
        if (within.ending) {
            within.ending->at = std::max(within.ending->at, within.lower);
        }
        return within;
    }
    // Its limits are those of an error of measurement, not of when anybody looked: they are no censoring.
    Value value{.value = *time.hours};
    if (time.at_most_h) {
        value.uncertainty = (*time.at_most_h - time.at_least_h) / (2.0 * 1.959964);
    }
    return value;
}

// ---------------------------------------------------------------- handling

const study::Event* first_of(const FishAnswer& fish, EventKind kind, std::optional<Instant> after = {}) {
    for (const auto* event : fish.events) {
        if (event->kind == kind && (!after || event->at >= *after)) {
            return event;
        }
    }
    return nullptr;
}

/// By fates.csv, an event or the end of a stay: fate_records() has all three.
bool is_known_dead(const FishCondition& condition) {
    return condition.fate && condition.fate->fate.ending == condition::FateEnding::dead;
}

// When the fish was last seen alive: by a look, a detection that counts or a recapture, at the end of a stay
// that says how the fish came out of it, or let go after holding. Let go without holding it is known alive
// until that moment alone, which is too early to show anything.
std::optional<Instant> seen_alive_after(const Study& study, const FishAnswer& fish,
                                        const FishCondition& condition) {
    std::optional<Instant> last;
    const auto take = [&](Instant at) { last = std::max(last.value_or(at), at); };
    for (const auto* stay : fish.stays) {
        const auto& ended = stay->stay->ended;
        if (ended == study::StayEnding::done || ended == study::StayEnding::welfare_stop) {
            take(stay->stay->to());
        }
    }
    if (!condition.fate || !condition.fate->fate.last_alive) {
        return last;
    }
    const auto& fate = condition.fate->fate;
    // Rows that are left out tell of deaths and losses alone, which are not looked at here.
    const auto records =
        study::fate_records(fish.fish->id, study.tables.sheets.fates, study.brief, study.tables).records;
    const auto was_held = [&](Instant before) {
        return std::ranges::any_of(fish.stays,
                                   [&](const auto* stay) { return stay->stay->from() < before; }) ||
               std::ranges::any_of(records, [&](const condition::FateRecord& record) {
                   return record.kind == condition::FateKind::held && record.at < before;
               });
    };
    for (const auto& record : records) {
        using condition::FateKind;
        const bool is_look = record.kind == FateKind::seen_alive || record.kind == FateKind::detected ||
                             record.kind == FateKind::recaptured || record.kind == FateKind::released;
        const bool is_after = (fate.released && record.at > *fate.released) || was_held(record.at) ||
                              (!fate.released && record.kind != FateKind::released);
        if (is_look && is_after && record.at <= *fate.last_alive) { // a detection may show no life
            take(record.at);
        }
    }
    return last;
}

Cell died_cell(const Study& study, const FishAnswer& fish, const FishCondition& condition) {
    if (is_known_dead(condition)) {
        return Word{"yes"};
    }
    const auto* fate = condition.fate ? &condition.fate->fate : nullptr;
    if (fate != nullptr && fate->ending == condition::FateEnding::lost) {
        return Absent{fate->cause.empty() ? "lost to follow-up"
                                          : fmt::format("lost to follow-up ({})", fate->cause)};
    }
    if (seen_alive_after(study, fish, condition)) {
        return Word{"no"};
    }
    return Absent{fate != nullptr && fate->released
                      ? fmt::format("not seen since it was released at {}: alive then, and nothing is known "
                                    "since",
                                    iso_text(*fate->released))
                      : "nothing is written down of its fate"};
}

// Hours from capture until the fish was found dead or last seen alive.
std::optional<double> followed_h(const Study& study, const FishAnswer& fish, const FishCondition& condition) {
    const auto caught = caught_at(condition);
    const auto dead = condition.fate ? condition.fate->fate.found_dead : std::nullopt;
    const auto until = dead ? dead : seen_alive_after(study, fish, condition);
    return caught && until && *until > *caught ? std::optional((*until - *caught).hours()) : std::nullopt;
}

// From capture to the end of the last stay, or to death or release where that came first.
Cell held_cell(const FishAnswer& fish) {
    const auto* capture = fish.after_event(PeakEvent::capture);
    if (capture == nullptr || fish.stays.empty()) {
        return Absent{"no stay after capture"};
    }
    Instant end = fish.stays.front()->stay->to();
    for (const auto* stay : fish.stays) {
        end = std::max(end, stay->stay->to());
    }
    for (const auto kind : {EventKind::released, EventKind::died}) {
        if (const auto* event = first_of(fish, kind, capture->zero.at)) {
            end = std::min(end, event->at);
        }
    }
    return Value{.value = (end - capture->zero.at).hours()};
}

void set_metrics(const Study& study, const FishAnswer& fish, const FishCondition& condition,
                 Observations& rows, std::size_t row) {
    const auto* capture = fish.after_event(PeakEvent::capture);
    const auto* chase = fish.after_event(PeakEvent::chase);
    rows.set(row, "peak_after_capture", peak_cell(capture, "no stay after capture"));
    rows.set(row, "peak_after_chase", peak_cell(chase, "not chased"));
    rows.set(row, "resting", resting_cell(fish));
    rows.set(row, "scope_after_capture", scope_cell(fish, capture, ScopeKind::absolute));
    rows.set(row, "scope_after_chase", scope_cell(fish, chase, ScopeKind::absolute));
    rows.set(row, "scope_ratio_after_capture", scope_cell(fish, capture, ScopeKind::ratio));
    rows.set(row, "scope_ratio_after_chase", scope_cell(fish, chase, ScopeKind::ratio));
    rows.set(row, "excess_boat_hour", excess_cell(capture, ExcessKind::boat_hour));
    rows.set(row, "excess_total", excess_cell(capture, ExcessKind::total));
    rows.set(row, "recovery_h", recovery_cell(fish, capture));
    rows.set(row, "recovery_after_chase_h", recovery_cell(fish, chase));
    rows.set(row, "died", died_cell(study, fish, condition));
    set_derived(rows, row, "death_after_capture_h", death_cell(condition));
    rows.set(row, "held_h", held_cell(fish));
    if (capture != nullptr && capture->peak) {
        rows.set(row, "temperature_c", Value{.value = capture->peak->temperature_celsius});
        rows.set(row, "seal_delay_s", Value{.value = capture->peak->delay_to_seal.seconds()});
        rows.set(row, "tube", word_cell(capture->stay->stay->assembly.text()));
    }
}

} // namespace

Cell word_cell(const std::string& text) {
    return text.empty() ? Cell(Absent{}) : Cell(Word{text});
}

namespace {

struct NamedCell {
    std::string column;
    Cell cell;
};

std::vector<NamedCell> cells_of(const Study& study, const study::Encounter& met) {
    std::vector<NamedCell> out{
        {"method", word_cell(met.method)},   {"who", word_cell(met.who)},
        {"angler", word_cell(met.who)},      {"where", word_cell(met.where)},
        {"rig", word_cell(met.rig)},         {"unhooking", word_cell(met.unhooking)},
        {"landing", word_cell(met.landing)}, {"hook_location", word_cell(met.hook_location)}};
    if (met.water_temperature) {
        out.push_back({"water_temperature_c", Value{.value = met.water_temperature->celsius()}});
    }
    if (met.at) {
        out.push_back({"day", Word{local_day(study.brief.study.zone, *met.at)}});
    }
    for (const auto& cell : met.free) {
        out.push_back({cell.column, free_cell(cell.value)});
    }
    return out;
}

std::string cell_text(const Cell& cell) {
    if (const auto* word = std::get_if<Word>(&cell)) {
        return word->text;
    }
    if (const auto* value = std::get_if<Value>(&cell)) {
        return exact_text(value->value);
    }
    return std::holds_alternative<Absent>(cell) ? "nothing" : "a limit";
}

std::string when_text(const study::Encounter& met) {
    return met.at ? iso_text(*met.at) : std::string("an encounter without a time");
}

// What the row takes of one encounter where another of the same fish says something else.
void tell_other_encounters(const Study& study, const study::Encounter& met, Observations& rows,
                           std::size_t row) {
    const auto own = cells_of(study, met);
    for (const auto& other : study.tables.encounters) {
        if (other.fish != met.fish || &other == &met) {
            continue;
        }
        for (const auto& [column, cell] : cells_of(study, other)) {
            const auto mine = std::ranges::find(own, column, &NamedCell::column);
            const Cell taken = mine == own.end() ? Cell(Absent{}) : mine->cell;
            if (!std::holds_alternative<Absent>(cell) && taken != cell) {
                rows.tell(row, column,
                          fmt::format("{} was met more than once: {} is {} of {}, not {} of {}",
                                      met.fish.text(), column, cell_text(taken), when_text(met),
                                      cell_text(cell), when_text(other)));
            }
        }
    }
}

} // namespace

void set_fish_columns(const Study& study, const FishAnswer& fish, const FishCondition& condition,
                      const study::Encounter* met, Observations& rows, std::size_t row) {
    const auto& one = *fish.fish;
    rows.set(row, "fish", Word{one.id.text()});
    rows.set(row, "species", word_cell(one.species));
    rows.set(row, "mass_g", one.mass ? Cell(Value{.value = one.mass->grams()}) : Cell(Absent{not_weighed}));
    rows.set(row, "fork_length_mm",
             one.fork_length_mm ? Cell(Value{.value = *one.fork_length_mm}) : Cell(Absent{}));
    for (const auto& cell : one.free) {
        rows.set(row, cell.column, free_cell(cell.value));
    }
    if (met != nullptr) {
        for (const auto& [column, cell] : cells_of(study, *met)) {
            rows.set(row, column, cell);
        }
        tell_other_encounters(study, *met, rows, row);
    }
    set_handling(rows, row, condition, met);
}

Observations fish_rows(const Study& study, const std::vector<FishAnswer>& fish,
                       const ConditionAnswers& condition) {
    Observations out("fish", "fish");
    const auto matrices = matrices_of(condition);
    for (std::size_t i = 0; i < fish.size(); ++i) {
        const auto& one = fish[i];
        const auto& its = condition.fish[i];
        const auto row = out.add_row(one.fish->id.text(), one.fish->id.text());
        set_fish_columns(study, one, its, capture_of(study, one.fish->id), out, row);
        set_metrics(study, one, its, out, row);
        set_blood(out, row, its, matrices);
        set_scores(out, row, its, study.brief);
        set_derived(out, row, "bled_ml_per_kg",
                    bled_cell(study, one, its, one.after_event(PeakEvent::chase)));
    }
    out.column_of("recovery_h").tells_endings = true;
    out.column_of("recovery_after_chase_h").tells_endings = true;
    auto& died = out.column_of("died");
    died.negative = "alive when last seen";
    died.time_to_it = "death_after_capture_h";
    for (std::size_t i = 0; i < fish.size(); ++i) {
        died.followed_h.push_back(followed_h(study, fish[i], condition.fish[i]));
    }
    order_scores(out, study.brief);
    return out;
}

Observations after_rows(const Study& study, const std::vector<FishAnswer>& fish,
                        const ConditionAnswers& condition) {
    Observations out("event of a fish", "events");
    const auto matrices = matrices_of(condition);
    for (std::size_t i = 0; i < fish.size(); ++i) {
        const auto& one = fish[i];
        const auto& its = condition.fish[i];
        for (const auto& event : one.after) {
            const auto word = event_word(event.event);
            const auto row =
                out.add_row(fmt::format("{} after {}", one.fish->id.text(), word), one.fish->id.text());
            set_fish_columns(study, one, its, encounter_before(study, one.fish->id, event.stay->stay->from()),
                             out, row);
            set_blood(out, row, its, matrices);
            set_scores(out, row, its, study.brief);
            set_derived(out, row, "bled_ml_per_kg", bled_cell(study, one, its, &event));
            out.set(row, "after", Word{word});
            out.set(row, "peak", peak_cell(&event, ""));
            out.set(row, "scope", scope_cell(one, &event, ScopeKind::absolute));
            out.set(row, "scope_ratio", scope_cell(one, &event, ScopeKind::ratio));
            out.set(row, "excess", excess_cell(&event, ExcessKind::total));
            out.set(row, "recovery_h", recovery_cell(one, &event));
            out.set(row, "tube", word_cell(event.stay->stay->assembly.text()));
            if (event.air) {
                out.set(row, "air_s", Value{.value = event.air->seconds()});
            }
            if (event.peak) {
                out.set(row, "temperature_c", Value{.value = event.peak->temperature_celsius});
                out.set(row, "seal_delay_s", Value{.value = event.peak->delay_to_seal.seconds()});
            }
        }
    }
    out.column_of("recovery_h").tells_endings = true;
    order_scores(out, study.brief);
    auto& after = out.column_of("after");
    after.preposition = "after";
    after.caution =
        "the chase always came after capture, a night and another tube: a comparison of protocols, "
        "with order, temperature and chamber in it";
    after.levels = {"capture", "chase", "handling"};
    return out;
}

Observations spell_rows(const Study& study, const std::vector<FishAnswer>& fish,
                        const ConditionAnswers& condition) {
    Observations out("spell", "spells");
    for (std::size_t i = 0; i < fish.size(); ++i) {
        const auto& one = fish[i];
        const auto zero = time_zero_of(study, one);
        for (const auto* stay : one.stays) {
            if (!stay->uptake || !zero) {
                continue;
            }
            for (const auto& spell : stay->uptake->spells) {
                if (!spell.answer.is_usable()) {
                    continue;
                }
                const auto row = out.add_row(fmt::format("{} {} {}", one.fish->id.text(),
                                                         stay->stay->id.text(), iso_text(spell.answer.from)),
                                             one.fish->id.text(), stay->stay->id.text());
                set_fish_columns(study, one, condition.fish[i],
                                 encounter_before(study, one.fish->id, stay->stay->from()), out, row);
                out.set(row, "mo2", specific_cell(uptake::rate_of(spell.answer)));
                out.set(row, "hours", Value{.value = (spell.answer.middle() - zero->at).hours()});
                out.set(row, "role", Word{std::string(uptake::word(spell.role))});
                out.set(row, "stay", Word{stay->stay->id.text()});
                out.set(row, "tube", Word{stay->stay->assembly.text()});
                out.set(row, "temperature_c", Value{.value = spell.answer.temperature_mean_celsius});
            }
        }
    }
    return out;
}

} // namespace backeddy::app::detail
