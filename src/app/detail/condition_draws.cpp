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
    study::BloodDraw draw; ///< its rows those that count
    std::vector<PlateValue> of_plates;
    bool is_left_out = false; ///< none of its rows counts: it is its volume alone
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
        if (!one.is_left_out && is_sample_of(one.draw, sample, sheets)) {
            return &one;
        }
    }
    for (auto& one : all) {
        if (!one.is_left_out && std::abs((one.draw.at - sample.taken_at).seconds()) < same_minute_s) {
            return &one;
        }
    }
    return nullptr;
}

std::vector<Drawing> drawings_of(const study::FishId& fish, const DrawInputs& inputs) {
    std::vector<Drawing> out;
    const auto& tables = inputs.study.tables;
    for (auto& draw : study::blood_draws(fish, tables.sheets.blood, tables)) { // blood is gone, dated or not
        const auto counts = [&](const study::BloodRow* row) {
            return std::ranges::any_of(inputs.sheets.blood, [&](const study::BloodRow& sound) {
                return sound.place.line == row->place.line;
            });
        };
        const bool is_left_out = !draw.rows.empty() && std::ranges::none_of(draw.rows, counts);
        if (!is_left_out) {
            std::erase_if(draw.rows, [&](const study::BloodRow* row) { return !counts(row); });
        }
        out.push_back({.draw = std::move(draw), .of_plates = {}, .is_left_out = is_left_out});
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
    auto doubts = determined->doubts;
    return BloodValue{.analyte = assayed.analyte,
                      .matrix = assayed.matrix,
                      .haemolysis = row.haemolysis,
                      .determined = std::move(*determined),
                      .as_written = as_written(row),
                      .device = row.device,
                      .sample = row.sample.text(),
                      .from = row_text(row.place),
                      .doubts = std::move(doubts)};
}

/// Of exact values by what they are known to, of others by whether both can be true.
bool disagree(const BloodValue& a, const BloodValue& b) {
    const auto& one = a.determined;
    const auto& other = b.determined;
    const bool is_exact = one.known == Known::exactly && other.known == Known::exactly;
    if (!is_exact || !(one.value > 0.0) || !(other.value > 0.0)) {
        return one.known_within.upper < other.known_within.lower ||
               other.known_within.upper < one.known_within.lower;
    }
    constexpr double normal_95 = 1.959963984540054;
    constexpr double of_unknown = 0.2; ///< a share: as far off as a control may be (choice)
    const double apart = std::abs(std::log(one.value / other.value));
    if (!one.uncertainty || !other.uncertainty) {
        return apart > std::log1p(of_unknown);
    }
    return apart > normal_95 * std::hypot(*one.uncertainty / one.value, *other.uncertainty / other.value);
}

std::string value_text(const condition::Determined& determined) {
    const char* sign = determined.known == Known::below   ? "below "
                       : determined.known == Known::above ? "above "
                                                          : "";
    return fmt::format("{}{} {}", sign, significant_text(determined.value, 3), determined.unit);
}

/// Measured twice, and both cannot be: told of each of them, the one that counts included.
void doubt_what_disagrees(std::vector<BloodValue>& values) {
    for (std::size_t i = 0; i < values.size(); ++i) {
        for (std::size_t j = i + 1; j < values.size(); ++j) {
            auto& a = values[i];
            auto& b = values[j];
            if (a.analyte != b.analyte || a.matrix != b.matrix || !disagree(a, b)) {
                continue;
            }
            const auto words =
                fmt::format("measured as {} ({}) and as {} ({}), further apart than their "
                            "errors allow: the first counts, as nothing says which is right",
                            value_text(a.determined), a.from, value_text(b.determined), b.from);
            a.doubts.push_back(words);
            b.doubts.push_back(words);
        }
    }
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

/// Draws of a fish so far.
struct Drawn {
    std::vector<condition::Draw> known;
    std::vector<Instant> unknown; ///< of which no volume is
};

/// Why nobody can know that a draw is within the ceiling; empty where it can be known.
std::string unknown_because(const DrawAnswer& out, const study::BloodDraw& draw, const Drawn& earlier,
                            const std::optional<Duration>& within, const Study& study) {
    if (!out.mass_kg) {
        return "the fish was not weighed";
    }
    if (!draw.volume_ml) {
        return "no volume was written down";
    }
    for (const auto at : earlier.unknown) {
        if (!within || at >= draw.at - *within) {
            return fmt::format("of the draw at {} no volume was written down", iso_text(at));
        }
    }
    const auto& sheets = study.tables.sheets;
    const auto nobodys = std::ranges::count_if(
        sheets.blood, [&](const study::BloodRow& row) { return study.tables.find(row.fish) == nullptr; });
    const auto rows = sheets.blood_refused + static_cast<std::uint64_t>(nobodys);
    return rows == 0
               ? std::string()
               : fmt::format("{} of blood.csv {} left out and may be of this fish",
                             rows == 1 ? "a row" : fmt::format("{} rows", rows), rows == 1 ? "is" : "are");
}

void add_volume(DrawAnswer& out, const study::Fish& fish, const study::BloodDraw& draw, const Drawn& drawn,
                const Study& study) {
    const auto& earlier = drawn.known;
    out.volume_ml = draw.volume_ml;
    if (const auto mass = study::mass_by(fish, draw.at, study.tables)) {
        out.mass_kg = mass->mass.kilograms();
    }
    const auto blood = study.brief.seasons.empty() ? study.brief.blood : study.brief.at(draw.at).blood;
    out.ceiling_ml_per_kg = blood.ceiling_ml_per_kg;
    if (draw.volume_event != nullptr) {
        out.notes.push_back("its volume by " + row_text(draw.volume_event->place));
    } else if (const auto* event = draw.event(); !draw.volume_ml && event != nullptr && event->value) {
        out.notes.push_back(fmt::format("{}: {} \"{}\" is no volume: write it in mL", row_text(event->place),
                                        exact_text(*event->value), event->unit));
    }
    const auto unknown = unknown_because(out, draw, drawn, blood.ceiling_within, study);
    if (!out.mass_kg) {
        if (blood.ceiling_ml_per_kg) {
            out.notes.push_back("whether it is over the ceiling is not known: " + unknown);
        }
        return;
    }
    if (blood.ceiling_ml_per_kg) {
        const auto room =
            condition::before_draw(*out.mass_kg, draw.volume_ml.value_or(0.0), earlier, draw.at,
                                   {.ml_per_kg = *blood.ceiling_ml_per_kg, .within = blood.ceiling_within});
        if (room) {
            out.drawn_ml_per_kg = room->drawn_ml_per_kg + room->planned_ml_per_kg;
            const bool is_over = !room->is_within; // with what is known already
            out.is_over_ceiling = is_over || unknown.empty() ? std::optional(is_over) : std::nullopt;
            if (!out.is_over_ceiling) {
                out.notes.push_back("whether it is over the ceiling is not known: " + unknown);
            }
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
    if (drawing.is_left_out) {
        out.notes.push_back("left out, as the study's warnings say; its volume counts all the same: " +
                            row_text(drawing.draw.rows.front()->place));
        return out;
    }
    for (const auto* row : drawing.draw.rows) {
        if (auto value = typed_value(*row, inputs)) {
            out.values.push_back(std::move(*value));
        }
    }
    tell_of_others(out.values);
    doubt_what_disagrees(out.values);
    if (auto note = haemolysis_note(drawing.draw, out.values); !note.empty()) {
        out.notes.push_back(std::move(note));
    }
    const bool is_known = drawing.draw.volume_ml || !drawing.draw.events.empty() || out.values.empty();
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
    Drawn earlier;
    for (auto& drawing : drawings_of(fish.id, inputs)) {
        auto& answer = out.emplace_back(answer_of(drawing, inputs));
        const auto* event = drawing.draw.event();
        const auto uncertainty = event == nullptr ? std::nullopt : event->at_uncertainty;
        answer.times = condition::draw_times(
            {.kind = condition::HandlingKind::blood, .at = answer.at, .uncertainty = uncertainty}, moments);
        for (const auto& doubt : answer.times.doubts) {
            answer.notes.push_back(doubt.found + ": " + doubt.remedy);
        }
        if (answer.is_blood) {
            add_volume(answer, fish, drawing.draw, earlier, inputs.study);
        }
        if (drawing.draw.volume_ml) {
            earlier.known.push_back({.at = answer.at, .volume_ml = *drawing.draw.volume_ml});
        } else if (answer.is_blood) {
            earlier.unknown.push_back(answer.at);
        }
    }
    return out;
}

} // namespace backeddy::app::detail
