#pragma once
// What every routine about times asks of them, and who is at risk when.

#include <cstddef>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/survival.hpp"

namespace backeddy::stats::detail {

/// "fish 3", or "fish T17" when there are labels.
[[nodiscard]] std::string fish_name(std::size_t row, std::span<const std::string> labels);

/// Nothing, or what kaplan_meier() says of its fish.
[[nodiscard]] Expected<void> check_follow_ups(std::span<const FollowUp> fish,
                                              std::span<const std::string> labels = {});

/// The times at which there was an event, ascending, each once.
[[nodiscard]] std::vector<double> event_times(std::span<const FollowUp> fish);

[[nodiscard]] inline bool is_at_risk(const FollowUp& one, double time) {
    return one.entry < time && time <= one.time;
}

} // namespace backeddy::stats::detail
