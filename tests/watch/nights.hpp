#pragma once
// Nights in which nothing is wrong, however much happens: each alarm in them is one that wakes somebody for
// nothing.

#include <map>
#include <string>
#include <vector>

#include "watch/simulated_room.hpp"

namespace backeddy::watch::test {

/// What one chamber-night is like.
enum class NightKind : std::uint8_t {
    quiet,     ///< a resting fish
    waves,     ///< on a boat at anchor: swell on the sensor, a strong tide
    restless,  ///< bouts three times as often and twice as strong
    handled,   ///< transferred at dusk, disturbed at midnight
    changing,  ///< blank, fish, taken out, cleaning, blank again
    timetable, ///< a resting fish under the timetable
    boat,      ///< a tube: a fish after capture for 50 min, cleaned, another one
};
inline constexpr int night_kinds = 7;
[[nodiscard]] std::string word(NightKind kind);

struct NightFound {
    double hours = 0.0;
    std::map<std::string, int> alarms; ///< by cause
    std::vector<std::string> raised;
};

/// One chamber-night of 14 h (of 3 h on the boat).
[[nodiscard]] NightFound play_night(NightKind kind, std::uint64_t seed);

} // namespace backeddy::watch::test
