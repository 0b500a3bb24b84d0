#include <algorithm>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "report/detail/condition_parts.hpp"
#include "report/detail/csv_table.hpp"
#include "report/detail/html_parts.hpp"
#include "report/tables.hpp"

namespace backeddy::report {

namespace {

using detail::CsvTable;
using detail::joined;

/// A limit's reason is said by its own columns; any other reason stands in words.
std::string missing_of(const BloodValue& value) {
    return value.value.has_value() || value.below || value.above ? std::string() : value.value.reason;
}

// ---------------------------------------------------------------- a row per fish

/// The columns that one analyte takes: every fish has those of all.
struct AnalyteColumns {
    std::string analyte;
    std::string matrix;
    std::string unit; ///< of all its values: the usual one
};

std::vector<AnalyteColumns> analytes_of(const Results& results) {
    std::vector<AnalyteColumns> all;
    const auto add = [&](const BloodValue& value) {
        const auto found = std::ranges::find_if(all, [&](const AnalyteColumns& each) {
            return each.analyte == value.analyte && each.matrix == value.matrix;
        });
        if (found == all.end()) {
            all.push_back({value.analyte, value.matrix, value.value.unit});
        }
    };
    for (const Fish& fish : results.fish) {
        for (const BloodDraw& draw : fish.condition.draws) {
            std::ranges::for_each(draw.values, add);
        }
    }
    return all;
}

/// Words of a list over the study's fish, in order of first appearance.
template <typename T>
std::vector<std::string> words_of(const Results& results, std::vector<T> FishCondition::* list) {
    std::vector<std::string> all;
    for (const Fish& fish : results.fish) {
        for (const T& each : fish.condition.*list) {
            if (std::ranges::find(all, each.word) == all.end()) {
                all.push_back(each.word);
            }
        }
    }
    return all;
}

/// "whole blood" within a column's name.
std::string name_part(std::string words) {
    std::ranges::replace(words, ' ', '_');
    return words;
}

/// "ng/mL" as the end of a column's name: "_ng_per_ml".
std::string unit_ending(const std::string& unit) {
    std::string out;
    for (const char c : unit) {
        if (c == '/') {
            out += "_per_";
        } else if (c == '%') {
            out += "percent";
        } else {
            out += c == ' ' ? '_' : lower_letter(c);
        }
    }
    return out.empty() ? out : "_" + out;
}

void analyte_cells(CsvTable& table, const AnalyteColumns& columns, const Fish& fish) {
    const BloodDraw* draw = detail::first_after_event(fish.condition);
    const BloodValue* found =
        draw != nullptr ? detail::value_of(*draw, columns.analyte, columns.matrix) : nullptr;
    const BloodValue value = found != nullptr ? *found : BloodValue{};
    const std::string stem = name_part(columns.analyte) + "_" + name_part(columns.matrix);
    const std::string unit = unit_ending(columns.unit);
    table.measured(stem, unit, value.value);
    table.plain(stem + "_below" + unit, value.below);
    table.plain(stem + "_above" + unit, value.above);
    table.text(stem + "_outside_range", found == nullptr ? "" : value.is_outside_range ? "yes" : "no");
    const std::string none = draw == nullptr ? "no blood after the event" : "not measured in it";
    table.text(stem + "_missing", found == nullptr ? none : missing_of(value));
}

/// "no" where each of them is known to be within the ceiling; "" where none has one.
std::string over_ceiling(std::span<const BloodDraw> draws) {
    std::string out;
    for (const auto& draw : draws) {
        if (draw.is_over_ceiling.value_or(false)) {
            return "yes";
        }
        if (draw.ceiling_ml_per_kg.has_value()) {
            out = draw.is_over_ceiling && out != "not known" ? "no" : "not known";
        }
    }
    return out;
}

void draw_cells(CsvTable& table, const Fish& fish) {
    const auto& draws = fish.condition.draws;
    const BloodDraw none;
    const BloodDraw& last = draws.empty() ? none : draws.back();
    const BloodDraw* first = detail::first_after_event(fish.condition);
    table.count("draws", draws.size());
    table.moment("first_drawn_at", first != nullptr ? first->at : std::nullopt);
    table.number("first_minutes_since_hook_up", first != nullptr ? first->since_hook_up_min : Number{});
    table.number("last_drawn_ml_per_kg", last.drawn_ml_per_kg);
    table.number("ceiling_ml_per_kg", last.ceiling_ml_per_kg);
    table.text("over_ceiling", over_ceiling(draws));
}

std::string worst_places(const ScoredLook& look) {
    std::vector<std::string> words;
    for (const ScoredPlace& place : look.places) {
        if (place.level && place.level == look.worst && *place.level > 0) {
            words.push_back(place.title);
        }
    }
    return joined(words);
}

/// Of several scorers the first in the sheet: it is named, and all looks stand in results.json.
void look_cells(CsvTable& table, const std::string& stem, const std::vector<ScoredLook>& looks,
                const std::string& occasion) {
    const auto found = std::ranges::find(looks, occasion, &ScoredLook::occasion);
    const ScoredLook none;
    const ScoredLook& look = found != looks.end() ? *found : none;
    const std::string end = "_" + occasion;
    table.number(stem + "_index" + end, look.mean);
    table.number(stem + "_sum" + end, look.sum);
    table.plain(stem + "_worst_level" + end,
                look.worst ? std::optional(static_cast<double>(*look.worst)) : std::nullopt);
    table.text(stem + "_worst_places" + end, worst_places(look));
    table.text(stem + "_scorer" + end, look.scorer);
    table.text(stem + "_missing" + end, look.note);
}

std::string bleeding_at_hook(const Fish& fish) {
    for (const ScoredLook& look : fish.condition.body) {
        const auto wound = std::ranges::find(look.places, "hook_wound", &ScoredPlace::word);
        if (wound != look.places.end() && wound->level) {
            return wound->level_word;
        }
    }
    return {};
}

void reflex_cells(CsvTable& table, const Fish& fish) {
    const ReflexLook none;
    const ReflexLook& look = fish.condition.reflexes.empty() ? none : fish.condition.reflexes.front();
    const auto named = [&](std::string_view state) {
        std::vector<std::string> words;
        for (const NamedText& test : look.tests) {
            if (test.text == state) {
                words.push_back(test.name);
            }
        }
        return joined(words);
    };
    table.number("reflexes_impaired_percent", look.impaired_percent);
    table.number("reflexes_can_be_low_percent", look.can_be_low_percent);
    table.number("reflexes_can_be_high_percent", look.can_be_high_percent);
    table.text("reflexes_lost", named("lost"));
    table.text("reflexes_not_tested", named("not tested"));
}

/// "fight_s" is "fight" and "_s".
std::pair<std::string, std::string> parted(const std::string& word) {
    const auto at = word.rfind('_');
    return at == std::string::npos ? std::pair{word, std::string()}
                                   : std::pair{word.substr(0, at), word.substr(at)};
}

void handling_cells(CsvTable& table, const std::string& word, const Fish& fish) {
    const auto& all = fish.condition.handling;
    const auto found = std::ranges::find(all, word, &HandlingTime::word);
    const HandlingTime time = found != all.end() ? *found : HandlingTime{};
    const auto [stem, unit] = parted(word);
    table.number(stem + "_by_events" + unit, time.by_events);
    table.plain(stem + "_by_events_uncertainty" + unit, time.by_events.standard_uncertainty);
    table.number(stem + "_typed" + unit, time.typed);
    table.text(stem + "_disagreement", time.disagreement);
}

void fate_cells(CsvTable& table, const Fish& fish) {
    const KnownFate fate = fish.condition.fate.value_or(KnownFate{});
    table.text("ending", fate.ending);
    table.moment("last_alive", fate.last_alive);
    table.moment("found_dead", fate.found_dead);
    table.moment("lost", fate.lost);
    table.moment("released", fate.released);
    table.text("stage", fate.stage);
    table.text("cause", fate.cause);
    table.text("tags", joined(fate.tags));
    std::vector<std::string> doubts = fish.condition.doubts;
    doubts.insert(doubts.end(), fate.doubts.begin(), fate.doubts.end());
    table.text("reminders", joined(fish.condition.reminders));
    table.text("doubts", joined(doubts));
}

struct FishColumns {
    std::vector<AnalyteColumns> analytes;
    std::vector<std::string> bled_before;
    std::vector<std::string> handling;
};

void condition_row(CsvTable& table, const FishColumns& columns, const Fish& fish) {
    table.begin_row();
    table.text("fish", fish.id);
    table.text("species", fish.species);
    table.text("group", fish.group);
    table.number("mass_g", fish.mass_g);
    draw_cells(table, fish);
    for (const std::string& word : columns.bled_before) {
        const auto& all = fish.condition.bled_before;
        const auto found = std::ranges::find(all, word, &NamedNumber::word);
        table.number("bled_before_" + word + "_ml_per_kg", found != all.end() ? found->number : Number{});
    }
    for (const AnalyteColumns& each : columns.analytes) {
        analyte_cells(table, each, fish);
    }
    for (const char* occasion : {"landing", "before_holding", "after_holding"}) {
        look_cells(table, "fins", fish.condition.fins, occasion);
        look_cells(table, "body", fish.condition.body, occasion);
    }
    table.text("bleeding_at_hook_wound", bleeding_at_hook(fish));
    reflex_cells(table, fish);
    for (const std::string& word : columns.handling) {
        handling_cells(table, word, fish);
    }
    fate_cells(table, fish);
    table.end_row();
}

// ---------------------------------------------------------------- a row per value

struct DrawOfFish {
    const Fish* fish = nullptr;
    const BloodDraw* draw = nullptr;
    std::size_t number = 0; ///< of the fish's, from 1
};

void value_row(CsvTable& table, const DrawOfFish& from, const BloodValue& value) {
    const BloodDraw& draw = *from.draw;
    table.begin_row();
    table.text("fish", from.fish->id);
    table.text("group", from.fish->group);
    table.count("draw", from.number);
    table.moment("drawn_at", draw.at);
    table.number("minutes_since_hook_up", draw.since_hook_up_min);
    table.number("minutes_since_sealed", draw.since_sealed_min);
    table.number("volume_ml", draw.volume_ml);
    table.number("ml_per_kg", draw.ml_per_kg);
    table.number("drawn_ml_per_kg", draw.drawn_ml_per_kg);
    table.number("ceiling_ml_per_kg", draw.ceiling_ml_per_kg);
    table.text("over_ceiling", over_ceiling({&draw, 1}));
    table.text("drawn_by", draw.who);
    table.text("analyte", value.analyte);
    table.text("matrix", value.matrix);
    table.text("unit", value.value.unit);
    table.measured("value", "", value.value);
    table.plain("below", value.below);
    table.plain("above", value.above);
    table.text("missing", missing_of(value));
    table.text("as_written", value.as_written);
    table.text("device", value.device);
    table.text("haemolysis", value.haemolysis);
    table.text("sample", value.sample);
    table.text("plate", value.plate);
    table.text("wells", joined(value.wells));
    table.text("from", value.from);
    table.number("range_low", value.range_low);
    table.number("range_high", value.range_high);
    table.text("range_source", value.range_source);
    table.text("outside_range", value.analyte.empty() ? "" : value.is_outside_range ? "yes" : "no");
    table.text("notes", joined(value.notes));
    table.text("doubts", joined(value.doubts));
    table.text("draw_notes", joined(draw.notes));
    table.end_row();
}

// ---------------------------------------------------------------- a row per material of a plate

/// What a row of the plates' table says; what does not apply is empty.
struct MaterialRow {
    std::string part; ///< "material", "dilution" (of the material above it) or "plate"
    std::string kind;
    std::string label;
    std::string fish;
    std::optional<double> dilution;
    std::vector<std::string> wells;
    Number response_as_read;
    Number response;
    Number cv_percent;
    Number expected;
    Number concentration;
    Number recovery_percent;
    std::string accepted;
    Number change_per_doubling_percent;
    std::string parallel;
    std::vector<std::string> remarks;
};

void material_row(CsvTable& table, const AssayPlate& plate, const MaterialRow& row) {
    table.begin_row();
    table.text("plate", plate.id);
    table.text("file", plate.file);
    table.text("analyte", plate.analyte);
    table.text("unit", plate.unit);
    table.moment("run_at", plate.run_at);
    table.text("run_by", plate.who);
    table.text("part", row.part);
    table.text("kind", row.kind);
    table.text("label", row.label);
    table.text("fish", row.fish);
    table.plain("dilution", row.dilution);
    table.count("n", row.wells.size());
    table.text("wells", joined(row.wells));
    table.number("response_as_read", row.response_as_read);
    table.number("response", row.response);
    table.number("cv_percent", row.cv_percent);
    table.number("expected", row.expected);
    table.measured("concentration", "", row.concentration);
    table.text("beyond", row.concentration.has_value() ? "" : row.concentration.reason);
    table.limited("recovery_percent", "", row.recovery_percent);
    table.text("accepted", row.accepted);
    table.limited("change_per_doubling_percent", "", row.change_per_doubling_percent);
    table.text("parallel", row.parallel);
    table.text("remarks", joined(row.remarks));
    table.text("unanswered", plate.unanswered);
    table.end_row();
}

MaterialRow row_of(const PlateStandard& standard) {
    const bool is_zero = standard.concentration == 0.0;
    return {.part = "material",
            .kind = is_zero ? "zero" : "standard",
            .dilution = 1.0,
            .wells = standard.wells,
            .response_as_read = standard.response,
            .cv_percent = standard.cv_percent,
            .expected = number(standard.concentration, ""),
            .concentration = standard.read_back,
            .recovery_percent = standard.recovery_percent,
            .accepted = is_zero                ? ""
                        : standard.is_accepted ? "yes"
                                               : "no",
            .remarks = standard.remarks};
}

MaterialRow row_of(const AssayPlate& plate, const std::vector<const PlateWell*>& blanks) {
    MaterialRow row{.part = "material", .kind = "blank", .dilution = 1.0, .response_as_read = plate.blank};
    for (const PlateWell* well : blanks) {
        row.wells.push_back(well->name);
    }
    return row;
}

MaterialRow row_of(const PlateMaterial& material, const PlateDilution& step) {
    return {.part = "dilution",
            .kind = material.kind,
            .label = material.label,
            .fish = material.fish,
            .dilution = step.dilution,
            .wells = step.wells,
            .response = step.response,
            .cv_percent = step.cv_percent,
            .concentration = step.concentration};
}

/// Response and CV belong to a dilution: of several they stand in rows of their own.
MaterialRow row_of(const PlateMaterial& material) {
    MaterialRow row{.part = "material",
                    .kind = material.kind,
                    .label = material.label,
                    .fish = material.fish,
                    .expected = material.expected,
                    .concentration = material.concentration,
                    .recovery_percent = material.recovery_percent,
                    .accepted = !material.is_accepted   ? ""
                                : *material.is_accepted ? "yes"
                                                        : "no",
                    .change_per_doubling_percent = material.change_per_doubling_percent,
                    .parallel = material.parallel,
                    .remarks = material.remarks};
    for (const PlateDilution& step : material.dilutions) {
        row.wells.insert(row.wells.end(), step.wells.begin(), step.wells.end());
    }
    if (material.dilutions.size() == 1) {
        const PlateDilution& only = material.dilutions.front();
        row.dilution = only.dilution;
        row.response = only.response;
        row.cv_percent = only.cv_percent;
    }
    return row;
}

void material_rows(CsvTable& table, const AssayPlate& plate, const std::vector<PlateMaterial>& materials) {
    for (const PlateMaterial& material : materials) {
        material_row(table, plate, row_of(material));
        if (material.dilutions.size() > 1) {
            for (const PlateDilution& step : material.dilutions) {
                material_row(table, plate, row_of(material, step));
            }
        }
    }
}

void plate_rows(CsvTable& table, const AssayPlate& plate) {
    if (!plate.unanswered.empty()) {
        material_row(table, plate, {.part = "plate"});
        return;
    }
    for (const PlateStandard& standard : plate.standards) {
        material_row(table, plate, row_of(standard));
    }
    if (const auto blanks = detail::blanks_that_count(plate); !blanks.empty()) {
        material_row(table, plate, row_of(plate, blanks));
    }
    material_rows(table, plate, plate.controls);
    material_rows(table, plate, plate.samples);
    material_rows(table, plate, plate.spikes);
}

} // namespace

std::string condition_table(const Results& results) {
    CsvTable table;
    const FishColumns columns{.analytes = analytes_of(results),
                              .bled_before = words_of(results, &FishCondition::bled_before),
                              .handling = words_of(results, &FishCondition::handling)};
    if (results.condition.has_any) {
        for (const Fish& fish : results.fish) {
            condition_row(table, columns, fish);
        }
    }
    if (table.is_empty()) {
        condition_row(table, columns, Fish{});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string blood_table(const Results& results) {
    CsvTable table;
    for (const Fish& fish : results.fish) {
        std::size_t count = 0;
        for (const BloodDraw& draw : fish.condition.draws) {
            const DrawOfFish from{.fish = &fish, .draw = &draw, .number = ++count};
            if (draw.values.empty()) {
                value_row(table, from, {});
            }
            for (const BloodValue& value : draw.values) {
                value_row(table, from, value);
            }
        }
    }
    if (table.is_empty()) {
        const Fish fish;
        const BloodDraw draw;
        value_row(table, {.fish = &fish, .draw = &draw}, {});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

std::string plate_table(const Results& results) {
    CsvTable table;
    for (const AssayPlate& plate : results.condition.plates) {
        plate_rows(table, plate);
    }
    if (table.is_empty()) {
        material_row(table, {}, {});
        return std::move(table).take_header();
    }
    return std::move(table).take();
}

} // namespace backeddy::report
