#pragma once
// The columns of every table of the study folder, as data: the reader, the templates of `new`, and
// docs/study-folder.md are all made from this one list.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "study/complaint.hpp"

namespace backeddy::study {

enum class TableName : std::uint8_t {
    fish,
    encounters,
    stays,
    events,
    assemblies,
    calibrations,
    clock_checks,
    decisions,
    declarations,
    blood,
    samples,
    plates,
    wells,
    fins,
    body,
    reflexes,
    fates
};

enum class CellKind : std::uint8_t {
    text,           ///< any
    key,            ///< names a row of this or another table
    number,         ///< within [least, most]
    time,           ///< ISO 8601, with an offset or local in the study's zone
    word,           ///< one of `words`
    channel,        ///< "trace name:channel"
    value_or_limit, ///< a number of at least 0, or a limit that it is below or above: "<0.5", ">20"
};

/// Whether a cell may be left empty.
enum class Need : std::uint8_t { required, optional };

struct ColumnDefinition {
    std::string name; ///< with its unit
    CellKind kind = CellKind::text;
    Need need = Need::optional;
    std::string unit;
    std::string what; ///< one sentence or two, for people
    std::optional<double> least;
    std::optional<double> most;
    bool may_equal_least = true;
    std::vector<std::string> words;
    /// What else people call it, lower case with '_': a header of such a name beside an absent column is
    /// told.
    std::vector<std::string> also;
};

struct TableDefinition {
    TableName name = TableName::fish;
    std::string file; ///< "fish.csv"
    std::string what;
    Need need = Need::optional; ///< whether the study can do without the file
    /// What a fault of reading is. A warning: a row with a cell that cannot be read is left out, and the run
    /// goes on.
    Severity faults = Severity::stops_the_run;
    std::vector<ColumnDefinition> columns;

    [[nodiscard]] const ColumnDefinition* column(std::string_view name) const;
    /// "fish": its file without the ending, by which entries of the journal and the pages name it.
    [[nodiscard]] std::string_view word() const;
    [[nodiscard]] std::vector<std::string> column_names() const;
};

/// All of them, in the order of a study's days.
[[nodiscard]] const std::vector<TableDefinition>& tables();
[[nodiscard]] const TableDefinition& table(TableName name);
/// Nothing when there is none of this word.
[[nodiscard]] const TableDefinition* table_of_word(std::string_view word);

} // namespace backeddy::study
