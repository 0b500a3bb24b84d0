#pragma once
// Start here: reading the study's CSV tables, as spreadsheets save them, into the nouns of study/.
//
//   auto read = read_tables(folder, brief);
//   if (study::stops_a_run(read.complaints)) ...
//   for (const auto& stay : read.tables.stays) ...
//
// Every complaint of every table is reported, with file, line and column. A cell that cannot be read is left
// empty; a row that lacks what it needs is refused; both are complaints that stop a run. Which columns there
// are, study/columns.hpp says.

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "study/brief.hpp"
#include "study/columns.hpp"
#include "study/complaint.hpp"
#include "study/edit.hpp"
#include "study/nouns.hpp"

namespace backeddy::intake {

/// A table's file beyond this is refused.
inline constexpr std::uint64_t most_table_bytes = std::uint64_t{64} << 20;

/// What the brief says that tables need.
struct TableContext {
    std::string zone = "UTC";                       ///< of local times
    std::map<std::string, std::string> clock_zones; ///< in which a logger's clock shows its time, by clock
    study::Edits edits;                             ///< laid over the rows of each table
};
[[nodiscard]] TableContext context_of(const study::Brief& brief);

/// How a table was understood. rows == kept + refused.
struct TableSummary {
    std::string file;
    bool exists = true;
    std::string sha256; ///< empty when read from text
    std::uint64_t bytes = 0;
    std::size_t rows = 0;
    std::size_t refused = 0;
    std::vector<std::string> free_columns;
    std::vector<std::string> understood; ///< "semicolon", "decimal comma", "UTF-8" ...
};

template <typename Row>
struct TableRead {
    std::vector<Row> rows;
    std::vector<study::Complaint> complaints;
    TableSummary summary;
};

/// `file` is the name for complaints. Any bytes are taken; none makes them fail.
[[nodiscard]] TableRead<study::Fish> read_fish(std::string_view text, const std::string& file,
                                               const TableContext& context);
[[nodiscard]] TableRead<study::Encounter> read_encounters(std::string_view text, const std::string& file,
                                                          const TableContext& context);
/// Rows that follow each other with the same stay become one Stay.
[[nodiscard]] TableRead<study::Stay> read_stays(std::string_view text, const std::string& file,
                                                const TableContext& context);
[[nodiscard]] TableRead<study::Event> read_events(std::string_view text, const std::string& file,
                                                  const TableContext& context);
[[nodiscard]] TableRead<study::Assembly> read_assemblies(std::string_view text, const std::string& file,
                                                         const TableContext& context);
[[nodiscard]] TableRead<study::Calibration> read_calibrations(std::string_view text, const std::string& file,
                                                              const TableContext& context);
[[nodiscard]] TableRead<study::ClockCheck> read_clock_checks(std::string_view text, const std::string& file,
                                                             const TableContext& context);
[[nodiscard]] TableRead<study::Decision> read_decisions(std::string_view text, const std::string& file,
                                                        const TableContext& context);

[[nodiscard]] TableRead<study::Declaration> read_declarations(std::string_view text, const std::string& file,
                                                              const TableContext& context);

struct TablesRead {
    study::Tables tables;
    std::vector<study::Complaint> complaints; ///< of reading; relations are study::check_relations()
    std::vector<TableSummary> summaries;      ///< one per table, in the order of study::tables()
};

/// All tables of a folder, with edits laid over them. A needed one that is missing is a complaint; the others
/// may be missing, and edits alone make one.
[[nodiscard]] TablesRead read_tables(const std::filesystem::path& folder, const study::Brief& brief,
                                     const study::Edits& edits = {});

} // namespace backeddy::intake
