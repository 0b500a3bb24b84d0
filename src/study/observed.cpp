#include "study/observed.hpp"

#include <algorithm>

namespace backeddy::study {

const std::vector<ObservedDefinition>& observed_columns() {
    using enum Stage;
    static const std::vector<ObservedDefinition> all{
        {"after", "what it came after", "", assigned,
         "Of rows that are peaks or spells: what the fish came from, capture or chase."},
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
        {"air_s", "time in air", "s", during, "From landed to back in water, or as encounters.csv has it."},
        {"fight_s", "fight time", "s", during, "From hook-up to landed."},
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
        {"died", "died", "", after, "Whether the fish died: yes or no."},
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
