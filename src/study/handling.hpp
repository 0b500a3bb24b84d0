#pragma once
// How long a fish was fought, held in air and waited for its tube, encounter by encounter: by events.csv, and
// by columns that a person typed (fight_s, air_s ...), held against each other.

#include <optional>
#include <string>
#include <vector>

#include "condition/handling.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// One length of time, from both where both are there.
struct HandledFor {
    std::string word;  ///< as a column: "fight_s"
    std::string title; ///< "fight"
    std::optional<condition::Elapsed> by_events;
    std::optional<condition::Elapsed> typed;
    std::string typed_column; ///< as it is headed
    std::string disagreement; ///< in words; empty: none, or only one is there
};

struct Handling {
    const Encounter* encounter = nullptr;           ///< nothing: events of a fish without one
    std::vector<condition::HandlingMoment> moments; ///< by time; `row` counts them from 0
    std::vector<Place> places;                      ///< of each moment
    condition::HandlingTimes times;                 ///< its doubts by `row`
    std::vector<HandledFor> all;                    ///< those of which anything is known
};

/// By time, at least one. Moments belong to the encounter they follow, from its hook-up on where that was
/// written down up to an hour before it. Typed values are columns of the study's own in encounters.csv, for
/// the first encounter in fish.csv too: fight_s (or fight_time_s), air_s (air_time_s, air_exposure_s),
/// handling_s, air_after_chase_s, chase_s, landed_to_sealed_s, back_in_water_to_sealed_s.
[[nodiscard]] std::vector<Handling> handling_of(const Fish& fish, const Tables& tables);

/// Warnings where events and typed cells cannot both be right, at the typed cell.
[[nodiscard]] std::vector<Complaint> check_handling(const Tables& tables);

} // namespace backeddy::study
