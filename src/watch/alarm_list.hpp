#pragma once
// The alarms of one group (a chamber, or the station) at one step: delays, design, first-out, and how much is
// announced in a flood.

#include "watch/output.hpp"
#include "watch/signs.hpp"
#include "watch/state.hpp"

namespace backeddy::watch {

[[nodiscard]] AlarmRule rule_of(Cause cause);

/// Looks at one cause and moves its alarm; events of what changed are added to `out`.
void attend(State& state, Alarms& group, const AlarmId& id, const Found& found, bool off_by_design,
            const Settings& settings, const Now& now, std::vector<Event>& out);

/// Tells of a change that a hand made.
void tell(const Alarm& alarm, const AlarmId& id, AlarmState from, const Now& now, const std::string& by,
          std::vector<Event>& out);

/// Floods begin at so many alarms in the window and end below fewer (after ISA-18.2 and EEMUA 191, from
/// memory: ten in ten minutes, five). In a flood only fish at risk and the first high alarm of each chamber
/// are announced; all are listed.
void attend_flood(State& state, const Settings& settings, const Now& now, std::vector<Event>& out);

} // namespace backeddy::watch
