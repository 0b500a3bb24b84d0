#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/condition_parts.hpp"
#include "base/number_text.hpp"
#include "study/blood_draws.hpp"
#include "study/weighing.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Known;

/// Times are written to the minute: a sample taken within it is of that draw.
constexpr double same_minute_s = 60.0;

struct Drawing {
    study::BloodDraw draw;
    std::vector<PlateValue> of_plates;
};

bool is_sample_of(const study::BloodDraw& draw, const study::SampleRow& sample,
                  const study::ConditionSheets& sheets) {
    const auto names = [&](const study::SampleId& id) {
        return std::ranges::any_of(draw.rows, [&](const auto* row) { return row->sample == id; });
    };
    const study::SampleRow* part = &sample;
    // Rows of samples.csv that count never lead in a circle.
    while (part != nullptr && !names(part->id)) {
        part = part->split_of.is_empty() ? nullptr : sheets.find(part->split_of);
    }
    return part != nullptr;
}

Drawing* drawing_of(std::vector<Drawing>& all, const study::SampleRow& sample,
                    const study::ConditionSheets& sheets) {
    for (auto& one : all) {
        if (is_sample_of(one.draw, sample, sheets)) {
            return &one;
        }
    }
    for (auto& one : all) {
        if (std::abs((one.draw.at - sample.taken_at).seconds()) < same_minute_s) {
            return &one;
        }
    }
    return nullptr;
}

std::vector<Drawing> drawings_of(const study::FishId& fish, const DrawInputs& inputs) {
    std::vector<Drawing> out;
    for (auto& draw : study::blood_draws(fish, inputs.sheets.blood, inputs.study.tables)) {
        out.push_back({.draw = std::move(draw), .of_plates = {}});
    }
    for (auto& value : plate_values(fish, inputs)) {
        auto* drawing = drawing_of(out, *value.sample, inputs.sheets);
        if (drawing == nullptr) {
            out.push_back({.draw = {.at = value.sample->taken_at}, .of_plates = {}});
            drawing = &out.back();
        }
        drawing->of_plates.push_back(std::move(value));
    }
    std::ranges::stable_sort(out, {}, [](const Drawing& one) { return one.draw.at; });
    return out;
}

std::string as_written(const study::BloodRow& row) {
    const auto usual = condition::usual_unit(*row.analyte);
    if (row.unit == usual) {
        return {};
    }
    const auto& value = *row.value;
    const char* sign = value.known == Known::below ? "<" : value.known == Known::above ? ">" : "";
    return fmt::format("{}{} {}", sign, exact_text(value.value), row.unit);
}

std::optional<BloodValue> typed_value(const study::BloodRow& row, const DrawInputs& inputs) {
    if (!row.value || !row.analyte) {
        return std::nullopt;
    }
    const auto assayed = study::assayed(row, inputs.sheets);
    auto determined = condition::determined(assayed, inputs.meters.find(assayed));
    if (!determined) { // such a row does not count (study::check_sheets)
        return std::nullopt;
    }
    return BloodValue{.analyte = assayed.analyte,
                      .matrix = assayed.matrix,
                      .haemolysis = row.haemolysis,
                      .determined = std::move(*determined),
                      .as_written = as_written(row),
                      .device = row.device,
                      .sample = row.sample.text(),
                      .from = row_text(row.place)};
}

/// Several values of one analyte and matrix are kept apart; each is told of the others.
void tell_of_others(std::vector<BloodValue>& values) {
    for (auto& value : values) {
        std::vector<std::string> others;
        const BloodValue* first = nullptr;
        for (const auto& other : values) {
            if (other.analyte != value.analyte || other.matrix != value.matrix) {
                continue;
            }
            first = first == nullptr ? &other : first;
            if (&other != &value) {
                others.push_back(other.from);
            }
        }
        if (!others.empty()) {
            value.determined.notes.push_back(
                fmt::format("measured more than once, kept apart: also {}; for the study's numbers counts {}",
                            fmt::join(others, "; "), first == &value ? "this one" : first->from));
        }
    }
}

/// The worst that was seen of the draw, and all that was measured in it.
std::string haemolysis_note(const study::BloodDraw& draw, const std::vector<BloodValue>& values) {
    auto worst = condition::Haemolysis::not_said;
    for (const auto* row : draw.rows) {
        worst = std::max(worst, row->haemolysis);
    }
    std::vector<condition::Analyte> analytes;
    for (const auto& value : values) {
        worst = std::max(worst, value.haemolysis);
        analytes.push_back(value.analyte);
    }
    return condition::haemolysis_note(worst, analytes);
}

void add_volume(DrawAnswer& out, const study::Fish& fish, const study::BloodDraw& draw,
                std::span<const condition::Draw> earlier, const Study& study) {
    out.volume_ml = draw.volume_ml;
    if (const auto mass = study::mass_by(fish, draw.at, study.tables)) {
        out.mass_kg = mass->mass.kilograms();
    }
    const auto blood = study.brief.seasons.empty() ? study.brief.blood : study.brief.at(draw.at).blood;
    out.ceiling_ml_per_kg = blood.ceiling_ml_per_kg;
    if (draw.is_volume_of_event) {
        out.notes.push_back("its volume by " + row_text(draw.event->place));
    } else if (!draw.volume_ml && draw.event != nullptr && draw.event->value) {
        out.notes.push_back(fmt::format("{}: {} \"{}\" is no volume: write it in mL",
                                        row_text(draw.event->place), exact_text(*draw.event->value),
                                        draw.event->unit));
    }
    if (!out.mass_kg) {
        return;
    }
    if (blood.ceiling_ml_per_kg) {
        const auto room =
            condition::before_draw(*out.mass_kg, draw.volume_ml.value_or(0.0), earlier, draw.at,
                                   {.ml_per_kg = *blood.ceiling_ml_per_kg, .within = blood.ceiling_within});
        if (room) {
            out.drawn_ml_per_kg = room->drawn_ml_per_kg + room->planned_ml_per_kg;
            out.is_over_ceiling = !room->is_within;
        }
    } else if (const auto before = condition::bled_ml_per_kg(*out.mass_kg, earlier, draw.at)) {
        out.drawn_ml_per_kg = *before + (draw.volume_ml.value_or(0.0) / *out.mass_kg);
    }
}

DrawAnswer answer_of(Drawing& drawing, const DrawInputs& inputs) {
    DrawAnswer out{.at = drawing.draw.at, .who = drawing.draw.who()};
    for (auto& one : drawing.of_plates) {
        if (one.value) {
            out.values.push_back(std::move(*one.value));
        }
        if (!one.note.empty()) {
            out.notes.push_back(std::move(one.note));
        }
    }
    for (const auto* row : drawing.draw.rows) {
        if (auto value = typed_value(*row, inputs)) {
            out.values.push_back(std::move(*value));
        }
    }
    tell_of_others(out.values);
    if (auto note = haemolysis_note(drawing.draw, out.values); !note.empty()) {
        out.notes.push_back(std::move(note));
    }
    const bool is_known = drawing.draw.volume_ml || drawing.draw.event != nullptr || out.values.empty();
    out.is_blood = is_known || std::ranges::any_of(out.values, [](const BloodValue& value) {
                       return is_blood(value.matrix);
                   });
    for (const auto* row : drawing.draw.rows) {
        const bool is_new = std::ranges::find(out.notes, row->note) == out.notes.end();
        if (!row->note.empty() && is_new) { // the rows of one draw often say the same
            out.notes.push_back(row->note);
        }
    }
    return out;
}

} // namespace

std::string row_text(const Place& place) {
    return fmt::format("{}, {}", place.file, study::line_text(place));
}

bool is_blood(condition::Matrix matrix) {
    return matrix == condition::Matrix::plasma || matrix == condition::Matrix::serum ||
           matrix == condition::Matrix::whole_blood;
}

std::vector<DrawAnswer> draws_of(const study::Fish& fish, std::span<const condition::HandlingMoment> moments,
                                 const DrawInputs& inputs) {
    std::vector<DrawAnswer> out;
    std::vector<condition::Draw> earlier;
    for (auto& drawing : drawings_of(fish.id, inputs)) {
        auto& answer = out.emplace_back(answer_of(drawing, inputs));
        const auto uncertainty =
            drawing.draw.event == nullptr ? std::nullopt : drawing.draw.event->at_uncertainty;
        answer.times = condition::draw_times(
            {.kind = condition::HandlingKind::blood, .at = answer.at, .uncertainty = uncertainty}, moments);
        for (const auto& doubt : answer.times.doubts) {
            answer.notes.push_back(doubt.found + ": " + doubt.remedy);
        }
        if (answer.is_blood) {
            add_volume(answer, fish, drawing.draw, earlier, inputs.study);
        }
        if (drawing.draw.volume_ml) {
            earlier.push_back({.at = answer.at, .volume_ml = *drawing.draw.volume_ml});
        }
    }
    return out;
}

} // namespace backeddy::app::detail
