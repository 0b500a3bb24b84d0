#pragma once
// The report's chapter of assay plates, a plate a page.

#include <string>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// Curve, standards, controls, samples and all that is wrong with them, plate by plate; nothing for a study
/// without plates.
[[nodiscard]] std::string plates_section(const Results& results);

} // namespace backeddy::report::detail
