#pragma once
// The page for the next watch: what is in each chamber, what it did, what waits for a hand.

#include <string>
#include <vector>

#include "watch/watch.hpp"

namespace backeddy::watch {

struct HandoverChamber {
    Glance now;
    StayRole role = StayRole::rest;
    std::optional<double> mass_kg;
    std::optional<double> hours_since_handled;
    std::size_t spells = 0;
    std::optional<double> median_mg_per_h;
    std::vector<std::string> waits; ///< alarms listed and shelved, dues: one sentence each
};

struct Handover {
    Instant at;
    std::vector<HandoverChamber> chambers;
    std::vector<std::string> station; ///< alarms of the machine
    std::vector<std::string> raised;  ///< "flush_failing 2": alarms since the watch began
};

[[nodiscard]] Handover handover(const Watch& watch);
/// As plain text, one paragraph per chamber, the one in most need first.
[[nodiscard]] std::string to_text(const Handover& page);

} // namespace backeddy::watch
