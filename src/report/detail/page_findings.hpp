#pragma once
// The report's chapter of findings: each question of the study and its answer.

#include <string>

#include "report/results.hpp"

namespace backeddy::report::detail {

/// The chapter. Of a study without questions one line says how to ask one.
[[nodiscard]] std::string findings_section(const Results& results);

} // namespace backeddy::report::detail
