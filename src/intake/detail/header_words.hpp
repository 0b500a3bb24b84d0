#pragma once
// What the words of a header say about its column.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "intake/dialect.hpp"

namespace backeddy::intake {

/// A header taken apart. `unit_text` is what stands in brackets or was recognised as a unit; `unit` is set
/// where it is one we know.
struct HeaderWords {
    std::vector<std::string> words; ///< lower case; "o2_mgL" gives o2, mg, l and o2, mgl
    std::string unit_text;
    std::optional<Unit> unit;
    std::string without_unit; ///< the header without its bracketed unit

    [[nodiscard]] bool has_any(std::initializer_list<std::string_view> wanted) const;
};

/// `units_cell` is the column's cell in a line of units, or empty.
[[nodiscard]] HeaderWords header_words(std::string_view header, std::string_view units_cell);

/// What the words alone make of a column of readings: oxygen ... pump, or nothing. `words.unit` decides where
/// it can mean one kind only.
[[nodiscard]] std::optional<ColumnUse> reading_use(const HeaderWords& words);

/// Unit of elapsed time that the header names: seconds, minutes or hours.
[[nodiscard]] std::optional<TimeForm> elapsed_form(const HeaderWords& words);

[[nodiscard]] bool names_time(const HeaderWords& words);
[[nodiscard]] bool names_chamber(const HeaderWords& words);
/// Whether the header says that its times are UTC.
[[nodiscard]] bool says_utc(const HeaderWords& words);

} // namespace backeddy::intake
