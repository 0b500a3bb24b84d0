#include "watch/cause.hpp"

#include <algorithm>

namespace backeddy::watch {

namespace {

using enum Priority;

// Delays are common practice, no source, except where docs/watch.md says otherwise.
constexpr std::array<CauseInfo, causes> rows{{
    {Cause::oxygen_low, "oxygen_low", "Oxygen low", fish_at_risk, 3.0, 20.0,
     "Go there. See that the flush pump runs and its hose is free. If oxygen does not rise, lift the lid or "
     "pour in "
     "fresh water from the bath, then aerate."},
    {Cause::oxygen_falling, "oxygen_falling", "Oxygen falling in the flush", fish_at_risk, 15.0, 30.0,
     "Go there. The flush does not hold this fish: check pump, hose and bath; open the lid if oxygen goes on "
     "falling."},
    {Cause::flush_failing, "flush_failing", "Flush not working", fish_at_risk, 0.0, 20.0,
     "Go there. Check the pump's supply, its relay, the hose and the intake. The chamber stays in flush "
     "until the water "
     "comes back."},
    {Cause::pump_too_small, "pump_too_small", "Pump too small for this fish", high, 5.0, 60.0,
     "This pump cannot bring the water back to the starting oxygen with this fish. Give it more flow, or use "
     "a larger "
     "chamber."},
    {Cause::inflow_low, "inflow_low", "Inflow low in oxygen", high, 60.0, 300.0,
     "All chambers on this bath are concerned. Aerate the bath, renew its water, look for a stopped supply."},
    {Cause::no_decline, "no_decline", "No fall of oxygen while sealed", high, 0.0, 0.0,
     "Look at the fish. Is it there, and does it breathe? Then look for a leak: lid, valve, a flush pump "
     "that runs on."},
    {Cause::bubble, "bubble", "Bubble or leak", medium, 0.0, 0.0,
     "Tilt the chamber and let the gas out; look at the sensor's tip and at the lid's seal."},
    {Cause::restless, "restless", "Restless fish", low, 0.0, 0.0,
     "Look at the fish from a distance: light, noise, people, a neighbour? Note what you see."},
    {Cause::still, "still", "Very still fish", medium, 0.0, 0.0,
     "Look at the fish: gill beat, righting. If it is in trouble, flush by hand and follow the permit's "
     "rule."},
    {Cause::temperature, "temperature", "Temperature out of range", high, 10.0, 120.0,
     "Check the bath's heater or cooler and the water supply. The chamber is flushed until it is back."},
    {Cause::sensor_silent, "sensor_silent", "Oxygen sensor silent", high, 0.0, 5.0,
     "Check the meter, its cable and power. The chamber is flushed until readings come again. Look at the "
     "fish."},
    {Cause::sensor_frozen, "sensor_frozen", "Oxygen sensor frozen", high, 0.0, 5.0,
     "The same reading again and again: restart the meter, check its cable. The chamber is flushed "
     "meanwhile."},
    {Cause::sensor_implausible, "sensor_implausible", "Oxygen readings not to be believed", high, 0.0, 30.0,
     "Check the sensor's tip for gas, its cable and its calibration. The chamber is flushed meanwhile."},
    {Cause::temperature_silent, "temperature_silent", "Temperature sensor silent", medium, 0.0, 10.0,
     "Check the temperature sensor and its cable. The last temperature is used until it speaks again."},
    {Cause::seal_overdue, "seal_overdue", "Seal overdue", high, 0.0, 0.0,
     "Seal the chamber as soon as the fish is in, or enter that it is done: the first minutes are the peak."},
    {Cause::blood_due, "blood_due", "Blood due", medium, 0.0, 0.0,
     "Take the sample by your permit's rules, or enter why not."},
    {Cause::other_due, "other_due", "Step overdue", medium, 0.0, 0.0, "Do what is due, or enter why not."},
    {Cause::clock_step, "clock_step", "Clock stepped", medium, 0.0, 0.0,
     "The computer's clock was set. Times before and after differ: compare it with a good clock and note "
     "it."},
    {Cause::disk, "disk", "Samples are not being kept", high, 5.0, 30.0,
     "Free disk space, or stop what holds the file. Readings may be lost; while none can be written nothing "
     "is sealed."},
    {Cause::power, "power", "On battery", high, 10.0, 30.0,
     "Mains power is gone or the battery is low. Check the supply and the pumps' own supply."},
    {Cause::watch_away, "watch_away", "The watch was away", high, 0.0, 60.0,
     "The program stood still or the computer slept. All chambers are flushed. Keep the lid open and sleep "
     "off."},
}};

constexpr bool rows_stand_in_order() {
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (static_cast<std::size_t>(rows[i].cause) != i) {
            return false;
        }
    }
    return true;
}
static_assert(rows_stand_in_order());

} // namespace

std::span<const CauseInfo, causes> all_causes() {
    return rows;
}

const CauseInfo& info(Cause cause) {
    return rows[static_cast<std::size_t>(cause)];
}

std::optional<Cause> cause_from(std::string_view text) {
    const auto found = std::ranges::find(rows, text, &CauseInfo::word);
    return found == rows.end() ? std::nullopt : std::optional(found->cause);
}

std::string_view word(Priority priority) {
    switch (priority) {
    case fish_at_risk:
        return "fish_at_risk";
    case high:
        return "high";
    case medium:
        return "medium";
    case low:
        return "low";
    }
    return {};
}

} // namespace backeddy::watch
