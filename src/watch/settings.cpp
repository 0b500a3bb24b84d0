#include "watch/settings.hpp"

#include <utility>

namespace backeddy::watch {

Settings::Settings()
    : fast{.timing = Timing::precision,
           .flush_s = 150.0,
           .sealed_s = 150.0,
           .settle_s = 28.0,
           .shortest_sealed_s = 100.0,
           .longest_sealed_s = 600.0,
           .floor_percent = 80.0,
           .start_floor_percent = 85.0,
           .wanted_error_share = 0.02},
      rest{}, blank{.timing = Timing::timetable,
                    .flush_s = 300.0,
                    .sealed_s = 1800.0,
                    .settle_s = 60.0,
                    .shortest_sealed_s = 600.0,
                    .longest_sealed_s = 3600.0,
                    .floor_percent = 80.0,
                    .start_floor_percent = 90.0,
                    .wanted_error_share = 0.2} {}

const CycleSettings& Settings::cycle(uptake::StayRole role) const {
    if (role == uptake::StayRole::blank || role == uptake::StayRole::leak_test) {
        return blank;
    }
    return uptake::is_fast(role) ? fast : rest;
}

namespace {

const std::string practice = "common practice, no source";
const std::string advice =
    "Clark and others 2013 J Exp Biol 216:2771 and Svendsen and others 2016 J Fish Biol 88:26 "
    "advise about 80 % (from memory)";

using List = std::vector<DescribedSetting>;

void add_cycle(List& list, const std::string& group, const CycleSettings& cycle) {
    const auto add = [&](const char* key, const char* unit, double standard, const char* why,
                         const std::string& source) {
        list.push_back(
            {.key = group + "." + key, .unit = unit, .standard = standard, .why = why, .source = source});
    };
    add("timing", "0 timetable, 1 precision", cycle.timing == Timing::precision ? 1.0 : 0.0,
        "How the length of the next sealed spell is chosen.", "our choice");
    add("flush_s", "s", cycle.flush_s, "Flush of the timetable.", practice);
    add("sealed_s", "s", cycle.sealed_s,
        "Sealed spell of the timetable, and the first of a fish not known yet.", practice);
    add("settle_s", "s", cycle.settle_s, "Start of a spell, set aside: mixing and three to five sensor lags.",
        "derived: a first-order lag's slope is within 5 % at 3, 1 % at 5 lags");
    add("shortest_sealed_s", "s", cycle.shortest_sealed_s, "No spell is planned shorter.", practice);
    add("longest_sealed_s", "s", cycle.longest_sealed_s, "No chamber is sealed longer, by hand either.",
        practice);
    add("floor_percent", "% air saturation", cycle.floor_percent, "A sealed spell with a fish ends here.",
        advice);
    add("start_floor_percent", "% air saturation", cycle.start_floor_percent,
        "What a spell should start from; below it sealed only where the pump can do no better, and marked.",
        "our choice");
    add("wanted_error_share", "", cycle.wanted_error_share,
        "Standard error of a spell's slope over the slope, by which its length is planned.",
        "derived: noise pulls the 0.2 quantile down by 0.84 of it");
}

void add_flush(List& list, const FlushSettings& s) {
    list.push_back(
        {"flush.share_of_way", "", s.share_of_way,
         "A flush ends so far on the way from its start to what the pump can reach with this fish.",
         "derived: three turnovers"});
    list.push_back(
        {"flush.least_turnovers", "turnovers", s.least_turnovers, "No flush ends sooner.", "our choice"});
    list.push_back({"flush.longest_turnovers", "turnovers", s.longest_turnovers, "Time limit of a flush.",
                    "derived: 99.3 % of the way"});
    list.push_back({"flush.least_headroom_percent", "% air saturation", s.least_headroom_percent,
                    "A fish is sealed only so far above the floor.", "our choice"});
    list.push_back({"flush.inflow_percent", "% air saturation", s.inflow_percent,
                    "Believed of the inflow until it is measured or learnt from flushes.", practice});
}

void add_interlock(List& list, const InterlockSettings& s) {
    list.push_back({"interlock.reaction_s", "s", s.reaction_s,
                    "From a command to water that moves; looked ahead with the sensor's lag.", practice});
    list.push_back({"interlock.unsure_after_s", "s", s.unsure_after_s,
                    "No believable oxygen for so long: flush. Until then the level is drawn on.",
                    "our choice"});
    list.push_back({"interlock.longest_step_gap_s", "s", s.longest_step_gap_s,
                    "The watch was away for longer: flush.", "our choice; the heartbeat's length"});
    list.push_back({"interlock.clear_for_s", "s", s.clear_for_s,
                    "After an interlock all must be well for so long before sealing.", "our choice"});
    list.push_back({"interlock.lowest_celsius", "degC", s.lowest_celsius, "Below, with a fish: flush.",
                    "to be set by site and permit"});
    list.push_back({"interlock.highest_celsius", "degC", s.highest_celsius, "Above, with a fish: flush.",
                    "to be set by site and permit"});
}

void add_sensor(List& list, const SensorSettings& s) {
    list.push_back({"sensor.silent_after_s", "s", s.silent_after_s, "No reading for so long is an alarm.",
                    "our choice"});
    list.push_back({"sensor.frozen_after_s", "s", s.frozen_after_s,
                    "One value for so long beyond what the display step explains is an alarm.",
                    "our choice"});
    list.push_back({"sensor.frozen_unsure_after_s", "s", s.frozen_unsure_after_s,
                    "Likewise, until a chamber is flushed; a coarse display waits for the alarm's time.",
                    "our choice"});
    list.push_back({"sensor.highest_percent", "% air saturation", s.highest_percent,
                    "Above is no reading of water.", practice});
    list.push_back(
        {"sensor.lowest_mg_per_l", "mg/L", s.lowest_mg_per_l, "Below is no reading of water.", practice});
    list.push_back(
        {"sensor.lowest_celsius", "degC", s.lowest_celsius, "Sea water freezes at about -1.9.", practice});
    list.push_back(
        {"sensor.highest_celsius", "degC", s.highest_celsius, "Above is no water with a fish.", practice});
    list.push_back({"sensor.jump_mg_per_l", "mg/L", s.jump_mg_per_l,
                    "A reading that far from what was expected is not believed at once.", "our choice"});
    list.push_back({"sensor.jump_celsius", "degC", s.jump_celsius, "The same of temperature.", "our choice"});
    list.push_back({"sensor.believed_after", "readings", static_cast<double>(s.believed_after),
                    "So many odd readings in a row that agree are a new level.", "our choice"});
    list.push_back({"sensor.implausible_after_s", "s", s.implausible_after_s,
                    "Odd readings for so long are an alarm, and flush.", "our choice"});
    list.push_back({"sensor.memory_intervals", "readings", s.memory_intervals,
                    "The running level forgets over so many readings.", "our choice"});
    list.push_back(
        {"sensor.least_memory_s", "s", s.least_memory_s, "And no faster than this.", "our choice"});
}

void add_course(List& list, const CourseSettings& s) {
    list.push_back({"course.flush_share", "", s.flush_share,
                    "A pump that does less of the way from a dead to a working pump is failing.", practice});
    list.push_back({"course.flush_sigmas", "standard errors", s.flush_sigmas,
                    "Dead and working must differ by so much before a pump is judged.", "our choice"});
    list.push_back({"course.flush_low_percent", "% air saturation", s.flush_low_percent,
                    "Below, a pump is judged in half the time.", "our choice"});
    list.push_back(
        {"course.ahead_s", "s", s.ahead_s, "Oxygen in a flush is looked at so far ahead.", "our choice"});
    list.push_back({"course.low_below_floor_percent", "% air saturation", s.low_below_floor_percent,
                    "Oxygen so far under the floor is low: a flush that works stays above.", "our choice"});
    list.push_back({"course.low_deadband_percent", "% air saturation", s.low_deadband_percent,
                    "It must come back by so much.", practice});
    list.push_back({"course.inflow_low_percent", "% air saturation", s.inflow_low_percent,
                    "The inflow concerns all chambers on it.", practice});
    list.push_back({"course.no_decline_share", "", s.no_decline_share,
                    "Uptake surely under this share of the fish's median: lost, dead, or a leak.", practice});
    list.push_back({"course.rest_mg_per_kg_h", "mg/kg/h", s.rest_mg_per_kg_h,
                    "What a fish not known yet is believed to take at rest.", practice});
    list.push_back(
        {"course.fast_mg_per_kg_h", "mg/kg/h", s.fast_mg_per_kg_h, "And after capture or chase.", practice});
    list.push_back({"course.bubble_jump_percent", "% air saturation", s.bubble_jump_percent,
                    "A step up while sealed.", "our choice"});
    list.push_back(
        {"course.bubble_late_share", "", s.bubble_late_share,
         "Slope of the last third over the first's, surely under it: gas or a leak feeds the water.",
         "our choice"});
    list.push_back(
        {"course.bubble_spells", "spells", static_cast<double>(s.bubble_spells), "In a row.", "our choice"});
    list.push_back(
        {"course.restless_factor", "", s.restless_factor, "Uptake over its own median.", practice});
    list.push_back(
        {"course.restless_spells", "spells", static_cast<double>(s.restless_spells), "In a row.", practice});
    list.push_back({"course.still_factor", "", s.still_factor,
                    "Uptake surely under this share of its own median.", practice});
    list.push_back(
        {"course.still_spells", "spells", static_cast<double>(s.still_spells), "In a row.", practice});
    list.push_back({"course.quiet_after_h", "h", s.quiet_after_h,
                    "Restless and still are not judged sooner after handling.", "our choice"});
    list.push_back({"course.spells_kept", "spells", static_cast<double>(s.spells_kept),
                    "Of each fish, for its median.", "our choice"});
}

void add_machine(List& list, const MachineSettings& machine, const AlarmSettings& alarm) {
    list.push_back({"machine.clock_step_s", "s", machine.clock_step_s,
                    "Wall clock against steady clock between two steps.", "our choice"});
    list.push_back({"machine.disk_low_mb", "MB", machine.disk_low_mb, "Less is left on the disk.", practice});
    list.push_back({"machine.battery_low_percent", "%", machine.battery_low_percent, "Battery.", practice});
    list.push_back({"machine.longest_restart_s", "s", machine.longest_restart_s,
                    "Away for longer between two runs of the program is an alarm.", "our choice"});
    list.push_back({"machine.due_grace_s", "s", machine.due_grace_s,
                    "A stay event is missed so long after its time.", "our choice"});
    list.push_back({"alarm.quiet_s", "s", alarm.quiet_s,
                    "A fish-at-risk alarm that was quieted sounds again.", "our choice"});
    list.push_back(
        {"alarm.longest_shelf_min", "min", alarm.longest_shelf_min, "No alarm is shelved longer.", practice});
    list.push_back({"alarm.flood_window_s", "s", alarm.flood_window_s, "Alarms are counted over this.",
                    "ISA-18.2 and EEMUA 191, from memory"});
    list.push_back({"alarm.flood_begins", "alarms", static_cast<double>(alarm.flood_begins),
                    "So many are a flood.", "ISA-18.2 and EEMUA 191, from memory"});
    list.push_back({"alarm.flood_ends", "alarms", static_cast<double>(alarm.flood_ends), "Fewer end it.",
                    "ISA-18.2 and EEMUA 191, from memory"});
}

} // namespace

std::vector<DescribedSetting> described_settings() {
    const Settings standard;
    List list;
    add_cycle(list, "cycle.fast", standard.fast);
    add_cycle(list, "cycle.rest", standard.rest);
    add_cycle(list, "cycle.blank", standard.blank);
    add_flush(list, standard.flush);
    add_interlock(list, standard.interlock);
    add_sensor(list, standard.sensor);
    add_course(list, standard.course);
    add_machine(list, standard.machine, standard.alarm);
    list.push_back({"command_good_for_s", "s", standard.command_good_for_s,
                    "A pump that is not told for so long flushes by itself.", "our choice"});
    return list;
}

} // namespace backeddy::watch
