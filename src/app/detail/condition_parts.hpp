#pragma once
// The parts of answer_condition(), one function a sheet.

#include <span>
#include <string>
#include <vector>

#include "app/condition_answers.hpp"
#include "study/meters.hpp"

namespace backeddy::app::detail {

/// All that the draws of one fish are made of.
struct DrawInputs {
    const Study& study;
    const study::ConditionSheets& sheets; ///< rows that count
    const PlateAnswers& plates;
    const study::Meters& meters;
};

/// By time: of blood.csv, of events, and of samples that no draw names or lies within a minute of.
[[nodiscard]] std::vector<DrawAnswer> draws_of(const study::Fish& fish,
                                               std::span<const condition::HandlingMoment> moments,
                                               const DrawInputs& inputs);

/// What a plate says of the samples of one fish.
struct PlateValue {
    const study::SampleRow* sample = nullptr;
    std::optional<BloodValue> value; ///< nothing: its dilutions contradict each other
    std::string note;                ///< then why
};
[[nodiscard]] std::vector<PlateValue> plate_values(const study::FishId& fish, const DrawInputs& inputs);

/// "line 7 of events.csv"-like: "events.csv, line 7".
[[nodiscard]] std::string row_text(const Place& place);

/// Whether values of such matter are of the fish's blood.
[[nodiscard]] bool is_blood(condition::Matrix matrix);

} // namespace backeddy::app::detail
