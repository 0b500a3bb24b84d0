#pragma once
// A row of the journal's two tables as entry, and back: the one place that knows the columns' order.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "base/error.hpp"
#include "store/entry.hpp"

namespace backeddy::store::detail {

/// What a cell of an SQLite table can hold of what we write.
using Cell = std::variant<std::monostate, std::int64_t, std::string>;
using Row = std::vector<Cell>;

/// In the order of the tables; `kept_aside` has standing_sha256 after them.
inline constexpr std::string_view entry_columns =
    "position, device, sequence, hybrid_wall_us, hybrid_count, wall_us, monotonic_us, boot, "
    "clock_offset_us, author, role, act, content, reason, sha256, received_us";
inline constexpr std::size_t entry_column_count = 16;

/// A row that has been found sound.
struct StoredEntry {
    std::int64_t position = 0;
    Entry entry;
    std::string sha256;
    std::int64_t received_us = 0;
    std::optional<std::string> standing_sha256; ///< of a row kept aside: the hash of the entry that stands
};

[[nodiscard]] Row row_of(const StoredEntry& stored);

/// The entry of a row of 16 or 17 cells. Fails where a cell is not of its kind, where the entry would not be
/// let in (check()), or where the hash beside it is not its own: then `found` says which.
[[nodiscard]] Expected<StoredEntry> stored_entry(Row row);

} // namespace backeddy::store::detail
