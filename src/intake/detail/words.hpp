#pragma once
// Words that stand in cells of readings: those that mean "no reading", and the pump's.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy::intake {

/// Whether `cell` means that there is no reading: empty, one of the usual words ("NaN", "NA", "---", "Err",
/// "OVER",
/// "#N/A" ...; case ignored), a run of '-', '*', '#' or '?', or one of `more`.
[[nodiscard]] bool is_missing_word(std::string_view cell, const std::vector<std::string>& more);

/// 1 for flush, 0 for sealed, nothing for other words. `flush` and `sealed` come first, then the usual words.
[[nodiscard]] std::optional<double> pump_value(std::string_view cell, const std::vector<std::string>& flush,
                                               const std::vector<std::string>& sealed);

} // namespace backeddy::intake
