#pragma once
// An invented answer of each kind, for the tests of tables, document and page and for looking at figures.
// Means and intervals are made by simple formulas from the invented points; nothing is fitted with care.

#include <vector>

#include "findings/finding.hpp"

namespace backeddy::report {

/// Two groups with a covariate; four groups with limits; pairs; a slope; scores; times; yes or no; counts;
/// and a question without an answer.
[[nodiscard]] std::vector<findings::Finding> invented_findings();

} // namespace backeddy::report
