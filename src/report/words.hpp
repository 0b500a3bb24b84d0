#pragma once
// The words that stand for enumerators in every file of ours.

#include <string_view>

#include "findings/finding.hpp"
#include "report/results.hpp"

namespace backeddy::report {

/// "good", "doubtful", "unusable".
[[nodiscard]] std::string_view word_of(uptake::Mark mark);
/// "unknown", "flush", "settle", "sealed".
[[nodiscard]] std::string_view word_of(uptake::ChamberState state);
/// "human", "automatic".
[[nodiscard]] std::string_view word_of(ExcludedBy by);
/// "difference", "ratio", "odds_ratio", "hazard_ratio".
[[nodiscard]] std::string_view word_of(findings::EffectScale scale);
/// "fine", "look", "doubtful".
[[nodiscard]] std::string_view word_of(findings::FoundCheck::Verdict verdict);
/// "never", "before_any_fish", "before_results", "after_results", "changed_since".
[[nodiscard]] std::string_view word_of(findings::Declared declared);

} // namespace backeddy::report
