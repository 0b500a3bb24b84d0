#pragma once
// The road from a number back to files and lines.

#include <string>
#include <vector>

#include "app/results.hpp"

namespace backeddy::app {

/// The words that `why` knows.
[[nodiscard]] std::vector<std::string> why_metrics();

/// Several lines of text: the value, how it was made, what its uncertainty is made of, the sealed spells it
/// rests on, and for each the file and lines of its readings. Fails with unknown_name for a fish or a metric
/// that is not there (near names offered), or says why this fish has no such number.
[[nodiscard]] Expected<std::string> why(const Answers& answers, const std::string& fish,
                                        const std::string& metric);

} // namespace backeddy::app
