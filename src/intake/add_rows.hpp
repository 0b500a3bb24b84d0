#pragma once
// Rows added behind those of a table that a spreadsheet may have saved in its own way.

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "study/columns.hpp"

namespace backeddy::intake {

/// Cells by the table's own names of its columns; those not named are empty.
using RowToAdd = std::map<std::string, std::string>;

/// The table's bytes with `rows` behind: in its own order of columns, with its own delimiter and line ends.
/// All that was there stays, byte for byte. Empty `bytes`: a new table with its header. Fails with
/// missing_column when a column of a row is not in the header, with bad_text when the table is in an encoding
/// other than UTF-8, with the fault of a table that cannot be cut into rows. A line may not begin with "#":
/// the caller sees to it.
[[nodiscard]] Expected<std::string> with_rows(std::string_view bytes, study::TableName table,
                                              const std::vector<RowToAdd>& rows);

/// Whether with_rows() can put a cell of this column into the table: a file of an older version may lack it.
[[nodiscard]] bool takes_column(std::string_view bytes, study::TableName table, std::string_view column);

} // namespace backeddy::intake
