#pragma once
// SQLite's failures in our words, and what SQLiteCpp throws caught at one border.

#include <filesystem>
#include <string>
#include <string_view>
#include <type_traits>

#include <SQLiteCpp/SQLiteCpp.h>

#include "base/error.hpp"
#include "store/detail/rows.hpp"

namespace backeddy::store::detail {

/// What went wrong with the file, for a person: found, expected, what to do. Every case that a disk, a folder
/// or another program can cause is named; the rest is our bug, with SQLite's own words.
[[nodiscard]] Error error_of(const std::filesystem::path& file, const SQLite::Exception& thrown);

/// "This journal is damaged ...", with `where` it is.
[[nodiscard]] Error damaged(const std::filesystem::path& file, std::string_view where);

/// What `work` returns, an Expected; or, where SQLite threw, an Error in our words.
template <typename Work>
std::invoke_result_t<Work> guarded(const std::filesystem::path& file, Work&& work) {
    try {
        return std::forward<Work>(work)();
    } catch (const SQLite::Exception& thrown) {
        return fail(error_of(file, thrown));
    }
}

/// The cells of the row at which the statement stands.
[[nodiscard]] Row row_at(SQLite::Statement& statement);

/// Binds the cells to parameters 1, 2, ...; their texts must outlive the statement's step.
void bind_row(SQLite::Statement& statement, const Row& row);

} // namespace backeddy::store::detail
