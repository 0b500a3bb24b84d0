#pragma once
// The report's words on condition: the panel of one fish, and the chapter on the study.

#include <cstddef>
#include <string>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// Capture timeline, blood, fins, body, reflexes, handling and fate of the fish in that place of the study;
/// nothing of a fish that no sheet tells of.
[[nodiscard]] std::string condition_panel(const Results& results, std::size_t fish);

/// The chapter "Condition"; nothing for a study without such sheets.
[[nodiscard]] std::string condition_section(const Results& results);

} // namespace backeddy::report::detail
