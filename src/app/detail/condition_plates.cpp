#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "app/detail/condition_parts.hpp"
#include "base/number_text.hpp"
#include "study/words.hpp"

namespace backeddy::app::detail {

namespace {

using condition::Known;
using condition::Material;
using condition::Reach;

/// What is known of a material none of whose dilutions lies on the curve, in the plate's unit and undiluted.
/// Nothing where its dilutions contradict each other.
std::optional<stats::Interval> beyond(const Material& material, const condition::LogisticFit& curve) {
    // What lies below the lowest standard is below it times its dilution, the least diluted says the most;
    // what lies above the highest likewise, the most diluted.
    stats::Interval within{0.0, std::numeric_limits<double>::infinity()};
    for (const auto& step : material.steps) {
        if (step.read.reach == Reach::below) {
            within.upper = std::min(within.upper, curve.lowest * step.dilution);
        } else if (step.read.reach == Reach::above) {
            within.lower = std::max(within.lower, curve.highest * step.dilution);
        }
    }
    return within.lower < within.upper ? std::optional(within) : std::nullopt;
}

std::vector<std::string> wells_of(const Material& material) {
    std::vector<std::string> out;
    for (const auto& step : material.steps) {
        out.insert(out.end(), step.responses.wells.begin(), step.responses.wells.end());
    }
    return out;
}

/// The blood.csv row that names this tube, for what it says of the matter.
const study::BloodRow* row_naming(const study::SampleId& sample, const study::ConditionSheets& sheets) {
    const auto found = std::ranges::find(sheets.blood, sample, &study::BloodRow::sample);
    return found == sheets.blood.end() ? nullptr : &*found;
}

class Reading {
  public:
    Reading(const PlateAnswer& plate, const Material& material, const study::SampleRow& sample,
            const study::ConditionSheets& sheets)
        : plate_(plate), material_(material), sample_(sample) {
        const auto* row = row_naming(sample.id, sheets);
        const auto by_row = row == nullptr ? std::nullopt : row->matrix;
        matrix_ = sample.matrix.value_or(by_row.value_or(condition::Matrix::plasma));
        haemolysis_ = row == nullptr ? condition::Haemolysis::not_said : row->haemolysis;
    }

    [[nodiscard]] PlateValue value() const {
        if (material_.concentration) {
            auto out = of(material_.concentration->value, Known::exactly);
            if (out.value) {
                add_interval(*out.value);
            }
            return out;
        }
        const auto within = beyond(material_, plate_.result->curve);
        if (!within) {
            return {.sample = &sample_,
                    .value = {},
                    .note = fmt::format("{} of plate {}: {}", material_.label, plate_.row.id.text(),
                                        material_.beyond)};
        }
        const bool is_below = std::isfinite(within->upper);
        auto out = of(is_below ? within->upper : within->lower, is_below ? Known::below : Known::above);
        if (out.value && is_below) {
            out.value->determined.known_within.lower = within->lower * factor();
        }
        return out;
    }

  private:
    [[nodiscard]] double factor() const {
        const auto analyte = plate_.row.analyte;
        return condition::converted(analyte, 1.0, plate_.row.unit, condition::usual_unit(analyte))
            .value_or(1.0); // a plate in another unit does not count (study::check_sheets())
    }

    [[nodiscard]] PlateValue of(double value, Known known) const {
        auto determined = condition::determined({.analyte = plate_.row.analyte,
                                                 .value = value,
                                                 .known = known,
                                                 .unit = plate_.row.unit,
                                                 .device = {},
                                                 .matrix = matrix_});
        if (!determined) {
            return {.sample = &sample_, .value = {}, .note = determined.error().text()};
        }
        BloodValue out{.analyte = plate_.row.analyte,
                       .matrix = matrix_,
                       .haemolysis = haemolysis_,
                       .determined = std::move(*determined),
                       .sample = sample_.id.text(),
                       .plate = plate_.row.id.text(),
                       .wells = wells_of(material_)};
        out.from = fmt::format("plate {}, {} {}; {}", out.plate, out.wells.size() == 1 ? "well" : "wells",
                               fmt::join(out.wells, ", "), row_text(sample_.place));
        if (plate_.row.unit != condition::usual_unit(plate_.row.analyte)) {
            const char* sign = known == Known::below ? "<" : known == Known::above ? ">" : "";
            out.as_written = fmt::format("{}{} {}", sign, significant_text(value, 3), plate_.row.unit);
        }
        for (const auto& remark : material_.remarks) {
            out.determined.notes.push_back("on the plate: " + remark);
        }
        for (const auto& doubt : material_.doubts) {
            out.doubts.push_back(doubt.words);
        }
        if (material_.steps.size() == 1) {
            out.response_cv = material_.steps.front().responses.cv;
        }
        return {.sample = &sample_, .value = std::move(out), .note = {}};
    }

    void add_interval(BloodValue& out) const {
        const auto& read = *material_.concentration;
        out.interval = stats::Interval{read.lower * factor(), read.upper * factor()};
        out.determined.uncertainty = out.determined.value * read.log_se;
    }

    const PlateAnswer& plate_;
    const Material& material_;
    const study::SampleRow& sample_;
    condition::Matrix matrix_ = condition::Matrix::plasma;
    condition::Haemolysis haemolysis_ = condition::Haemolysis::not_said;
};

} // namespace

std::vector<PlateValue> plate_values(const study::FishId& fish, const DrawInputs& inputs) {
    std::vector<PlateValue> out;
    for (const auto& plate : inputs.plates.list) {
        if (!plate.result) {
            continue;
        }
        for (const auto& material : plate.result->samples) {
            const auto* sample = inputs.sheets.find(study::SampleId(material.label));
            if (sample != nullptr && sample->fish == fish) {
                out.push_back(Reading(plate, material, *sample, inputs.sheets).value());
            }
        }
    }
    return out;
}

} // namespace backeddy::app::detail
