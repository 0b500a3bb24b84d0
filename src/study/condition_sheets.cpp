#include "study/condition_sheets.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <iterator>
#include <map>
#include <optional>
#include <utility>

#include "base/lower_case.hpp"
#include "study/detail/catches.hpp"
#include "study/detail/sheet_faults.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

/// Further apart, two rows are no longer two ways to write down one thing (choice).
constexpr double same_fact_s = 3600.0;

std::optional<condition::FateKind> fate_of_event(EventKind kind) {
    switch (kind) {
    case EventKind::tagged:
        return condition::FateKind::tagged;
    case EventKind::released:
        return condition::FateKind::released;
    case EventKind::died:
        return condition::FateKind::dead;
    default:
        return std::nullopt;
    }
}

bool is_end(condition::FateKind kind) {
    return kind == condition::FateKind::dead || kind == condition::FateKind::lost;
}

void add(FateRecords& out, condition::FateRecord record, const Place& place) {
    record.row = out.places.size();
    out.records.push_back(std::move(record));
    out.places.push_back(place);
}

bool has(const std::vector<condition::FateRecord>& records, condition::FateKind kind) {
    return std::ranges::find(records, kind, &condition::FateRecord::kind) != records.end();
}

/// Of another table than fates.csv: an end from before the fish was met does not count.
void add_unless_before(FateRecords& out, condition::FateRecord record, const Place& place,
                       const std::vector<Catch>& catches) {
    if (is_end(record.kind) && is_before_all(record.at, catches)) {
        out.set_aside.push_back({.kind = record.kind, .at = record.at, .place = place});
    } else {
        add(out, std::move(record), place);
    }
}

void add_events(FateRecords& out, const FishId& fish, const std::vector<Catch>& catches,
                const Tables& tables) {
    const auto written = out.records;
    for (const auto& event : tables.events) {
        const auto kind = fate_of_event(event.kind);
        if (!kind || !is_event_of(fish, event, tables)) {
            continue;
        }
        const bool is_written = std::ranges::any_of(written, [&](const condition::FateRecord& row) {
            return row.kind == *kind && std::abs((row.at - event.at).seconds()) <= same_fact_s;
        });
        if (!is_written) {
            add_unless_before(out, {.kind = *kind, .at = event.at}, event.place, catches);
        }
    }
}

void add_stays(FateRecords& out, const FishId& fish, const std::vector<Catch>& catches,
               const Tables& tables) {
    const bool is_death_told = has(out.records, condition::FateKind::dead);
    for (const auto& stay : tables.stays) {
        if (stay.fish != fish) {
            continue;
        }
        const auto& place = stay.parts.back().place;
        if (stay.ended == StayEnding::died && !is_death_told) {
            add_unless_before(out,
                              {.kind = condition::FateKind::dead,
                               .at = stay.to(),
                               .last_alive = stay.last_good ? std::optional(stay.usable_to()) : std::nullopt,
                               .stage = condition::FateStage::chamber},
                              place, catches);
        } else if (stay.ended == StayEnding::escaped) {
            add_unless_before(out,
                              {.kind = condition::FateKind::lost,
                               .at = stay.to(),
                               .stage = condition::FateStage::chamber,
                               .cause = "escaped"},
                              place, catches);
        }
    }
}

} // namespace

SheetCheck check_sheets(const Brief& brief, const Tables& tables) {
    SheetFaults faults;
    check_fates(faults, brief, tables); // before blood, which is held against what counts of them
    check_samples(faults, tables);
    check_blood(faults, brief, tables);
    check_plates(faults, tables);
    check_scores(faults, brief, tables);
    const auto& sheets = tables.sheets;
    SheetCheck out{.sound = {.blood = kept(sheets.blood, faults),
                             .samples = kept(sheets.samples, faults),
                             .plates = kept(sheets.plates, faults),
                             .wells = kept(sheets.wells, faults),
                             .fins = kept(sheets.fins, faults),
                             .body = kept(sheets.body, faults),
                             .reflexes = kept(sheets.reflexes, faults),
                             .fates = kept(sheets.fates, faults),
                             .blood_refused = sheets.blood_refused},
                   .complaints = faults.take()};
    sort_by_place(out.complaints);
    return out;
}

condition::Assayed assayed(const BloodRow& row, const ConditionSheets& sheets) {
    const SampleRow* sample = row.sample.is_empty() ? nullptr : sheets.find(row.sample);
    const auto of_sample = sample == nullptr ? std::nullopt : sample->matrix;
    const bool is_haematocrit = row.analyte.value() == condition::Analyte::haematocrit;
    return {.analyte = row.analyte.value(),
            .value = row.value.value().value,
            .known = row.value.value().known,
            .unit = row.unit,
            .device = row.device,
            .matrix = is_haematocrit ? condition::Matrix::whole_blood
                                     : row.matrix.value_or(of_sample.value_or(condition::Matrix::plasma)),
            .is_matrix_said = is_haematocrit || row.matrix || of_sample};
}

// ---- scores

namespace {

template <typename Row>
Look look_of(const Row& row) {
    return {.fish = row.fish, .occasion = row.occasion, .scorer = row.scorer, .at = row.at};
}

template <typename Row>
std::map<Look, std::vector<const Row*>> by_look(const std::vector<Row>& rows) {
    std::map<Look, std::vector<const Row*>> out;
    for (const auto& row : rows) {
        out[look_of(row)].push_back(&row);
    }
    return out;
}

std::optional<std::size_t> level_in(const condition::OrdinalScale& scale, const std::string& score) {
    const auto level = condition::level_of(scale, score);
    return score.empty() || !level ? std::nullopt : std::optional(*level);
}

/// What a row says goes before what is there.
void put(condition::FinScore& score, const FinRow& row, const condition::OrdinalScale& scale) {
    const auto level = level_in(scale, row.score);
    score.level = level ? level : score.level;
    score.is_split = row.is_split ? row.is_split : score.is_split;
    score.is_frayed = row.is_frayed ? row.is_frayed : score.is_frayed;
    score.has_net_marks = row.has_net_marks ? row.has_net_marks : score.has_net_marks;
}

std::vector<condition::FinScore> scores_of(const std::vector<const FinRow*>& rows,
                                           const FinSettings& settings) {
    std::map<condition::Fin, condition::FinScore> scores;
    for (const FinRow* row : rows) {
        if (row->fin == ScoredFin::all) {
            for (const auto fin : settings.options.fins) {
                put(scores[fin], *row, settings.scale);
            }
        }
    }
    for (const FinRow* row : rows) {
        if (row->fin != ScoredFin::all) {
            put(scores[static_cast<condition::Fin>(row->fin)], *row, settings.scale);
        }
    }
    std::vector<condition::FinScore> out;
    for (auto& [fin, score] : scores) {
        score.fin = fin;
        out.push_back(score);
    }
    return out;
}

BodyLook body_of(const std::vector<const BodyRow*>& rows, const condition::OrdinalScale& scale) {
    static const condition::OrdinalScale bleeding{words_of(condition::Bleeding{})};
    BodyLook out;
    std::map<condition::BodyArea, std::size_t> areas;
    for (const BodyRow* row : rows) {
        const auto level = level_in(row->part == ScoredPart::hook_wound ? bleeding : scale, row->score);
        if (!level) {
            continue;
        }
        if (row->part == ScoredPart::left_eye) {
            out.left_eye = level;
        } else if (row->part == ScoredPart::right_eye) {
            out.right_eye = level;
        } else if (row->part == ScoredPart::hook_wound) {
            out.bleeding = static_cast<condition::Bleeding>(*level);
        } else if (row->part != ScoredPart::all) {
            areas.insert_or_assign(static_cast<condition::BodyArea>(row->part), *level);
        } else {
            for (std::size_t i = 0; i <= static_cast<std::size_t>(condition::BodyArea::tail); ++i) {
                areas.emplace(static_cast<condition::BodyArea>(i), *level); // where no row of its own stands
            }
        }
    }
    for (const auto& [area, level] : areas) {
        out.areas.push_back({.area = area, .level = level});
    }
    return out;
}

} // namespace

std::vector<FinLook> fin_looks(const ConditionSheets& sheets, const FinSettings& settings) {
    std::vector<FinLook> out;
    for (const auto& [look, rows] : by_look(sheets.fins)) {
        out.push_back({.look = look, .scores = scores_of(rows, settings)});
    }
    return out;
}

std::vector<BodyLook> body_looks(const ConditionSheets& sheets, const BodySettings& settings) {
    std::vector<BodyLook> out;
    for (const auto& [look, rows] : by_look(sheets.body)) {
        out.push_back(body_of(rows, settings.scale));
        out.back().look = look;
    }
    return out;
}

std::vector<ReflexLook> reflex_looks(const ConditionSheets& sheets) {
    std::map<std::pair<FishId, Instant>, std::vector<condition::ReflexTest>> looks;
    for (const auto& row : sheets.reflexes) {
        const auto is_impaired = row.is_there ? std::optional(!*row.is_there) : std::nullopt;
        looks[{row.fish, row.at}].push_back({.name = row.test, .is_impaired = is_impaired});
    }
    std::vector<ReflexLook> out;
    for (auto& [look, tests] : looks) {
        out.push_back({.fish = look.first, .at = look.second, .tests = std::move(tests)});
    }
    return out;
}

std::optional<condition::HookPlace> hook_place_of(std::string_view text) {
    using condition::HookPlace;
    static const std::map<std::string, HookPlace, std::less<>> common{
        {"deep", HookPlace::gullet},
        {"deep_hooked", HookPlace::gullet},
        {"deeply_hooked", HookPlace::gullet},
        {"swallowed", HookPlace::gullet},
        {"throat", HookPlace::gullet},
        {"oesophagus", HookPlace::gullet},
        {"esophagus", HookPlace::gullet},
        {"stomach", HookPlace::gullet},
        {"gut", HookPlace::gullet},
        {"gill", HookPlace::gills},
        {"jaw", HookPlace::lower_jaw},
        {"jaw_left", HookPlace::jaw_corner},
        {"jaw_right", HookPlace::jaw_corner},
        {"left_jaw", HookPlace::jaw_corner},
        {"right_jaw", HookPlace::jaw_corner},
        {"lip", HookPlace::lower_jaw},
        {"mouth", HookPlace::lower_jaw},
        {"corner", HookPlace::jaw_corner},
        {"corner_of_mouth", HookPlace::jaw_corner},
        {"foul", HookPlace::outside},
        {"foul_hooked", HookPlace::outside},
        {"body", HookPlace::outside},
    };
    auto word = lower_case(text);
    std::ranges::replace_if(word, [](char c) { return c == ' ' || c == '-'; }, '_');
    const auto found = common.find(word);
    return found == common.end() ? value_of<HookPlace>(word) : std::optional(found->second);
}

// ---- fate

FateRecords fate_records(const FishId& fish, std::span<const FateRow> fates, const Brief& brief,
                         const Tables& tables) {
    FateRecords out;
    const auto catches = catches_of(fish, brief, tables);
    for (const auto& row : fates) {
        if (row.fish == fish) {
            add(out,
                {.kind = row.what,
                 .at = row.at,
                 .last_alive = row.last_alive,
                 .stage = row.stage,
                 .cause = row.cause,
                 .tag = row.tag},
                row.place);
        }
    }
    add_events(out, fish, catches, tables);
    add_stays(out, fish, catches, tables);
    return out;
}

bool is_before_capture(Instant moment, const FishId& fish, const Brief& brief, const Tables& tables) {
    return is_before_all(moment, catches_of(fish, brief, tables));
}

} // namespace backeddy::study
