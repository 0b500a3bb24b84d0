#pragma once
// Another header among the rows: the logger was set otherwise, and what follows has other columns or units.

#include <optional>
#include <string>

#include "intake/dialect.hpp"
#include "intake/read_report.hpp"

namespace backeddy::intake {

/// What a second header changes, in words ("column 3 is "O2 N2" and was "O2 N1""), when the refused row is
/// one: words, no number, in its fields, at least one of them the name of a time or a reading, and not the
/// header of the file's start up to case. Rows after it may not be read by the first header.
[[nodiscard]] std::optional<std::string> second_header(const Dialect& dialect, const RefusedRow& row);

} // namespace backeddy::intake
