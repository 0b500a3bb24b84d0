#pragma once
// Every stay of the study -> the uptake of its sealed spells: blanks first, then each sensor's noise, then
// the fish.

#include <map>
#include <string>
#include <vector>

#include "app/chambers.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::app {

/// One stay with what went in and what came out.
struct StayAnswer {
    const study::Stay* stay = nullptr;
    const study::Fish* fish = nullptr; ///< nothing for a blank
    uptake::StayInput input;
    std::vector<const Chamber*> slices;             ///< of input.slices
    std::vector<const study::Decision*> on_spells;  ///< of input.decisions, in the same order
    std::vector<const study::Decision*> whole_stay; ///< decisions without a moment: they mean every spell
    Expected<uptake::StayUptake> uptake;
};

struct StayAnswers {
    std::vector<StayAnswer> list;                     ///< in the order of study.tables.stays
    std::map<std::string, uptake::SensorNoise> noise; ///< by sensor
    std::map<std::string, std::string> no_noise;      ///< by sensor: why there is no model
    std::vector<uptake::Blank> blanks;
    Duration blank_part = Duration::hours(3.0);
};

/// The uptake of one stay from its input, decisions about the whole stay applied.
[[nodiscard]] Expected<uptake::StayUptake> compute_stay(const StayAnswer& answer);

/// Decisions that name a moment in no sealed spell, as warnings at their rows: nobody else would notice that
/// they did nothing.
[[nodiscard]] std::vector<study::Complaint> unheard_decisions(const StayAnswers& stays);

/// A stay that cannot be computed holds the reason; the others go on. `chambers` must outlive the result.
[[nodiscard]] StayAnswers answer_stays(const Study& study, const Chambers& chambers, Threads threads,
                                       const Progress& progress);

/// Whether a stay carries a human act that changes numbers.
[[nodiscard]] bool has_human_acts(const StayAnswer& stay);

/// The same stays with human acts undone, those on blanks included (noise as it is), for the numbers "without
/// human exclusions".
[[nodiscard]] StayAnswers without_human_acts(const StayAnswers& stays, Threads threads);

} // namespace backeddy::app
