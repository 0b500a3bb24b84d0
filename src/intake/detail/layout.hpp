#pragma once
// How a file's lines are laid out: delimiter, decimal mark, where header, units and rows begin.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "intake/detail/sample.hpp"
#include "intake/dialect.hpp"

namespace backeddy::intake {

/// What a cell looks like, whatever its column.
enum class CellForm : std::uint8_t { empty, missing, number, calendar, date, clock, half_day, word };
[[nodiscard]] CellForm form_of(std::string_view cell);

struct Layout {
    Finding<Delimiter> delimiter;
    Finding<DecimalMark> decimal;
    Finding<Quoting> quoting;
    bool has_decimals = false; ///< some number of the sample has decimals
    std::size_t fields = 0;
    std::size_t usual_fields = 0;          ///< of most rows in the sample
    std::vector<std::size_t> field_counts; ///< [n]: rows of the sample with n fields
    std::size_t rows_judged = 0;
    std::vector<std::string> header; ///< one per field; "column 3" where there is none
    std::vector<std::string> units;  ///< one per field; empty where there is no line of units
    Finding<std::uint64_t> header_line;
    Finding<std::uint64_t> units_line;
    Finding<std::uint64_t> first_data_line;
    std::size_t first_data = 0; ///< index into sample.head
    std::string header_text;
    std::string units_text;
    std::vector<std::string> preamble;
};

/// Fails with missing_column where no delimiter parts the lines into a time and readings, or no rows are
/// found.
[[nodiscard]] Expected<Layout> find_layout(const Sample& sample, const ReadSettings& settings,
                                           const std::string& file);

} // namespace backeddy::intake
