#pragma once
// report.html: one file that opens offline. Every table is plain HTML and needs no script; the figures are
// drawn by the embedded script, from the embedded results document alone, when they come into view or are
// printed.

#include <string>

#include "report/results.hpp"

namespace backeddy::report {

/// The whole page. A content policy in it forbids the network and any script but the embedded one (by its
/// SHA-256). Names and notes of the study are escaped wherever they appear.
[[nodiscard]] std::string report_page(const Results& results);

} // namespace backeddy::report
