#pragma once
// What each column is: from settings, header words and the sample's cells.

#include <optional>
#include <set>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "intake/detail/layout.hpp"

namespace backeddy::intake {

/// What the cells of one column look like in the sample.
struct ColumnLook {
    std::size_t filled = 0; ///< cells that are neither empty nor words for a missing reading
    std::size_t numbers = 0;
    std::size_t calendars = 0;
    std::size_t dates = 0;
    std::size_t clocks = 0;
    std::size_t half_days = 0;
    std::size_t pump_words = 0;
    std::size_t compact_dates = 0; ///< numbers of eight digits that are dates
    double smallest = 0.0;
    double largest = 0.0;
    double typical_step = 0.0; ///< median of the positive differences of successive numbers
    bool is_ascending = true;  ///< numbers never fall
    bool has_decimals = false;
    std::set<std::string> values; ///< at most 65 of them

    [[nodiscard]] bool mostly(std::size_t count) const { return filled > 0 && 3 * count >= 2 * filled; }
};

/// The rows of the sample, judged by.
using SampleRows = std::vector<std::string_view>;

[[nodiscard]] std::vector<ColumnLook> look_at_columns(const SampleRows& rows, const Layout& layout,
                                                      const ReadSettings& settings);

struct Columns {
    std::vector<ColumnFinding> columns;
    Finding<TimeForm> time_form;
    bool header_says_utc = false;
    std::size_t time_field = 0; ///< of the time, or of the date
};

/// Fails where the time, or every reading, cannot be told (missing_column, bad_unit), or a setting names no
/// column.
[[nodiscard]] Expected<Columns> find_columns(const Layout& layout, const std::vector<ColumnLook>& looks,
                                             const ReadSettings& settings, const std::string& file);

} // namespace backeddy::intake
