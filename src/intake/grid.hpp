#pragma once
// A table as people see it while they edit it: every row with its cells as they stand, and by what an edit
// finds the row.

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "intake/tables.hpp"
#include "study/columns.hpp"
#include "study/edit.hpp"

namespace backeddy::intake {

struct GridRow {
    std::uint64_t line = 0; ///< of the file, from 1; of an added row, the edit's number in the journal
    std::string added_by;   ///< id of the edit that added it; empty: the file has it
    std::vector<std::string> cells; ///< as many as the grid has columns, in the file's own decimal marks
    /// The cells as the file has them; fewer than the columns where edits brought new ones. Empty of an added
    /// row.
    std::vector<std::string> in_file;
};

struct Grid {
    std::string file;
    bool exists = true;
    bool has_decimal_comma = false;
    std::vector<std::string> columns; ///< as the header has them; where there is no file, those of the table
    std::vector<GridRow> rows;        ///< without those withdrawn
};

/// The table with `edits` laid over it, whatever complaints its cells would make (read_tables makes those).
/// A file that is not there is an empty grid. Fails where it cannot be read.
[[nodiscard]] Expected<Grid> read_grid(const std::filesystem::path& folder, study::TableName table,
                                       const study::Edits& edits);

/// A row of a table's file, without edits. By the table's own names of its columns; a column of the study's
/// own by its header.
struct FileRow {
    /// As entries of the journal write them, empty ones too: times in UTC, numbers with a decimal point. A
    /// cell that cannot be read stands here as it is.
    study::RowText cells;
    /// Those whose text in the file is another: an edit finds the row, and says what a cell was, by these.
    study::RowText in_file;
};

/// The rows of a table's file; `zone` is that of its local times (UTC where there is no such zone). A file
/// that is not there has none. Fails where it cannot be read.
[[nodiscard]] Expected<std::vector<FileRow>> read_file_rows(const std::filesystem::path& folder,
                                                            study::TableName table, const std::string& zone);

} // namespace backeddy::intake
