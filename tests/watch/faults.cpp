#include "watch/faults.hpp"

#include <algorithm>

namespace backeddy::watch::test {

namespace {

constexpr double two_spells_s = 2.0 * 2400.0; ///< shore: a long spell and its flush, twice
constexpr double boat_spells_s = 600.0;
/// A slow fish under a pump that dies late hardly moves the water: the flush to its time limit, the longest
/// spell, and one turnover of the next flush.
constexpr double late_death_s = (5.0 * 95.0) + 30.0 + 1800.0 + 95.0;

} // namespace

std::vector<SeededCase> seeded_cases() {
    using enum FaultKind;
    const std::vector<Cause> flush{Cause::flush_failing};
    return {
        {.name = "shore_pump_dead",
         .faults = {{.kind = dead_pump}},
         .caught_by = flush,
         .within_turnovers = 1.0,
         .keeps_the_floor = false},
        {.name = "shore_pump_a_quarter",
         .faults = {{.kind = dead_pump, .size = 0.25}},
         .caught_by = flush,
         .within_turnovers = 1.0,
         .keeps_the_floor = false},
        {.name = "shore_pump_dies_while_flushing",
         .faults = {{.kind = dead_pump}},
         .caught_by = flush,
         .within_s = late_death_s,
         .while_flushing = true,
         .keeps_the_floor = false},
        {.name = "boat_pump_dead",
         .on_boat = true,
         .faults = {{.kind = dead_pump}},
         .caught_by = flush,
         .within_turnovers = 1.0,
         .keeps_the_floor = false},
        {.name = "boat_pump_a_quarter",
         .on_boat = true,
         .faults = {{.kind = dead_pump, .size = 0.25}},
         .caught_by = flush,
         .within_turnovers = 1.0,
         .keeps_the_floor = false},
        {.name = "silent",
         .faults = {{.kind = silent}},
         .caught_by = {Cause::sensor_silent},
         .within_s = 65.0},
        {.name = "no_value",
         .faults = {{.kind = no_value}},
         .caught_by = {Cause::sensor_silent},
         .within_s = 65.0},
        {.name = "frozen",
         .faults = {{.kind = frozen}},
         .caught_by = {Cause::sensor_frozen},
         .within_s = 190.0},
        {.name = "boat_frozen",
         .on_boat = true,
         .faults = {{.kind = frozen}},
         .caught_by = {Cause::sensor_frozen},
         .within_s = 185.0},
        {.name = "frozen_coarse_display",
         .faults = {{.kind = frozen}},
         .caught_by = {Cause::sensor_frozen},
         .within_s = 180.0 + 1500.0, // a flush, in which a coarse display may stand still, and a display step
         .display_step_mg_per_l = 0.05},
        {.name = "boat_silent",
         .on_boat = true,
         .faults = {{.kind = silent}},
         .caught_by = {Cause::sensor_silent},
         .within_s = 65.0},
        {.name = "boat_no_value",
         .on_boat = true,
         .faults = {{.kind = no_value}},
         .caught_by = {Cause::sensor_silent},
         .within_s = 65.0},
        {.name = "boat_garbage",
         .on_boat = true,
         .faults = {{.kind = garbage}},
         .caught_by = {Cause::sensor_implausible},
         .within_s = 20.0},
        {.name = "boat_frozen_coarse_display",
         .on_boat = true,
         .faults = {{.kind = frozen}},
         .caught_by = {Cause::sensor_frozen, Cause::no_decline},
         .within_s = 180.0 + 120.0 + 3.0 * 90.0, // the flushes between, in which it may stand still
         .display_step_mg_per_l = 0.1},
        {.name = "garbage",
         .faults = {{.kind = garbage}},
         .caught_by = {Cause::sensor_implausible},
         .within_s = 20.0},
        {.name = "gas_on_the_sensor",
         .faults = {{.kind = step, .to_s = 240.0, .size = 0.9},
                    {.kind = step, .from_s = 900.0, .to_s = 1200.0, .size = 0.9}},
         .caught_by = {Cause::bubble, Cause::sensor_implausible},
         .within_s = 1300.0},
        {.name = "gas_worth_four_times_the_water",
         .faults = {{.kind = bubble, .size = 112.0}},
         .caught_by = {Cause::bubble, Cause::no_decline, Cause::still},
         .within_s = 2.0 * two_spells_s},
        {.name = "leak",
         .faults = {{.kind = leak, .size = 6.0}},
         .caught_by = {Cause::bubble, Cause::no_decline, Cause::still},
         .within_s = 2.0 * two_spells_s},
        {.name = "lost_fish",
         .faults = {{.kind = no_fish}},
         .caught_by = {Cause::no_decline},
         .within_s = two_spells_s},
        {.name = "boat_lost_fish",
         .on_boat = true,
         .faults = {{.kind = no_fish}},
         .caught_by = {Cause::no_decline},
         .within_s = 2.0 * boat_spells_s},
        {.name = "warm",
         .faults = {{.kind = warm, .size = 9.0}},
         .caught_by = {Cause::temperature},
         .within_s = 60.0},
        {.name = "stale_bath",
         .faults = {{.kind = stale_bath, .size = 0.80}},
         .caught_by = {Cause::inflow_low, Cause::flush_failing, Cause::oxygen_falling, Cause::pump_too_small},
         .within_s = two_spells_s,
         .keeps_the_floor = false},
        {.name = "no_temperature",
         .faults = {{.kind = no_temperature}},
         .caught_by = {Cause::temperature_silent},
         .within_s = 65.0},
    };
}

namespace {

/// When the next phase of that kind has begun after `from_s`, plus `late_s`.
double phase_began_s(SimulatedRoom& night, Phase phase, double from_s, double late_s) {
    night.run(from_s);
    const auto seen = night.events().size();
    for (double t = from_s; t < from_s + 7200.0; t += 5.0) {
        night.run(t);
        for (std::size_t i = seen; i < night.events().size(); ++i) {
            const auto* began = std::get_if<PhaseBegan>(&night.events()[i].what);
            if (began != nullptr && began->phase == phase) {
                return night.seconds(night.events()[i].at) + late_s;
            }
        }
    }
    return from_s;
}

SimulatedRoom night_with(const SeededCase& seeded, std::uint64_t seed, double moment_s,
                         const Settings& settings) {
    auto room = seeded.on_boat ? boat_room(seed) : shore_room(seed);
    room.plan.display_step_mg_per_l = seeded.display_step_mg_per_l;
    for (auto fault : seeded.faults) {
        fault.from_s += moment_s;
        fault.to_s += moment_s;
        room.faults.push_back(fault);
    }
    SimulatedRoom night({room}, settings);
    night.at(20.0, 0, put_in(room, seeded.on_boat ? StayRole::after_capture : StayRole::rest));
    return night;
}

} // namespace

Caught play(const SeededCase& seeded, std::uint64_t seed, const Settings& settings) {
    const double about_s = seeded.on_boat ? 700.0 + (37.0 * static_cast<double>(seed))
                                          : 20'000.0 + (611.0 * static_cast<double>(seed));
    // The same night without its fault says when the fault is to come.
    auto sound = night_with(seeded, seed, 1e12, settings);
    const double moment = phase_began_s(sound, seeded.while_flushing ? Phase::flush : Phase::sealed, about_s,
                                        seeded.while_flushing ? 60.0 : 40.0);
    auto night = night_with(seeded, seed, moment, settings);
    double from = moment;
    double within = seeded.within_s;
    if (seeded.within_turnovers > 0.0) {
        const auto& room = night.chamber(0).room();
        within = seeded.within_turnovers * turnover_s(room.plan, room.fish->mass_kg);
        if (!seeded.while_flushing) {
            from = phase_began_s(night, Phase::flush, moment, 0.0); // the pump has nothing to fail at before
        }
    }
    night.run(from + within + 30.0);
    Caught caught{.caught_after_s = std::nullopt,
                  .within_s = within,
                  .raised = night.raised(),
                  .lowest_percent = night.lowest_percent(0)};
    for (const auto cause : seeded.caught_by) {
        const auto at = night.raised_s(cause, 0, moment);
        if (at && (!caught.caught_after_s || *at - from < *caught.caught_after_s)) {
            caught.caught_after_s = *at - from;
        }
    }
    return caught;
}

} // namespace backeddy::watch::test
