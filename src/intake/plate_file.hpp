#pragma once
// Reading the delimited export of an assay plate, whatever wrote it.
//
//   auto reading = load_plate("plates/plate_3.csv", {});   // Expected<PlateReading>
//   for (const auto& cell : reading->wells) ...            // row, column, response or the text that stands
//   there for (const auto& line : reading->understood) ...       // delimiter, decimal mark, where the block
//   begins
//
// plate_wells.hpp joins it with the plate map. What a file may hold, in any number of blocks with any lines
// between them:
//
//   a grid   as many rows and columns as the plate has, the column numbers above or not, the row letters (or
//            numbers) in front or not. Grids may follow each other or stand side by side. With column numbers
//            or row letters a row or a cell may be lacking: its wells are missing. With neither the rows must
//            be whole and as many as the plate's, or a multiple of that.
//   a list   one well a line, named "A1", "a01", or by a row and a column under headers that say so, and one
//   or
//            more columns of values. A blank line ends it.
//
// Comma, semicolon, tab or runs of blanks; decimal point or comma, thousands grouped or not; quotes; UTF-8,
// UTF-16, Windows-1252. Where two readings are possible (several blocks, several columns of values, "1,234"
// as 1.234 or 1234) nothing is read: the Error names both and what to set.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/dialect.hpp"
#include "study/complaint.hpp"
#include "study/condition_rows.hpp"

namespace backeddy::intake {

/// One of several, by what stands there (case ignored) or by number from 1; neither: there must be only one.
struct Picked {
    std::string name;
    std::optional<std::size_t> number;

    [[nodiscard]] bool says_nothing() const { return name.empty() && !number; }
};

/// What a mapping may say of a plate's file; all of it may be left to be found.
struct PlateFileSettings {
    std::size_t rows = 8;     ///< of the plate, 1 to 64; condition::PlateSettings has the same two
    std::size_t columns = 12; ///< 1 to 96
    std::optional<Encoding> encoding;
    std::optional<Delimiter> delimiter;
    /// Settles "1,234" too: with a point the comma parts thousands.
    std::optional<DecimalMark> decimal;
    /// Which grid or list of numbers; by name: words of a line above it, of the cell left of its column
    /// numbers or of a constant cell behind its rows.
    Picked block;
    /// Where row A of a grid without row letters and column numbers stands, should other rows of numbers
    /// touch it.
    std::optional<std::uint64_t> first_line;
    Picked value_column; ///< of a list
    Picked well_column;  ///< of a list
    /// Of a list, only the lines that hold `only_value` in this column (one plate, wavelength or read of
    /// several).
    Picked only_column;
    std::string only_value;
};

/// What plates.csv says of the file. A whole number up to 99 is the number of a block or field, any other
/// text what stands there.
[[nodiscard]] PlateFileSettings plate_settings(const study::PlateFileHelp& help);

/// A well that was read. Exactly one of `response` and `text` says something.
struct PlateCell {
    std::size_t row = 0; ///< from 1
    std::size_t column = 0;
    std::optional<double> response;
    std::string text; ///< instead of a number: "OVRFLW", ">3.5"; as it stands
    std::uint64_t line = 0;
    std::size_t field = 0; ///< from 1

    friend bool operator==(const PlateCell&, const PlateCell&) = default;
};

/// A cell that was not read; there is a complaint with the same line.
struct RefusedCell {
    std::string well; ///< "C7"; empty where not even that could be read
    std::uint64_t line = 0;
    std::size_t field = 0;
    std::string raw; ///< unprintable bytes as \x00, cut after 400 characters

    friend bool operator==(const RefusedCell&, const RefusedCell&) = default;
};

/// A grid or list that the file holds.
struct PlateBlock {
    std::size_t number = 0; ///< from 1, as `block` may give it
    std::string name;
    std::string kind; ///< "grid with row letters and column numbers", "list of 96 wells" ...
    std::uint64_t first_line = 0;
    std::uint64_t last_line = 0;
    std::vector<std::string> value_columns; ///< of a list: their headers

    friend bool operator==(const PlateBlock&, const PlateBlock&) = default;
};

/// Of a grid every well of the plate is in exactly one of wells, refused and missing; a list may refuse lines
/// beside, that name no well of the plate, or the same one.
struct PlateReading {
    std::string file;
    std::size_t rows = 0;
    std::size_t columns = 0;
    std::vector<PlateCell> wells; ///< by row, then column
    std::vector<RefusedCell> refused;
    std::vector<std::string> missing; ///< wells of which the file has no cell, or an empty one
    Delimiter delimiter = Delimiter::comma;
    DecimalMark decimal = DecimalMark::point;
    PlateBlock block;                    ///< the one that was read
    std::vector<PlateBlock> blocks;      ///< all of the file
    std::vector<std::string> understood; ///< for a person, one fact a line
    std::vector<study::Complaint> complaints;
};

/// `file` is the name for complaints. Fails with
///   bad_setting       a size of plate that is none; several blocks, columns of wells or of values, and none
///                     chosen; a block that is not there,
///   unknown_name      a block or column name that none bears, an only_value that no line has,
///   bad_text          nothing in it, or over 16 MiB or 1,000,000 line ends,
///   missing_column    no block of this size; what was found instead,
///   bad_number        decimal marks with two readings, or both.
/// Any bytes are taken.
[[nodiscard]] Expected<PlateReading> read_plate(std::string_view bytes, const std::string& file,
                                                const PlateFileSettings& settings = {});

/// The same of a file; fails as read_file() too.
[[nodiscard]] Expected<PlateReading> load_plate(const std::filesystem::path& path,
                                                const PlateFileSettings& settings = {});

} // namespace backeddy::intake
