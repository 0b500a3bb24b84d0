#pragma once
// Edits laid over the rows of a table.

#include <functional>
#include <string>

#include "intake/detail/csv_table.hpp"
#include "study/columns.hpp"
#include "study/edit.hpp"

namespace backeddy::intake {

/// How a cell of an edit is written in this table, whose decimal mark may be a comma.
using CellText = std::function<std::string(const study::ColumnDefinition& column, const std::string& cell)>;

/// Lays those of `edits` that mean this table over its rows, in their order. Columns of the definition that
/// the file lacks are added to its header when an edit fills them. An edit whose row is not there, or not one
/// alone, and a cell that no longer holds what the edit replaced, are left as the file has them: a warning
/// says so. Rows added to a stay that is there stand behind its other rows. Afterwards each row of the file
/// also holds its cells as they were (`in_file`).
void lay_over(CsvTable& table, const study::TableDefinition& definition, const study::Edits& edits,
              const CellText& cell_text);

} // namespace backeddy::intake
