#pragma once
// Start here: the watch over live chambers. It decides, from readings, when each flush pump runs and who is
// to be woken; it does nothing itself.
//
//   Watch watch(plan);                            // or Watch(plan, resume(kept, plan, now))
//   const Output out = watch.step(input);         // at least every few seconds
//   for (const auto& command : out.commands) ...  // the state of each pump, each step
//   for (const auto& event : out.events) ...      // what began, ended, went wrong
//
// step() is a pure function of what it remembers (State) and of its input: no clock, no file, no thread, no
// chance; the same inputs give the same outputs. What is not known leads to flush.
//
//   input.hpp         time, readings, hands            output.hpp        commands and events
//   settings.hpp      every threshold                  plan.hpp          chambers, pumps, sensors
//   cycle.hpp         flush and sealed                 flush_course.hpp  what a flush should do
//   precision.hpp     how long the next spell is       spell_track.hpp   the spell that runs
//   interlock.hpp     what leads to flush at once      plausibility.hpp  whether a sensor can be believed
//   signs.hpp         each cause of an alarm           cause.hpp         its words and priority
//   alarm.hpp         one alarm's states               alarm_list.hpp    first-out, floods
//   kept.hpp          what survives a restart          handover.hpp      the page for the next watch
//
// docs/watch.md has the formulas and sources. The program is no life support: pumps must fail to flush in
// hardware, and somebody stays within reach.

#include "watch/input.hpp"
#include "watch/output.hpp"
#include "watch/plan.hpp"
#include "watch/signs.hpp"
#include "watch/state.hpp"

namespace backeddy::watch {

/// One chamber as it is shown.
struct Glance {
    std::string name;
    Use use = Use::empty;
    Phase phase = Phase::flush;
    Why why = Why::started;
    bool by_hand = false;
    std::optional<double> oxygen_percent; ///< of air saturation; nothing when not believed
    double floor_percent = 0.0;
    std::optional<double> celsius;
    std::optional<double> next_change_s;
    std::optional<RunningUptake> uptake; ///< of the running spell, else of the last one; mg/h
    std::optional<Cause> worst;          ///< of the alarms listed
    bool sounds = false;
};

class Watch {
  public:
    explicit Watch(Plan plan);
    Watch(Plan plan, State state);

    /// Times must not run backward; where they do, or the boot is another one, everything is flushed and
    /// begins again from what is kept.
    [[nodiscard]] Output step(const Input& input);

    [[nodiscard]] const State& state() const { return state_; }
    [[nodiscard]] const Plan& plan() const { return plan_; }
    [[nodiscard]] Glance glance(std::size_t chamber) const;

  private:
    [[nodiscard]] ChamberFacts facts_of(std::size_t chamber) const;
    [[nodiscard]] CycleFacts cycle_facts_of(std::size_t chamber, const ChamberFacts& facts) const;
    [[nodiscard]] bool is_unkept() const;
    void take_time(const Now& now, Output& out);
    void begin_in_other_time(const Now& now, Output& out); ///< nothing measured before means anything now
    void take_readings(const std::vector<Reading>& readings, Output& out);
    void take_hand(const Hand& hand, Output& out);
    void take_chamber_hand(std::size_t chamber, const Hand& hand, Output& out);
    void take_alarm_hand(const Hand& hand, Output& out);
    void note_phase(std::size_t chamber, Phase before, const PhaseBegan& began, Output& out);
    void step_chamber(std::size_t chamber, Output& out);
    void attend_chamber(std::size_t chamber, Output& out);
    void attend_station(Output& out);

    Plan plan_;
    State state_;
    Now now_;
    bool is_unsure_ = true;
    bool was_away_ = false;
    bool clock_stepped_ = false;
    double away_s_ = 0.0;
    double clock_step_s_ = 0.0;
};

} // namespace backeddy::watch
