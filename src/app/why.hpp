#pragma once
// The road from a number back to files and lines.

#include <string>
#include <vector>

#include "app/results.hpp"

namespace backeddy::app {

/// The words of uptake that `why` knows, and those of a fish's condition ("cortisol", "fins", "fate").
[[nodiscard]] std::vector<std::string> why_metrics();
[[nodiscard]] std::vector<std::string> why_condition_metrics();

/// Several lines of text: the value, how it was made, what its uncertainty is made of, the sealed spells it
/// rests on, and for each the file and lines of its readings; of blood read from a plate its wells with their
/// lines and the curve. Fails with unknown_name for a fish or a metric
/// that is not there (near names offered), or says why this fish has no such number.
[[nodiscard]] Expected<std::string> why(const Answers& answers, const std::string& fish,
                                        const std::string& metric);

} // namespace backeddy::app
