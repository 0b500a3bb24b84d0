#include "study/observed.hpp"

#include <algorithm>

namespace backeddy::study {

const std::vector<ObservedDefinition>& observed_columns() {
    using enum Stage;
    static const std::vector<ObservedDefinition> all{
        {"after", "what it came after", "", assigned,
         "Of rows that are peaks: what the fish came from, capture or chase."},
        {"peak", "peak uptake", "mg/kg/h", after, "Peak uptake, a row for each fish and what it came after."},
        {"scope", "scope", "mg/kg/h", after,
         "Peak less resting, a row for each fish and what it came after."},
        {"scope_ratio", "peak over resting", "", after, "Peak divided by resting, rows as of scope."},
        {"excess", "excess uptake", "mg/kg", after,
         "Oxygen taken up above resting until recovery, rows as of scope."},
        {"peak_after_capture", "peak after capture", "mg/kg/h", after,
         "Peak uptake after the fish was caught."},
        {"peak_after_chase", "peak after chase", "mg/kg/h", after, "Peak uptake after it was chased."},
        {"resting", "resting uptake", "mg/kg/h", after, "Resting uptake, by [resting] rule."},
        {"scope_after_capture", "scope after capture", "mg/kg/h", after, "Peak after capture less resting."},
        {"scope_after_chase", "scope after chase", "mg/kg/h", after, "Peak after chase less resting."},
        {"scope_ratio_after_capture", "peak after capture over resting", "", after,
         "Peak after capture divided by resting."},
        {"scope_ratio_after_chase", "peak after chase over resting", "", after,
         "Peak after chase divided by resting."},
        {"excess_boat_hour", "excess uptake of the first hour", "mg/kg", after,
         "Oxygen taken up above resting in the first hour after capture."},
        {"excess_total", "excess uptake", "mg/kg", after, "Oxygen taken up above resting until recovery."},
        {"recovery_h", "time to recovery", "h", after,
         "From capture until uptake is resting again; where it was not seen to be, at least the time "
         "watched."},
        {"recovery_after_chase_h", "time to recovery after chase", "h", after, "The same, from the chase."},
        {"mo2", "uptake", "mg/kg/h", after, "Uptake of one sealed spell, a row for each spell."},
        {"role", "role", "", before, "Of a spell: after_capture, rest, after_chase ..."},
        {"stay", "stay", "", before, "Of a spell: the stay it belongs to."},
        {"hours", "time since capture or chase", "h", before,
         "Of a spell's middle, since the fish's capture or chase."},
        {"temperature_c", "water temperature", "degC", before, "Mean of the water in the chamber."},
        {"day", "day", "", before, "The date, in the study's zone."},
        {"tube", "tube", "", before, "The assembly the fish was in."},
        {"air_s", "time in air", "s", during,
         "All air spells of the fish's encounter that begin before a chase, or as encounters.csv has it; of "
         "rows that are events those before each."},
        {"fight_s", "fight time", "s", during, "From hook-up to landed, or as encounters.csv has it."},
        {"handling_s", "time from landed to back in water", "s", during,
         "From landed to back in water, or as encounters.csv has it."},
        {"seal_delay_s", "time to the first sealed spell", "s", during,
         "From landed to the first sealed spell: a peak is lower the later it is looked for."},
        {"bycatch", "bycatch", "", after, "Of a bite: yes when the fish is of none of the study's species."},
        {"landed", "landed", "", after, "Of a hooked fish: yes, or no when it was lost."},
        {"hooked", "hooked", "", after, "Of a bite: yes when it became a hook-up."},
        {"bites", "bites", "", after, "Count, of a stretch of fishing; with rod_hours as its exposure."},
        {"hook_ups", "hook-ups", "", after, "The same of hook-ups."},
        {"landings", "landings", "", after, "The same of landed fish."},
        {"rod_hours", "rod-hours", "h", before, "How long one rod fished, added over rods."},
        {"angler", "angler", "", before, "Who held the rod."},
        {"rod", "rod", "", before, "Which rod, of the deck's log."},
        {"rig", "rig", "", unknown, "The rig or gear, of encounters.csv or the deck's log."},
        {"cortisol_ng_per_ml", "cortisol", "ng/mL", after,
         "At the fish's first draw with a value after capture and before any chase, by assay plate or "
         "blood.csv, in "
         "the matter of blood that most fish have it of; below or above a limit it is known as such."},
        {"glucose_mmol_per_l", "glucose", "mmol/L", after, "The same of glucose."},
        {"lactate_mmol_per_l", "lactate", "mmol/L", after, "The same of lactate."},
        {"haematocrit_percent", "haematocrit", "%", after, "The same of haematocrit."},
        {"osmolality_mosm_per_kg", "osmolality", "mOsm/kg", after, "The same of osmolality."},
        {"sodium_mmol_per_l", "sodium", "mmol/L", after, "The same of sodium."},
        {"potassium_mmol_per_l", "potassium", "mmol/L", after, "The same of potassium."},
        {"calcium_mmol_per_l", "calcium", "mmol/L", after, "The same of calcium."},
        {"magnesium_mmol_per_l", "magnesium", "mmol/L", after, "The same of magnesium."},
        {"chloride_mmol_per_l", "chloride", "mmol/L", after, "The same of chloride."},
        {"hook_up_to_blood_min", "time from hook-up to blood", "min", after,
         "From hook-up to that draw: most analytes go on rising for an hour and more."},
        {"bled_ml_per_kg", "blood drawn before the peak", "mL/kg", after,
         "Before the peak after chase; of rows that are events before the peak of each. Draws of a known "
         "volume."},
        {"fin_index", "mean fin score at landing", "", after,
         "Mean level of [fins] scale over the fins of [fins] fins, at landing, by the first look."},
        {"worst_fin", "worst fin at landing", "", after, "The worst level of any of these fins, as a word."},
        {"bleeding", "bleeding at the hook wound", "", after,
         "none, slight, moderate or heavy, by body.csv."},
        {"reflexes_lost_share", "share of reflexes lost", "", after,
         "Lost of those tested, 0 to 1, the first time they were, by reflexes.csv."},
        {"death_after_capture_h", "time from capture to death", "h", after,
         "Between the last look at which it lived and the one that found it dead; of a fish not known dead "
         "at "
         "least the time it was known to live."},
        {"died", "died", "", after,
         "yes: known dead, by fates.csv, events.csv or how its stays ended. no: alive when last seen, by a "
         "look, "
         "a detection, a recapture, at the end of a stay that ended done or welfare_stop, or let go after "
         "holding. A fish lost to follow-up, or not seen since it was let go without holding, is left out."},
        {"held_h", "time held", "h", after,
         "From capture until released, died or the end of its last stay."}};
    return all;
}

const ObservedDefinition* find_observed(std::string_view name) {
    const auto& all = observed_columns();
    const auto found = std::ranges::find(all, name, &ObservedDefinition::name);
    return found == all.end() ? nullptr : &*found;
}

} // namespace backeddy::study
