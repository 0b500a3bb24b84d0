#pragma once
// The road of a number of a fish's condition: from the value to its plate's file and lines, or to its row.

#include <string>
#include <vector>

#include "app/results.hpp"

namespace backeddy::app::detail {

/// What a fish's blood may have been asked for ("cortisol"), its fins, its reflexes and its fate.
[[nodiscard]] std::vector<std::string> condition_metrics();

/// `fish`: its place in `answers`; `metric` one of condition_metrics(). Fails where there is no such number.
[[nodiscard]] Expected<std::string> why_condition(const Answers& answers, std::size_t fish,
                                                  const std::string& metric);

} // namespace backeddy::app::detail
