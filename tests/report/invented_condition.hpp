#pragma once
// Condition of the invented study's fish, for the report's tests and for looking at its pages.

#include "report/results.hpp"

namespace backeddy::report {

/// Two draws of the first fish and one of the others, plates P1 (a bad standard) and P2 (an edge effect) and
/// one that could not be worked out, fins by two scorers, a reflex that was not tested, a death, a fish lost.
void add_invented_condition(Results& results);

} // namespace backeddy::report
