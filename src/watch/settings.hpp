#pragma once
// Every threshold of the watch, with its default: the one place where they stand. described_settings() says
// of each what it is for and where the number comes from; docs/watch.md prints that list.
//
// Oxygen is in % air saturation where people think of a fish, in mg/L where water is reckoned with. Times are
// seconds unless the name says otherwise.

#include <cstdint>
#include <string>
#include <vector>

#include "uptake/role.hpp"

namespace backeddy::watch {

/// How the length of the next sealed spell is chosen.
enum class Timing : std::uint8_t {
    timetable, ///< flush and sealed have fixed lengths
    precision, ///< as long as the wanted uncertainty needs, fixed before the spell starts
};

/// The cycle of one group of roles.
struct CycleSettings {
    Timing timing = Timing::precision;
    double flush_s = 300.0;            ///< timetable
    double sealed_s = 600.0;           ///< timetable; also the first spell of a fish not known yet
    double settle_s = 60.0;            ///< start of a sealed spell, set aside
    double shortest_sealed_s = 240.0;  ///< settle included
    double longest_sealed_s = 1800.0;  ///< limit for every spell, by hand too
    double floor_percent = 80.0;       ///< a sealed spell ends here; above 0
    double start_floor_percent = 90.0; ///< what a spell should start from; above floor_percent
    /// Standard error of the slope over the slope. Noise pulls the 0.2 quantile, and with it a resting value,
    /// down by 0.84 of it.
    double wanted_error_share = 0.0075;
};

/// What ends a flush.
struct FlushSettings {
    double share_of_way = 0.95;     ///< of the way from its start to what the pump can reach; 0 to below 1
    double least_turnovers = 1.0;   ///< not ended sooner, whatever the sensor says
    double longest_turnovers = 5.0; ///< time limit; the water volume once through is one turnover
    double least_headroom_percent = 3.0; ///< at the time limit: sealed only that far above the floor
    double inflow_percent = 100.0;       ///< believed of the inflow until it was measured or learnt
};

struct InterlockSettings {
    double reaction_s = 4.0; ///< from a command to water that moves; looked ahead beside the sensor's lag
    double unsure_after_s = 30.0;    ///< no believable reading for so long: flush
    double longest_step_gap_s = 5.0; ///< between two steps; beyond, the watch was away: flush
    double clear_for_s = 20.0;       ///< all interlocks clear for so long before a chamber is sealed again
    double lowest_celsius = 1.0;     ///< temperature range of a chamber with a fish
    double highest_celsius = 20.0;   ///< site and permit set it
};

struct SensorSettings {
    double silent_after_s = 60.0;
    double frozen_after_s = 180.0;       ///< beyond the time that one display step takes
    double frozen_unsure_after_s = 60.0; ///< likewise, until a sealed chamber is flushed
    double highest_percent = 180.0;      ///< of air saturation; above is no reading of water
    double lowest_mg_per_l = -0.3;       ///< calibration error about zero
    double lowest_celsius = -2.5;
    double highest_celsius = 40.0;
    double jump_mg_per_l = 0.6; ///< from what was expected; a larger one is not believed at once
    double jump_celsius = 1.5;
    int believed_after = 5;            ///< so many odd readings in a row that agree are a new level
    double implausible_after_s = 10.0; ///< odd readings for so long
    double memory_intervals = 4.0;     ///< the running level forgets over so many intervals,
    double least_memory_s = 8.0;       ///< and no faster than this
};

/// What a fish's course is judged by.
struct CourseSettings {
    double flush_share = 0.5;        ///< of the predicted difference to a dead pump; less is failing
    double flush_sigmas = 4.0;       ///< and surer than so many standard errors
    double flush_low_percent = 70.0; ///< a flush that does not lift the water from here is failing at once
    double ahead_s = 180.0;          ///< oxygen in a flush is looked at so far ahead
    double low_below_floor_percent = 2.0; ///< oxygen this far under the floor is low
    double low_deadband_percent = 2.0;
    double inflow_low_percent = 90.0;
    double no_decline_share = 0.2;    ///< of the fish's own median uptake, or of what its kind takes at rest
    double rest_mg_per_kg_h = 60.0;   ///< what a fish not known yet is believed to take at rest
    double fast_mg_per_kg_h = 350.0;  ///< and after capture or chase
    double bubble_jump_percent = 3.0; ///< a step up while sealed
    double bubble_late_share = 0.75;  ///< slope late in a spell over slope early in it: below is a gas store
    int bubble_spells = 3;            ///< in a row
    double restless_factor = 2.0;     ///< over its own median
    int restless_spells = 3;          ///< in a row
    double still_factor = 0.4;        ///< under its own median
    int still_spells = 2;             ///< in a row
    double quiet_after_h = 6.0;       ///< restless and still are not judged before, counted from handling
    std::size_t spells_kept = 24;     ///< of each fish, for its median
};

struct MachineSettings {
    double clock_step_s = 2.0;
    double disk_low_mb = 1000.0;
    double battery_low_percent = 30.0;
    double longest_restart_s = 30.0; ///< away for longer between two runs is an alarm
    double due_grace_s = 60.0;       ///< a stay event is missed so long after its time
};

struct AlarmSettings {
    double quiet_s = 120.0; ///< a fish-at-risk alarm sounds again after this
    double longest_shelf_min = 240.0;
    double flood_window_s = 600.0;
    int flood_begins = 10; ///< alarms in the window
    int flood_ends = 5;
};

struct Settings {
    CycleSettings fast;  ///< after_capture, after_chase, handled_only
    CycleSettings rest;  ///< rest, control, held
    CycleSettings blank; ///< blank, leak_test
    FlushSettings flush;
    InterlockSettings interlock;
    SensorSettings sensor;
    CourseSettings course;
    MachineSettings machine;
    AlarmSettings alarm;
    double command_good_for_s = 5.0; ///< a pump not told for so long flushes by itself

    Settings();
    [[nodiscard]] const CycleSettings& cycle(uptake::StayRole role) const;
};

/// One threshold in words.
struct DescribedSetting {
    std::string key;     ///< "cycle.rest.floor_percent"
    std::string unit;    ///< "" for none
    double standard = 0; ///< its default
    std::string why;
    std::string source;
};

/// All of them, in the order above.
[[nodiscard]] std::vector<DescribedSetting> described_settings();

} // namespace backeddy::watch
