#include "store/detail/sqlite.hpp"

#include <system_error>

#include <fmt/format.h>
#include <sqlite3.h>

namespace backeddy::store::detail {

namespace {

/// The disk has room for nothing: some of SQLite's failures are that and do not say so.
bool is_full(const std::filesystem::path& file) {
    std::error_code unknown;
    const auto folder = file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
    const auto room = std::filesystem::space(folder, unknown);
    constexpr std::uintmax_t least = 65'536;
    return !unknown && room.available < least;
}

Error disk_full() {
    return {.code = ErrorCode::cannot_write,
            .found = "the disk is full: nothing of this was kept",
            .expected = "room for the journal to grow",
            .remedy = "free some space, then send again what is shown as unsent"};
}

Error read_only() {
    return {.code = ErrorCode::cannot_write,
            .found = "the journal or its folder cannot be written to",
            .expected =
                "a file and a folder that this user may write to, on a disk that is not write-protected",
            .remedy = "mend the permissions, or copy the study to a folder of your own"};
}

Error locked() {
    return {.code = ErrorCode::cannot_write,
            .found = "another program holds the journal locked",
            .expected = "the lock to be free within seconds",
            .remedy = "close the other program that has this study open, then try again"};
}

Error no_journal() {
    return {.code = ErrorCode::file_unreadable,
            .found = "this is not a journal, or its beginning is damaged",
            .expected = "a journal that this program made",
            .remedy = "check the file's name; if it was a journal, keep it, and restore from the copy"};
}

Error disk_failed(const SQLite::Exception& thrown) {
    return {.code = ErrorCode::cannot_write,
            .found = fmt::format("the disk failed while the journal was read or written ({}, {})",
                                 thrown.what(), thrown.getExtendedErrorCode()),
            .expected = "a disk that does what it is told",
            .remedy =
                "check that the disk is plugged in and sound; what is shown as unsent must be sent again"};
}

Error cannot_open(const std::filesystem::path& file) {
    std::error_code unknown;
    const auto folder = file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
    if (!std::filesystem::is_directory(folder, unknown)) {
        return {.code = ErrorCode::file_missing,
                .found = "its folder is not there",
                .expected = "a folder that is there",
                .remedy = "check its name, and that its disk is plugged in"};
    }
    return read_only();
}

Error ours(const SQLite::Exception& thrown) {
    return {.code = ErrorCode::our_bug,
            .found = fmt::format("SQLite refused what this program asked of it: {} ({})", thrown.what(),
                                 thrown.getExtendedErrorCode()),
            .expected = "that this does not happen",
            .remedy = "please report it"};
}

Error found(const std::filesystem::path& file, const SQLite::Exception& thrown) {
    switch (thrown.getErrorCode() & 0xff) {
    case SQLITE_FULL:
        return disk_full();
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return read_only();
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_PROTOCOL:
        return locked();
    case SQLITE_NOTADB:
        return no_journal();
    case SQLITE_CORRUPT:
    case SQLITE_ERROR:      // "unsupported file format": the statements themselves are known to be sound
    case SQLITE_CONSTRAINT: // what append() asked of an index was not true
    case SQLITE_MISMATCH:
    case SQLITE_TOOBIG:
        return damaged(file, thrown.what());
    case SQLITE_NOMEM: // a damaged length asks for it sooner than a journal does
        return damaged(file, "reading it asked for more memory than there is (if other programs have taken "
                             "it, close them and try again)");
    case SQLITE_CANTOPEN:
        return is_full(file) ? disk_full() : cannot_open(file);
    case SQLITE_IOERR:
        return is_full(file) ? disk_full() : disk_failed(thrown);
    default:
        return ours(thrown);
    }
}

} // namespace

Error error_of(const std::filesystem::path& file, const SQLite::Exception& thrown) {
    Error out = found(file, thrown);
    out.place.file = file.string();
    return out;
}

Error damaged(const std::filesystem::path& file, std::string_view where) {
    return {.code = ErrorCode::file_unreadable,
            .found = fmt::format("this journal is damaged: {}", where),
            .expected = "a journal whose every entry can be read",
            .remedy =
                "stop writing to it, keep it and the files beside it that begin with its name, and restore: "
                "what can be read in it and what its copy has are joined, and it is kept",
            .place = {.file = file.string()}};
}

Row row_at(SQLite::Statement& statement) {
    Row row;
    row.reserve(static_cast<std::size_t>(statement.getColumnCount()));
    for (int i = 0; i < statement.getColumnCount(); ++i) {
        const SQLite::Column column = statement.getColumn(i);
        if (column.isNull()) {
            row.emplace_back();
        } else if (column.isInteger()) {
            row.emplace_back(std::int64_t{column.getInt64()});
        } else {
            row.emplace_back(column.getString());
        }
    }
    return row;
}

void bind_row(SQLite::Statement& statement, const Row& row) {
    int parameter = 1;
    for (const Cell& cell : row) {
        if (const auto* number = std::get_if<std::int64_t>(&cell)) {
            statement.bind(parameter, *number);
        } else if (const auto* text = std::get_if<std::string>(&cell)) {
            statement.bindNoCopy(parameter, *text);
        } else {
            statement.bind(parameter);
        }
        ++parameter;
    }
}

} // namespace backeddy::store::detail
