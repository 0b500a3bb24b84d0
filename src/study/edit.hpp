#pragma once
// Changes that people made in the program, over the tables that they keep in the folder. The tables' files
// stay as they are: edits are laid over their rows each time they are read (intake/tables.hpp).

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "study/columns.hpp"

namespace backeddy::study {

/// Cells as text, by the table's own names of its columns. Numbers have a decimal point, times their offset.
using RowText = std::map<std::string, std::string>;

/// What a cell held when somebody changed it, and what they put there.
struct CellChange {
    std::string was;
    std::string now;

    friend bool operator==(const CellChange&, const CellChange&) = default;
};

/// One change of one row.
struct Edit {
    enum class Act : std::uint8_t {
        add,      ///< a new row: `row`
        set,      ///< some cells of a row that is there: `cells`
        withdraw, ///< a row that is there no longer counts
    };
    std::uint64_t number = 0; ///< its place in the journal, from 1: how complaints name it
    std::string id;           ///< the journal entry's
    std::string author;       ///< who wrote that; for complaints
    TableName table = TableName::fish;
    Act act = Act::add;
    /// Of add: the new row. Of set and withdraw: the cells, as they stand in the file, by which the row is
    /// found; all other edits of the same row name it by these same cells. Empty where `added_by` names it.
    RowText row;
    std::string added_by; ///< of set and withdraw: the edit that added the row
    std::map<std::string, CellChange> cells;

    friend bool operator==(const Edit&, const Edit&) = default;
};

/// In the order of the journal: a later one wins. Those undone are not among them.
using Edits = std::vector<Edit>;

/// The file that complaints name for a row that an edit added, its line being the edit's number.
inline constexpr const char* journal_name = "journal";

} // namespace backeddy::study
