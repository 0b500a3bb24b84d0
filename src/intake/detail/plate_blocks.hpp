#pragma once
// Where in a file's lines the grids and lists of a plate stand, for one delimiter.

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/detail/sample.hpp"
#include "intake/plate_file.hpp"

namespace backeddy::intake {

/// A line that is not blank.
struct PlateLine {
    std::uint64_t line = 0;
    std::string_view text;
    std::vector<std::string_view> cells; ///< none where there are more than 512
    bool after_blank = false;            ///< a blank line, or none at all, stands before it

    [[nodiscard]] std::string_view cell(std::size_t field) const {
        return field < cells.size() ? cells[field] : std::string_view{};
    }
};

/// Cells look into the sample, or into `unescaped`.
struct PlateLines {
    std::vector<PlateLine> lines;
    std::deque<std::string> unescaped;
};
[[nodiscard]] PlateLines split_lines(const Sample& sample, Delimiter delimiter);

/// A cell of a grid; row and column from 1, line an index into the lines, field from 0.
struct GridCell {
    std::size_t row = 0;
    std::size_t column = 0;
    std::size_t line = 0;
    std::size_t field = 0;
};

/// A line of a block from which nothing is read, and why.
struct OddLine {
    std::size_t line = 0;
    std::string found;
    std::string expected;
};

struct FoundBlock {
    bool is_list = false;
    std::string name;
    std::string kind;
    std::vector<std::string> captions; ///< by which it can be chosen, the nearest first
    std::size_t first = 0;             ///< indexes into the lines
    std::size_t last = 0;
    std::vector<GridCell> cells; ///< of a grid
    std::vector<OddLine> odd;
    std::vector<std::string> beside; ///< what stands beside a grid and is not read
    // Of a list, fields from 0:
    std::optional<std::size_t> header;
    std::vector<std::size_t> well_fields; ///< those that hold wells; empty: row_field and column_field do
    std::size_t row_field = 0;
    std::size_t column_field = 0;
    std::vector<std::size_t> value_fields;
    std::size_t numbers = 0; ///< cells of values that are numbers
};

struct FoundBlocks {
    std::vector<FoundBlock> blocks;   ///< those that hold numbers
    std::vector<FoundBlock> of_words; ///< grids that hold none: layouts
    std::vector<Error> near_misses;   ///< what looks like a grid and is none of this size
    std::size_t numbers = 0;
};
[[nodiscard]] FoundBlocks find_blocks(const PlateLines& lines, Delimiter delimiter,
                                      const PlateFileSettings& settings);

/// The header over a field of a list, or "column 3".
[[nodiscard]] std::string header_of(const PlateLines& lines, const FoundBlock& block, std::size_t field);

/// The row and column that a line of a list names, on the plate or not; nothing where it names none.
struct NamedWell {
    std::size_t row = 0;
    std::size_t column = 0;
};
[[nodiscard]] std::optional<NamedWell> well_of(const PlateLine& line, const FoundBlock& block,
                                               std::size_t well_field);

} // namespace backeddy::intake
