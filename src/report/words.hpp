#pragma once
// The words that stand for enumerators in every file of ours.

#include <string_view>

#include "report/results.hpp"

namespace backeddy::report {

/// "good", "doubtful", "unusable".
[[nodiscard]] std::string_view word_of(uptake::Mark mark);
/// "unknown", "flush", "settle", "sealed".
[[nodiscard]] std::string_view word_of(uptake::ChamberState state);
/// "human", "automatic".
[[nodiscard]] std::string_view word_of(ExcludedBy by);

} // namespace backeddy::report
