#pragma once
// The tables of a journal's file, how they are made, and how an older version becomes this one.

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>

#include <SQLiteCpp/SQLiteCpp.h>

#include "base/error.hpp"

namespace backeddy::store::detail {

inline constexpr std::int64_t application_id = 0x426B4564; ///< "BkEd"
inline constexpr int format_version = 1;
inline constexpr std::size_t page_bytes = 4096;

/// What a version's tables were changed by to become the next.
struct Step {
    int from = 0;
    const char* sql = nullptr;
};

/// From each version to the next; none yet.
inline constexpr std::span<const Step> steps{};

/// Makes the tables in an empty file, in one transaction. Throws SQLite::Exception.
void make_tables(SQLite::Database& database, const std::string& identity, std::int64_t now_us);

/// Whether the tables and triggers are those of format_version, word for word; otherwise the first that is
/// not.
[[nodiscard]] std::string unlike_ours(SQLite::Database& database);

/// Takes the file from version `from` to `to` in one transaction, after a copy of it is on disk beside it
/// ("journal.sqlite.version-1", or with a number behind where that is taken). Fails with cannot_write; then
/// the file is as it was. Throws SQLite::Exception likewise.
[[nodiscard]] Expected<void> migrate(SQLite::Database& database, const std::filesystem::path& file, int from,
                                     int to, std::span<const Step> by);

} // namespace backeddy::store::detail
