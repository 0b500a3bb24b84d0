#pragma once
// Numbers in the cells of a plate export, with their thousands grouped or not, and what a cell says of the
// file's decimal mark.

#include <cstdint>
#include <optional>
#include <string_view>

#include "intake/dialect.hpp"

namespace backeddy::intake {

/// The whole of `text` (without blanks around it) as a number with this decimal mark. Thousands may be
/// grouped by the other mark, a blank, a no-break or thin space or an apostrophe, all alike and each but the
/// first group of three digits: with a decimal point "1,234.5" is 1234.5 and "1,23" is nothing. A minus sign
/// may be U+2212.
[[nodiscard]] std::optional<double> plate_number(std::string_view text, DecimalMark mark);

/// Whether it is a number with one mark or the other.
[[nodiscard]] bool is_plate_number(std::string_view text);

/// What one cell says of the decimal mark of all.
enum class MarkEvidence : std::uint8_t {
    nothing,            ///< no number, or a whole one below 1000
    no_groups,          ///< a whole number of four digits or more, not grouped: so none is
    point,              ///< "0.5", "1,234.5": can only be read with a point
    comma,              ///< "0,5", "1.234,5"
    point_or_thousands, ///< "1.234"
    comma_or_thousands, ///< "1,234"
};
[[nodiscard]] MarkEvidence mark_evidence(std::string_view text);

} // namespace backeddy::intake
