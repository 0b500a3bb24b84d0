#pragma once
// All that the watch remembers between two steps.

#include <array>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "watch/alarm.hpp"
#include "watch/cycle.hpp"
#include "watch/input.hpp"
#include "watch/plausibility.hpp"
#include "watch/spell_track.hpp"
#include "watch/stay.hpp"

namespace backeddy::watch {

using Alarms = std::array<Alarm, causes>;

/// What the spells of this fish said, until the next one says otherwise.
struct SpellSigns {
    bool no_decline = false;
    bool jumped = false;
    int bubbles_in_a_row = 0;
    int restless_in_a_row = 0;
    int still_in_a_row = 0;
};

struct ChamberState {
    Stay stay;
    Cycle cycle;
    SensorTrack oxygen;
    SensorTrack temperature;
    SpellTrack spell; ///< meaningful while sealed
    SpellSigns signs;
    double inflow_percent = 0.0; ///< of air saturation, learnt from flushes; 0: not yet
    Alarms alarms;
};

struct FloodState {
    std::deque<double> raised_s; ///< when alarms came, within the window
    bool is_on = false;
};

struct State {
    bool has_begun = false;
    std::optional<Instant> kept_at; ///< resumed from what was kept then
    Now last;
    Machine machine;
    std::vector<ChamberState> chambers;
    SensorTrack inflow_oxygen;
    SensorTrack inflow_temperature;
    Alarms station_alarms;
    FloodState flood;
    std::array<int, causes> raised{}; ///< alarms since the watch began
};

} // namespace backeddy::watch
