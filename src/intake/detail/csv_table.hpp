#pragma once
// A small table as a spreadsheet saves it: bytes to a header and rows of cells, each with its line.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "study/complaint.hpp"

namespace backeddy::intake {

struct CsvRow {
    std::uint64_t line = 0; ///< on which it begins; of a row that an edit added, the edit's number
    std::vector<std::string> cells;
    bool is_added = false; ///< by an edit of the journal
    /// With edits laid over: the cells as the file has them, by which edits find their row.
    std::vector<std::string> in_file;
};

struct CsvTable {
    std::string file;
    char delimiter = ',';
    std::string encoding; ///< "UTF-8", "UTF-16 LE" ...
    std::uint64_t header_line = 0;
    std::vector<std::string> header; ///< trimmed; empty when the file has none
    std::vector<CsvRow> rows;        ///< cells trimmed; as many as the header has, blank rows left out
    std::vector<study::Complaint> complaints;
    std::size_t refused = 0; ///< rows that could not be cut into cells; each has a complaint
};

/// UTF-8 with or without a byte order mark, UTF-16 with one, else Windows-1252 (with a warning); comma,
/// semicolon or tab, whichever the header line holds most of; quotes doubled inside quotes, quoted line ends;
/// LF, CRLF or CR. Blank lines, lines of empty cells and lines that begin with '#' are passed over. Never
/// fails: what is wrong is in `complaints`.
[[nodiscard]] CsvTable read_csv(std::string_view bytes, const std::string& file);

/// Without blanks, tabs and no-break spaces at its ends.
[[nodiscard]] std::string_view without_margins(std::string_view text);

/// "Mass (g)" and "mass_g" are one name: letters and digits of ASCII in lower case, all else one "_".
[[nodiscard]] std::string plain_name(std::string_view text);

/// `text` in double quotes, cut after 80 characters, unprintable bytes as "\x00": for complaints.
[[nodiscard]] std::string in_quotes(std::string_view text);

} // namespace backeddy::intake
