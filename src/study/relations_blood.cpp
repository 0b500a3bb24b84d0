// Blood and the tubes it went into.

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "study/blood_draws.hpp"
#include "study/condition_sheets.hpp"
#include "study/detail/catches.hpp"
#include "study/detail/sheet_faults.hpp"
#include "study/meters.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

/// Times are written to the minute: closer ones are one.
const Duration one_minute = Duration::seconds(60.0);
/// A killed fish is bled after its death; this long after, it is another fish or a slip (choice).
const Duration blood_runs = Duration::hours(1.0);

bool differ(Instant a, Instant b) {
    return std::abs((a - b).seconds()) >= one_minute.seconds();
}

// ---- samples.csv

Complaint unknown_sample(const Place& place, const std::string& column, const std::string& label,
                         const Tables& tables) {
    return unknown(
        place, column, label, tables.sheets.samples, [](const SampleRow& s) { return s.id.text(); },
        "samples.csv");
}

/// Whether the samples of which it is a part lead back to it.
bool is_in_circle(const SampleRow& row, const ConditionSheets& sheets) {
    std::set<SampleId> met;
    for (const SampleRow* of = &row; of != nullptr && met.insert(of->id).second;) {
        if (of->split_of == row.id) {
            return true;
        }
        of = of->split_of.is_empty() ? nullptr : sheets.find(of->split_of);
    }
    return false;
}

void check_split(SheetFaults& faults, const SampleRow& row, const Tables& tables) {
    if (row.split_of.is_empty()) {
        return;
    }
    const SampleRow* of = tables.sheets.find(row.split_of);
    if (of == nullptr) {
        return faults.tell(unknown_sample(row.place, "split_of", row.split_of.text(), tables));
    }
    if (is_in_circle(row, tables.sheets)) {
        return faults.leave_out(
            row.place, "split_of",
            Saying{.found = row.split_of == row.id
                                ? "the sample " + quote(row.id.text()) + " is a part of itself"
                                : "the samples of which " + quote(row.id.text()) +
                                      " is a part lead back to it: " + quote(row.split_of.text()) + " ...",
                   .expected = "the sample it was split from",
                   .remedy = "correct it, or leave it empty"});
    }
    if (of->fish != row.fish) {
        return faults.leave_out(
            row.place, "fish",
            Saying{.found = fmt::format("{} is of {}, and {}, of which it is a part, of "
                                        "{} ({})",
                                        quote(row.id.text()), quote(row.fish.text()), quote(of->id.text()),
                                        quote(of->fish.text()), line_text(of->place)),
                   .expected = "one fish",
                   .remedy = "correct the fish, or split_of"});
    }
    if (differ(of->taken_at, row.taken_at)) {
        faults.tell(row.place, "taken_at",
                    {.code = ErrorCode::bad_time,
                     .found = fmt::format("{} taken at {}, and {}, of which it is a part, at {} ({})",
                                          quote(row.id.text()), iso_text(row.taken_at), quote(of->id.text()),
                                          iso_text(of->taken_at), line_text(of->place)),
                     .expected = "the moment at which it left the fish, the same for all parts",
                     .remedy = "correct one; until then each keeps its own"});
    }
}

} // namespace

/// "; in wells C3, C4 of plate p1, whose result goes with it": of the labels that no row of samples.csv
/// keeps.
std::string wells_with(const SampleId& sample, const ConditionSheets& sheets) {
    std::map<std::string, std::vector<std::string>> by_plate;
    for (const auto& well : sheets.wells) {
        const bool is_of_sample =
            well.kind == condition::WellKind::sample || well.kind == condition::WellKind::spiked;
        if (is_of_sample && well.label == sample.text()) {
            by_plate[well.plate.text()].push_back(condition::well_name(well.row, well.column));
        }
    }
    std::vector<std::string> words;
    for (const auto& [plate, wells] : by_plate) {
        words.push_back(fmt::format("in {} of plate {}", fmt::join(wells, ", "), quote(plate)));
    }
    return words.empty() ? std::string()
                         : fmt::format("; {}, whose results go with it", fmt::join(words, " and "));
}

void check_samples(SheetFaults& faults, const Tables& tables) {
    const auto& samples = tables.sheets.samples;
    faults.leave_out_repeated( // a label of two fish is nobody's, known or not
        samples, "sample", [](const SampleRow& r) { return r.id.text(); },
        [&](const SampleRow& r) {
            return fmt::format("the label {} (here of {}{})", quote(r.id.text()), quote(r.fish.text()),
                               wells_with(r.id, tables.sheets));
        });
    leave_out_unknown_fish(faults, samples, tables);
    for (const auto& row : samples) {
        check_split(faults, row, tables);
    }
}

// ---- blood.csv

namespace {

using Rows = std::vector<const BloodRow*>; ///< of one draw, as in the table

std::vector<Place> places_of(const Rows& rows) {
    std::vector<Place> out;
    std::ranges::transform(rows, std::back_inserter(out), [](const BloodRow* row) { return row->place; });
    return out;
}

/// Of fish that are known.
std::map<std::pair<FishId, Instant>, Rows> draws_in(const Tables& tables) {
    std::map<std::pair<FishId, Instant>, Rows> out;
    for (const auto& row : tables.sheets.blood) {
        if (tables.find(row.fish) != nullptr) {
            out[{row.fish, row.drawn_at}].push_back(&row);
        }
    }
    return out;
}

void check_caught(SheetFaults& faults, const Rows& rows, const std::vector<Catch>& catches) {
    const BloodRow& row = *rows.front();
    if (is_before_all(row.drawn_at, catches)) {
        faults.leave_out(
            places_of(rows), "drawn_at",
            {.code = ErrorCode::bad_time,
             .found = fmt::format("blood of {} drawn at {}, and it was first {}", quote(row.fish.text()),
                                  iso_text(row.drawn_at), catches.front().what),
             .expected = "a draw after the catch",
             .remedy = "correct the fish or one of the times"});
    }
}

/// How the fish had left by a moment, in words; nothing while it was at hand.
std::optional<std::string> departure_before(Instant moment, const FateRecords& fate,
                                            const std::vector<Catch>& catches) {
    const condition::FateRecord* gone = nullptr;
    for (const auto& record : fate.records) {
        const bool is_dead = record.kind == condition::FateKind::dead;
        const bool leaves = is_dead || record.kind == condition::FateKind::released ||
                            record.kind == condition::FateKind::lost;
        const bool is_over = record.at + (is_dead ? blood_runs : one_minute) < moment;
        if (leaves && is_over && (gone == nullptr || gone->at < record.at)) {
            gone = &record;
        }
    }
    if (gone == nullptr) {
        return std::nullopt;
    }
    const auto is_between = [&](Instant at) { return gone->at < at && at <= moment; };
    const auto is_at_hand = [](condition::FateKind kind) {
        return kind == condition::FateKind::recaptured || kind == condition::FateKind::held ||
               kind == condition::FateKind::tagged;
    };
    const bool is_met_again =
        std::ranges::any_of(catches, [&](const Catch& one) { return is_between(one.at); }) ||
        std::ranges::any_of(fate.records, [&](const condition::FateRecord& record) {
            return is_at_hand(record.kind) && is_between(record.at);
        });
    if (is_met_again && gone->kind != condition::FateKind::dead) {
        return std::nullopt;
    }
    const auto& place = fate.places[gone->row];
    return fmt::format("{} at {} ({}, {})", word_of(gone->kind), iso_text(gone->at), place.file,
                       line_text(place));
}

void check_at_hand(SheetFaults& faults, const Rows& rows, const std::vector<Catch>& catches,
                   const FateRecords& fate) {
    const BloodRow& row = *rows.front();
    const auto left = departure_before(row.drawn_at, fate, catches);
    if (left) {
        faults.leave_out(places_of(rows), "drawn_at",
                         {.code = ErrorCode::bad_time,
                          .found = fmt::format("blood of {} drawn at {}, after the fish had left: {}",
                                               quote(row.fish.text()), iso_text(row.drawn_at), *left),
                          .expected = "a draw while the fish is at hand",
                          .remedy = "correct the fish or one of the times"});
    }
}

void check_volumes(SheetFaults& faults, const Rows& rows) {
    const BloodRow* first = nullptr;
    for (const BloodRow* row : rows) {
        if (!row->volume_ml) {
            continue;
        }
        first = first == nullptr ? row : first;
        if (*row->volume_ml != *first->volume_ml) {
            faults.tell(row->place, "volume_ml",
                        {.found = fmt::format("{} mL, and {} mL of the same draw of {} ({})",
                                              exact_text(*row->volume_ml), exact_text(*first->volume_ml),
                                              quote(row->fish.text()), line_text(first->place)),
                         .expected = "one volume of one draw, that of the whole",
                         .remedy = "correct one, or leave it empty; until then the larger counts"});
        }
    }
}

/// Events "blood" against the draws of blood.csv that they are, or may be.
void check_events_of_blood(SheetFaults& faults, const FishId& fish, const Tables& tables) {
    const auto draws = blood_draws(fish, tables.sheets.blood, tables);
    for (const auto& draw : draws) {
        const BloodRow* typed = nullptr;
        for (const BloodRow* row : draw.rows) {
            typed = row->volume_ml && (typed == nullptr || *row->volume_ml > *typed->volume_ml) ? row : typed;
        }
        for (const Event* event : draw.events) {
            const auto volume = volume_ml_of(*event);
            if (event->value && !volume) {
                faults.tell(event->place, event->unit.empty() ? "unit" : "value",
                            {.code = ErrorCode::bad_unit,
                             .found = fmt::format("{} \"{}\" of blood of {}", exact_text(*event->value),
                                                  event->unit, quote(fish.text())),
                             .expected = "a volume above 0, its unit mL, uL or L",
                             .remedy = "write value and unit; until then no volume is known by it"});
            } else if (volume && typed != nullptr && std::abs(*volume - *typed->volume_ml) > 1e-9) {
                faults.tell(event->place, "value",
                            {.found = fmt::format("{} mL, and {} mL of the same draw of {} (blood.csv, {})",
                                                  exact_text(*volume), exact_text(*typed->volume_ml),
                                                  quote(fish.text()), line_text(typed->place)),
                             .expected = "one volume of one draw, that of the whole",
                             .remedy = "correct one, or the time if these were two draws; until then the "
                                       "larger counts"});
            }
        }
        if (!draw.rows.empty()) {
            continue;
        }
        const auto near = std::ranges::find_if(draws, [&](const BloodDraw& other) {
            return !other.rows.empty() && std::abs((other.at - draw.at).seconds()) <= may_be_same_draw_s;
        });
        if (near != draws.end()) {
            faults.tell(
                draw.place(), "at",
                {.code = ErrorCode::bad_time,
                 .found = fmt::format("blood of {} at {}, and in blood.csv at {} ({}): one draw or two?",
                                      quote(fish.text()), iso_text(draw.at), iso_text(near->at),
                                      line_text(near->place())),
                 .expected = "one draw at one time in both, or draws well apart",
                 .remedy = fmt::format("set one time right if it was one draw; over {} minutes apart "
                                       "they count as two, with both volumes",
                                       same_draw_s / 60.0)});
        }
    }
}

/// Once of a draw, at the row that saw most of it.
void check_haemolysis(SheetFaults& faults, const Rows& rows) {
    const BloodRow* worst = *std::ranges::max_element(rows, {}, &BloodRow::haemolysis);
    std::vector<condition::Analyte> analytes;
    for (const BloodRow* row : rows) {
        if (row->value && row->analyte) {
            analytes.push_back(*row->analyte);
        }
    }
    auto words = condition::haemolysis_note(worst->haemolysis, analytes);
    if (!words.empty()) {
        faults.tell(worst->place, "haemolysis",
                    {.code = ErrorCode::out_of_range,
                     .found = fmt::format("blood of {}: {}", quote(worst->fish.text()), words),
                     .expected = "plasma without red in it",
                     .remedy = "nothing to mend if it was so; what was measured in it is kept as it stands"});
    }
}

// As a sample of an unknown one, the row has a fish and a time of its own.
void check_sample_of(SheetFaults& faults, const BloodRow& row, const Tables& tables) {
    if (row.sample.is_empty() || tables.sheets.samples.empty()) {
        return;
    }
    const SampleRow* sample = tables.sheets.find(row.sample);
    if (sample == nullptr) {
        return faults.tell(unknown_sample(row.place, "sample", row.sample.text(), tables));
    }
    if (sample->fish != row.fish) {
        return faults.leave_out(
            row.place, "sample",
            Saying{.found = fmt::format("the sample {} is of {} (samples.csv, {})", quote(row.sample.text()),
                                        quote(sample->fish.text()), line_text(sample->place)),
                   .expected = "a sample of " + quote(row.fish.text()),
                   .remedy = "correct the fish or the sample"});
    }
    if (differ(sample->taken_at, row.drawn_at)) {
        faults.tell(row.place, "drawn_at",
                    {.code = ErrorCode::bad_time,
                     .found = fmt::format("drawn at {}, and its sample {} taken at {} (samples.csv, {})",
                                          iso_text(row.drawn_at), quote(row.sample.text()),
                                          iso_text(sample->taken_at), line_text(sample->place)),
                     .expected = "one moment, at which the blood left the fish",
                     .remedy = "correct one; until then drawn_at counts"});
    }
}

void check_value(SheetFaults& faults, const BloodRow& row, const Tables& tables, const Meters& meters) {
    const auto lacks = [&](const char* column, std::string found, std::string expected) {
        faults.leave_out(row.place, column,
                         Saying{.code = ErrorCode::bad_row,
                                .found = std::move(found),
                                .expected = std::move(expected),
                                .remedy = "fill it in"});
    };
    if (!row.value) {
        if (row.analyte) {
            lacks("value", word_of(*row.analyte) + " without a value",
                  "a number, or the limit that it is below (\"<0.5\") or above");
        }
        return;
    }
    if (!row.analyte) {
        return lacks("analyte", "a value of nothing", "what was measured");
    }
    if (row.unit.empty()) {
        return lacks("unit",
                     word_of(*row.analyte) + " of " + exact_text(row.value->value) + " without a unit",
                     fmt::format("one of {}", fmt::join(condition::units_of(*row.analyte), ", ")));
    }
    const bool is_typed_other = row.matrix && *row.matrix != condition::Matrix::whole_blood;
    if (*row.analyte == condition::Analyte::haematocrit && is_typed_other) {
        faults.tell(row.place, "matrix",
                    {.code = ErrorCode::bad_row,
                     .found = fmt::format("haematocrit of {}", quote(word_of(*row.matrix))),
                     .expected = "whole_blood: haematocrit is the cells' share of it",
                     .remedy = "write whole_blood, or leave it empty; it counts as of whole blood"});
    }
    const auto as_typed = assayed(row, tables.sheets);
    auto determined = condition::determined(as_typed, meters.find(as_typed));
    if (!determined) {
        const bool is_unit = determined.error().code == ErrorCode::bad_unit;
        return faults.leave_out(row.place, is_unit ? "unit" : "value", std::move(determined).error());
    }
    for (auto& words : determined->notes) {
        faults.tell(row.place, "value",
                    {.code = ErrorCode::out_of_range,
                     .found = std::move(words),
                     .expected = "a value as they are met with",
                     .remedy = "look at value, unit and label; it is kept as it stands"});
    }
}

/// The row that tells the volume, to complain at; of draws that only an event tells of, the event's.
const Place& place_of_volume(const BloodDraw& draw) {
    const auto with = std::ranges::find_if(
        draw.rows, [&](const BloodRow* row) { return row->volume_ml && row->volume_ml == draw.volume_ml; });
    return draw.volume_event != nullptr ? draw.volume_event->place
           : with != draw.rows.end()    ? (*with)->place
                                        : draw.place();
}

/// Each draw against what the permit leaves of the ceiling then.
void check_ceiling(SheetFaults& faults, const Fish& fish, const Brief& brief, const Tables& tables) {
    std::vector<condition::Draw> earlier;
    for (const auto& draw : blood_draws(fish.id, tables.sheets.blood, tables)) {
        const auto blood = brief.seasons.empty() ? brief.blood : brief.at(draw.at).blood;
        if (!blood.ceiling_ml_per_kg) { // counts all the same towards a ceiling that is set later
            if (draw.volume_ml) {
                earlier.push_back({.at = draw.at, .volume_ml = *draw.volume_ml});
            }
            continue;
        }
        const auto mass = mass_by(fish, draw.at, tables);
        const std::string ceiling =
            fmt::format("[blood] ceiling_ml_per_kg, {} mL/kg", exact_text(*blood.ceiling_ml_per_kg));
        const char* column = draw.rows.empty() || draw.volume_event != nullptr ? "value" : "volume_ml";
        if (!draw.volume_ml || !mass) {
            faults.tell(draw.place(), draw.volume_ml ? "fish" : column,
                        {.code = ErrorCode::too_few,
                         .found = draw.volume_ml ? fmt::format("blood of {}, of which no mass is known",
                                                               quote(fish.id.text()))
                                                 : "a draw of an unknown volume",
                         .expected = "what can be held against " + ceiling,
                         .remedy = draw.volume_ml ? "weigh the fish, or estimate its mass" : "estimate it"});
        }
        if (!draw.volume_ml) {
            continue;
        }
        if (mass) {
            const auto room = condition::before_draw(
                mass->mass.kilograms(), *draw.volume_ml, earlier, draw.at,
                {.ml_per_kg = *blood.ceiling_ml_per_kg, .within = blood.ceiling_within});
            if (room && !room->is_within) {
                const auto words = room->words.substr(0, room->words.find_last_not_of('.') + 1);
                faults.tell(
                    place_of_volume(draw), column,
                    {.code = ErrorCode::out_of_range,
                     .found = fmt::format("{}: {}", quote(fish.id.text()), words),
                     .expected = "no more than " + ceiling,
                     .remedy = "look at volume and mass; if they are right, tell the permit's holder"});
            }
        }
        earlier.push_back({.at = draw.at, .volume_ml = *draw.volume_ml});
    }
}

} // namespace

void check_blood(SheetFaults& faults, const Brief& brief, const Tables& tables) {
    leave_out_unknown_fish(faults, tables.sheets.blood, tables);
    std::map<FishId, std::vector<Rows>> by_fish;
    for (auto& [draw, rows] : draws_in(tables)) {
        by_fish[draw.first].push_back(rows);
    }
    const auto fates = kept(tables.sheets.fates, faults);
    for (const auto& [fish, draws] : by_fish) {
        const auto catches = catches_of(fish, brief, tables);
        const auto fate = fate_records(fish, fates, brief, tables);
        for (const auto& rows : draws) {
            check_caught(faults, rows, catches);
            check_at_hand(faults, rows, catches, fate);
            check_volumes(faults, rows);
            check_haemolysis(faults, rows);
        }
    }
    for (const auto& fish : tables.fish) {
        check_events_of_blood(faults, fish.id, tables);
    }
    if (brief.blood.ceiling_ml_per_kg || !brief.seasons.empty()) {
        for (const auto& fish : tables.fish) {
            check_ceiling(faults, fish, brief, tables);
        }
    }
    const Meters meters(brief);
    for (const auto& complaint : meters.complaints()) {
        faults.tell(complaint);
    }
    for (const auto& row : tables.sheets.blood) {
        check_sample_of(faults, row, tables);
        check_value(faults, row, tables, meters);
    }
}

} // namespace backeddy::study
