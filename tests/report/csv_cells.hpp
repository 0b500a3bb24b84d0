#pragma once
// Tables read back, for the tests of their writers.

#include <cstddef>
#include <string>
#include <vector>

namespace backeddy::report {

using Cells = std::vector<std::vector<std::string>>;

/// Cells of a comma-separated table by RFC 4180: a reader of our own, so that the writer is not its own
/// judge.
[[nodiscard]] Cells cells_of(const std::string& text);
/// In that row (0 is the header) under that column; a column that is not there fails the test.
[[nodiscard]] std::string cell(const Cells& rows, std::size_t row, const std::string& column);
/// Every row as long as the header, and no two columns of one name.
void expect_square(const Cells& rows);

} // namespace backeddy::report
