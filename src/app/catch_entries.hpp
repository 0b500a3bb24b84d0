#pragma once
// The deck's log out of a study's events.

#include <vector>

#include "angling/catch_log.hpp"
#include "app/study.hpp"

namespace backeddy::app {

/// The events of the catch, in the order of events.csv. A rod without a name is that of `who`; a rig without
/// one that of the fish's encounter. `row` is the line in events.csv.
[[nodiscard]] std::vector<angling::CatchEntry> catch_entries(const Study& study);

} // namespace backeddy::app
