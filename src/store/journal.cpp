#include "store/journal.hpp"

#include <algorithm>
#include <limits>
#include <system_error>
#include <utility>

#include <fmt/format.h>
#include <sqlite3.h>

#include "store/detail/machine.hpp"
#include "store/detail/rows.hpp"
#include "store/detail/schema.hpp"
#include "store/detail/sqlite.hpp"

namespace backeddy::store {

using detail::StoredEntry;

namespace {

std::string read_text(SQLite::Database& database, const char* query) {
    return database.execAndGet(query).getString();
}

/// Throws where there is none: SQLite reads a damaged page as an empty table without a word.
std::string read_identity(SQLite::Database& database) {
    SQLite::Statement about(database, "SELECT identity FROM about");
    if (about.executeStep()) {
        std::string identity = about.getColumn(0).getString();
        if (DeviceId::parse(identity)) {
            return identity;
        }
    }
    throw SQLite::Exception("what the journal is called is not there", SQLITE_CORRUPT);
}

int read_whole(SQLite::Database& database, const char* query) {
    return database.execAndGet(query).getInt();
}

/// From the root, so that SQLite cannot take a name for anything else.
std::string whole_path(const std::filesystem::path& file) {
    std::error_code unknown;
    const auto whole = std::filesystem::absolute(file, unknown);
    return unknown ? file.string() : whole.string();
}

} // namespace

class Journal::Connection {
  public:
    /// Throws SQLite::Exception. Until the file is known to be ours, closing it moves nothing within it.
    Connection(std::filesystem::path file, int flags, JournalOptions options)
        : file_(std::move(file)), options_(std::move(options)),
          database_(whole_path(file_), flags, static_cast<int>(options_.lock_patience.count()),
                    options_.file_layer) {
        keep_log_on_close(true);
        // The file may be anybody's: nothing in it may run or lead beyond it.
        sqlite3_db_config(database_.getHandle(), SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
        sqlite3_db_config(database_.getHandle(), SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
        // EXTRA is FULL and the folder too, where a rollback journal is taken away.
        database_.exec("PRAGMA cell_size_check = ON; PRAGMA mmap_size = 0; PRAGMA synchronous = EXTRA; "
                       "PRAGMA foreign_keys = ON; PRAGMA recursive_triggers = ON");
    }

    [[nodiscard]] SQLite::Database& database() { return database_; }
    [[nodiscard]] const std::filesystem::path& file() const { return file_; }
    [[nodiscard]] const JournalOptions& options() const { return options_; }
    [[nodiscard]] std::int64_t now_us() const {
        return detail::now_by(options_.now).unix_nanoseconds() / 1'000;
    }
    [[nodiscard]] const std::string& identity() const { return identity_; }
    [[nodiscard]] const std::optional<Error>& why_read_only() const { return why_read_only_; }

    void accept() {
        identity_ = read_identity(database_);
        keep_log_on_close(false);
    }
    void accept_to_read(Error why) {
        identity_ = read_identity(database_);
        why_read_only_ = std::move(why);
    }

    /// The file that is open is no longer the one under its name: what is written would go nowhere.
    [[nodiscard]] bool has_moved() {
        int moved = 0;
        const int status =
            sqlite3_file_control(database_.getHandle(), "main", SQLITE_FCNTL_HAS_MOVED, &moved);
        return status == SQLITE_OK && moved != 0;
    }

  private:
    void keep_log_on_close(bool keep) {
        sqlite3_db_config(database_.getHandle(), SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, keep ? 1 : 0, nullptr);
    }
    std::filesystem::path file_;
    JournalOptions options_;
    SQLite::Database database_;
    std::string identity_;
    std::optional<Error> why_read_only_;
};

Journal::Journal(std::unique_ptr<Connection> connection) : connection_(std::move(connection)) {}
Journal::Journal(Journal&&) noexcept = default;
Journal& Journal::operator=(Journal&&) noexcept = default;
Journal::~Journal() = default;

const std::filesystem::path& Journal::file() const {
    return connection_->file();
}

const std::string& Journal::identity() const {
    return connection_->identity();
}

std::optional<Error> Journal::why_read_only() const {
    return connection_->why_read_only();
}

namespace {

/// 256 pages, 1 MB: the log stays short, so that little is to be gone through after a crash.
constexpr const char* log_settings = "PRAGMA wal_autocheckpoint = 256";

Error not_a_journal(const std::filesystem::path& file) {
    return {.code = ErrorCode::file_unreadable,
            .found = "this is not a journal",
            .expected = "a journal that this program made",
            .remedy = "check the file's name, or move it away: a new one is made in its place",
            .place = {.file = file.string()}};
}

Error read_only_by_choice(const std::filesystem::path& file) {
    return {.code = ErrorCode::cannot_write,
            .found = "the journal was opened to be read",
            .expected = "one opened to be written",
            .remedy = "open it for writing",
            .place = {.file = file.string()}};
}

Error newer(const std::filesystem::path& file, int version) {
    return {.code = ErrorCode::cannot_write,
            .found = fmt::format("this journal has version {} and was made by a newer program", version),
            .expected = fmt::format("at most version {} for entries to be added; it can be read only",
                                    detail::format_version),
            .remedy = "open the study with the newer program",
            .place = {.file = file.string()}};
}

Error too_new(const std::filesystem::path& file, int version) {
    return {.code = ErrorCode::file_unreadable,
            .found = fmt::format("this journal has version {} and was made by a newer program", version),
            .expected = fmt::format("a version whose entries this program can read; it knows {}",
                                    detail::format_version),
            .remedy = "open the study with the newer program",
            .place = {.file = file.string()}};
}

Error older(const std::filesystem::path& file, int version) {
    return {.code = ErrorCode::file_unreadable,
            .found = fmt::format("this journal has version {} and was made by an older program", version),
            .expected = fmt::format("version {}", detail::format_version),
            .remedy =
                "open it once for writing: it is brought up to date, and a copy of it is kept beside it",
            .place = {.file = file.string()}};
}

Error moved_away(const std::filesystem::path& file) {
    return {.code = ErrorCode::cannot_write,
            .found = "the journal was moved, deleted or replaced while it was open",
            .expected = "the file that was opened",
            .remedy = "put it back and start the program again; what is shown as unsent must be sent again",
            .place = {.file = file.string()}};
}

/// What stands under the name before anything is opened.
Expected<void> check_place(const std::filesystem::path& file, Access access) {
    if (!file.has_filename()) { // SQLite would keep it in memory
        return fail({.code = ErrorCode::file_missing,
                     .found = "no file is named",
                     .expected = "a journal's name",
                     .remedy = "name the file, not only its folder",
                     .place = {.file = file.string()}});
    }
    std::error_code unknown;
    const auto status = std::filesystem::status(file, unknown);
    const bool there = std::filesystem::exists(status);
    if (there && !std::filesystem::is_regular_file(status)) {
        return fail(
            {.code = ErrorCode::file_unreadable,
             .found = std::filesystem::is_directory(status) ? "this is a folder" : "this is no plain file",
             .expected = "a journal",
             .remedy = "check its name",
             .place = {.file = file.string()}});
    }
    if (!there && access == Access::read) {
        return fail({.code = ErrorCode::file_missing,
                     .found = "there is no journal",
                     .expected = "a file that is there",
                     .remedy = "check its name, and that its disk is plugged in",
                     .place = {.file = file.string()}});
    }
    if (std::filesystem::exists(file.string() + restoring_suffix, unknown)) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = "a restore of this journal was interrupted",
                     .expected = "one that was finished",
                     .remedy = "restore again: it goes on where it stopped",
                     .place = {.file = file.string()}});
    }
    const auto size_of = [](const std::filesystem::path& path) {
        std::error_code none;
        const auto size = std::filesystem::file_size(path, none);
        return none ? 0 : size;
    };
    // SQLite would take this log for rubbish and delete it.
    const std::filesystem::path log = file.string() + "-wal";
    if (size_of(file) == 0 && size_of(log) > 0) {
        return fail({.code = ErrorCode::file_missing,
                     .found = fmt::format("the journal is {}, but {} beside it has entries of it",
                                          there ? "empty" : "not there", log.filename().string()),
                     .expected = "both files together",
                     .remedy =
                         "put the journal back beside it; or restore, which joins what can be read in it "
                         "with what the copy has",
                     .place = {.file = file.string()}});
    }
    return {};
}

/// Both tables by position, after ?1.
const std::string& both_tables() {
    static const std::string query =
        fmt::format("SELECT {0}, NULL FROM entries WHERE position > ?1 UNION ALL "
                    "SELECT {0}, standing_sha256 FROM kept_aside WHERE position > ?1 ORDER BY 1 LIMIT ?2",
                    detail::entry_columns);
    return query;
}

/// Whether a newer version's file has the columns that this one knows.
bool can_be_read(SQLite::Database& database) {
    try {
        const SQLite::Statement rows(database, both_tables());
        const SQLite::Statement about(database, "SELECT identity FROM about");
        return true;
    } catch (const SQLite::Exception& thrown) {
        if ((thrown.getErrorCode() & 0xff) == SQLITE_ERROR) {
            return false;
        }
        throw;
    }
}

bool is_empty(SQLite::Database& database) {
    return read_whole(database, "PRAGMA application_id") == 0 &&
           read_whole(database, "PRAGMA user_version") == 0 &&
           read_whole(database, "SELECT count(*) FROM sqlite_schema") == 0;
}

void make(SQLite::Database& database, const std::filesystem::path& file, const std::string& identity,
          std::int64_t now_us) {
    database.exec(fmt::format("PRAGMA page_size = {}", detail::page_bytes));
    detail::make_tables(database, identity.empty() ? DeviceId::random().text() : identity, now_us);
    detail::sync_folder(detail::folder_of(file));
}

/// Every writer leaves the log's mode as it is found once it is set: then this changes nothing.
Expected<void> keep_a_log(SQLite::Database& database, const std::filesystem::path& file) {
    const std::string mode = read_text(database, "PRAGMA journal_mode = WAL");
    if (mode != "wal") {
        return fail(
            {.code = ErrorCode::cannot_write,
             .found = fmt::format("this folder's file system cannot hold a write-ahead log (mode {})", mode),
             .expected = "a folder on a disk of this machine",
             .remedy = "move the study to a folder on this machine's own disk",
             .place = {.file = file.string()}});
    }
    database.exec(log_settings);
    return {};
}

} // namespace

Expected<Journal> Journal::open(const std::filesystem::path& file, Access access, JournalOptions options) {
    if (auto good = check_place(file, access); !good) {
        return fail(std::move(good).error());
    }
    return detail::guarded(file, [&]() -> Expected<Journal> {
        const int flags =
            access == Access::write ? SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE : SQLite::OPEN_READONLY;
        auto connection = std::make_unique<Connection>(file, flags, options);
        if (is_empty(connection->database())) {
            if (access == Access::read) {
                return fail(not_a_journal(file));
            }
            make(connection->database(), file, options.identity, connection->now_us());
        }
        if (read_whole(connection->database(), "PRAGMA application_id") != detail::application_id) {
            return fail(not_a_journal(file));
        }
        const int version = read_whole(connection->database(), "PRAGMA user_version");
        if (version > detail::format_version) {
            connection = std::make_unique<Connection>(file, SQLite::OPEN_READONLY, options);
            if (!can_be_read(connection->database())) {
                return fail(too_new(file, version));
            }
            connection->accept_to_read(newer(file, version));
            return Journal(std::move(connection));
        }
        if (version < detail::format_version) {
            if (access == Access::read) {
                return fail(older(file, version));
            }
            if (auto good = detail::migrate(connection->database(), file, version, detail::format_version,
                                            detail::steps);
                !good) {
                return fail(std::move(good).error());
            }
        }
        if (const std::string part = detail::unlike_ours(connection->database()); !part.empty()) {
            return fail(detail::damaged(
                file, fmt::format("its tables are not as this program makes them ({})", part)));
        }
        if (access == Access::read) {
            connection->accept_to_read(read_only_by_choice(file));
            return Journal(std::move(connection));
        }
        if (auto good = keep_a_log(connection->database(), file); !good) {
            return fail(std::move(good).error());
        }
        connection->accept();
        return Journal(std::move(connection));
    });
}

namespace {

Expected<void> check_batch(std::span<const Entry> entries) {
    std::size_t bytes = 0;
    for (const Entry& entry : entries) {
        if (auto good = check(entry); !good) {
            return good;
        }
        bytes += entry.content.size() + entry.reason.size() + entry.author.size() + entry.act.size() +
                 entry.moment.boot.size();
    }
    if (entries.size() > most_entries_at_once || bytes > most_bytes_at_once) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("{} entries with {} bytes of text at once", entries.size(), bytes),
                     .expected = fmt::format("at most {} entries and {} bytes", most_entries_at_once,
                                             most_bytes_at_once),
                     .remedy = "send them in smaller batches"});
    }
    return {};
}

Instant instant_of(std::int64_t us) {
    constexpr std::int64_t most = std::numeric_limits<std::int64_t>::max() / 1'000;
    return Instant::unix_nanoseconds(std::clamp(us, -most, most) * 1'000);
}

Received received_of(StoredEntry stored) {
    return {.position = Position{stored.position},
            .at = instant_of(stored.received_us),
            .entry = std::move(stored.entry)};
}

Arrival arrival_of(StoredEntry stored) {
    auto standing = std::move(stored.standing_sha256);
    return {.received = received_of(std::move(stored)), .standing_sha256 = std::move(standing)};
}

std::string parameters(std::size_t count) {
    std::string out = "?";
    for (std::size_t i = 1; i < count; ++i) {
        out += ", ?";
    }
    return out;
}

std::int64_t last_of(SQLite::Database& database) {
    return database
        .execAndGet("SELECT max((SELECT ifnull(max(position), 0) FROM entries), "
                    "(SELECT ifnull(max(position), 0) FROM kept_aside))")
        .getInt64();
}

Error unsound(const std::filesystem::path& file, const detail::Row& row, const std::string& found) {
    const auto* position = row.empty() ? nullptr : std::get_if<std::int64_t>(&row[0]);
    return detail::damaged(
        file, fmt::format("the entry at position {}: {}", position == nullptr ? 0 : *position, found));
}

/// The entry of the row at which the statement stands, or the journal's damage.
Expected<StoredEntry> stored_at(SQLite::Statement& statement, const std::filesystem::path& file) {
    const detail::Row row = detail::row_at(statement);
    auto stored = detail::stored_entry(row);
    if (!stored) {
        return fail(unsound(file, row, stored.error().found));
    }
    return stored;
}

/// Puts entries into the tables, within a transaction of its caller's.
class Adding {
  public:
    Adding(SQLite::Database& database, const std::filesystem::path& file, std::int64_t now_us)
        : file_(file), now_us_(now_us), last_(last_of(database)),
          standing_(database, fmt::format("SELECT {} FROM entries WHERE device = ? AND sequence = ?",
                                          detail::entry_columns)),
          aside_(database, "SELECT 1 FROM kept_aside WHERE device = ? AND sequence = ? AND sha256 = ?"),
          add_(database,
               fmt::format("INSERT INTO entries VALUES ({})", parameters(detail::entry_column_count))),
          keep_aside_(database, fmt::format("INSERT INTO kept_aside VALUES ({})",
                                            parameters(detail::entry_column_count + 1))) {}

    Expected<void> operator()(const Entry& entry) {
        StoredEntry stored{.entry = entry, .sha256 = sha256_of(entry), .received_us = now_us_};
        name(standing_, entry);
        if (!standing_.executeStep()) {
            insert(add_, stored);
            ++out_.added;
            return {};
        }
        auto standing = stored_at(standing_, file_);
        if (!standing) {
            return fail(std::move(standing).error());
        }
        if (standing->sha256 == stored.sha256) {
            ++out_.duplicates;
            return {};
        }
        stored.standing_sha256 = standing->sha256;
        name(aside_, entry);
        aside_.bind(3, stored.sha256);
        if (!aside_.executeStep()) {
            insert(keep_aside_, stored);
        }
        out_.conflicts.push_back({.standing = std::move(standing->entry), .kept_aside = entry});
        return {};
    }

    Appended result() && {
        out_.through = Position{last_};
        return std::move(out_);
    }

  private:
    static void name(SQLite::Statement& statement, const Entry& entry) {
        statement.reset();
        statement.bind(1, entry.id.device.text());
        statement.bind(2, static_cast<std::int64_t>(entry.id.sequence));
    }
    void insert(SQLite::Statement& statement, StoredEntry& stored) {
        stored.position = ++last_;
        const detail::Row row = detail::row_of(stored);
        statement.reset();
        detail::bind_row(statement, row);
        statement.exec();
        statement.reset();
        statement.clearBindings(); // the row's texts end here
    }
    const std::filesystem::path& file_;
    std::int64_t now_us_;
    std::int64_t last_;
    SQLite::Statement standing_;
    SQLite::Statement aside_;
    SQLite::Statement add_;
    SQLite::Statement keep_aside_;
    Appended out_;
};

} // namespace

Expected<Appended> Journal::append(std::span<const Entry> entries) {
    if (connection_->why_read_only()) {
        return fail(*connection_->why_read_only());
    }
    if (auto good = check_batch(entries); !good) {
        return fail(std::move(good).error().at({.file = file().string()}));
    }
    return detail::guarded(file(), [&]() -> Expected<Appended> {
        if (connection_->has_moved()) {
            return fail(moved_away(file()));
        }
        SQLite::Database& database = connection_->database();
        SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
        Adding add(database, file(), connection_->now_us());
        for (const Entry& entry : entries) {
            if (auto good = add(entry); !good) {
                return fail(std::move(good).error());
            }
        }
        Appended out = std::move(add).result();
        transaction.commit();
        return out;
    });
}

namespace {

constexpr std::int64_t no_limit = -1;

/// A row of both_tables(): an entry that stands has nothing in the last cell.
detail::Row without_empty_end(detail::Row row) {
    if (std::holds_alternative<std::monostate>(row.back())) {
        row.pop_back();
    }
    return row;
}

std::string lacking_text(std::int64_t from, std::int64_t to) {
    return from == to ? fmt::format("the entry at position {} is lacking", from)
                      : fmt::format("the entries at positions {} to {} are lacking", from, to);
}

Expected<std::vector<StoredEntry>> read_after(SQLite::Database& database, const std::filesystem::path& file,
                                              Position after, std::int64_t at_most) {
    SQLite::Statement statement(database, both_tables());
    statement.bind(1, static_cast<std::int64_t>(after));
    statement.bind(2, at_most);
    std::vector<StoredEntry> out;
    std::int64_t next = static_cast<std::int64_t>(after) + 1;
    while (statement.executeStep()) {
        const detail::Row row = without_empty_end(detail::row_at(statement));
        auto stored = detail::stored_entry(row);
        if (!stored) {
            return fail(unsound(file, row, stored.error().found));
        }
        if (stored->position != next) {
            return fail(detail::damaged(file, lacking_text(next, stored->position - 1)));
        }
        ++next;
        out.push_back(std::move(*stored));
    }
    return out;
}

} // namespace

Expected<std::vector<Entry>> Journal::entries() const {
    return detail::guarded(file(), [&]() -> Expected<std::vector<Entry>> {
        auto all = read_after(connection_->database(), file(), Position{0}, no_limit);
        if (!all) {
            return fail(std::move(all).error());
        }
        std::vector<Entry> out;
        out.reserve(all->size());
        for (StoredEntry& stored : *all) {
            if (!stored.standing_sha256) {
                out.push_back(std::move(stored.entry));
            }
        }
        std::sort(out.begin(), out.end(), comes_before);
        return out;
    });
}

Expected<std::vector<Received>> Journal::received_since(Position position, std::size_t at_most) const {
    return detail::guarded(file(), [&]() -> Expected<std::vector<Received>> {
        SQLite::Statement statement(
            connection_->database(),
            fmt::format("SELECT {} FROM entries WHERE position > ? ORDER BY position LIMIT ?",
                        detail::entry_columns));
        statement.bind(1, static_cast<std::int64_t>(position));
        statement.bind(2, static_cast<std::int64_t>(at_most));
        std::vector<Received> out;
        while (statement.executeStep()) {
            auto stored = stored_at(statement, file());
            if (!stored) {
                return fail(std::move(stored).error());
            }
            out.push_back(received_of(std::move(*stored)));
        }
        return out;
    });
}

Expected<std::vector<KeptAside>> Journal::kept_aside() const {
    return detail::guarded(file(), [&]() -> Expected<std::vector<KeptAside>> {
        SQLite::Statement statement(
            connection_->database(),
            fmt::format("SELECT {}, standing_sha256 FROM kept_aside ORDER BY position",
                        detail::entry_columns));
        std::vector<KeptAside> out;
        while (statement.executeStep()) {
            auto stored = stored_at(statement, file());
            if (!stored) {
                return fail(std::move(stored).error());
            }
            std::string standing = *stored->standing_sha256;
            out.push_back(
                {.received = received_of(std::move(*stored)), .standing_sha256 = std::move(standing)});
        }
        return out;
    });
}

Expected<std::vector<Arrival>> Journal::arrivals_since(Position position, std::size_t at_most) const {
    return detail::guarded(file(), [&]() -> Expected<std::vector<Arrival>> {
        auto stored =
            read_after(connection_->database(), file(), position, static_cast<std::int64_t>(at_most));
        if (!stored) {
            return fail(std::move(stored).error());
        }
        std::vector<Arrival> out;
        out.reserve(stored->size());
        for (StoredEntry& one : *stored) {
            out.push_back(arrival_of(std::move(one)));
        }
        return out;
    });
}

Expected<Position> Journal::last_position() const {
    return detail::guarded(
        file(), [&]() -> Expected<Position> { return Position{last_of(connection_->database())}; });
}

Expected<std::vector<DeviceEntries>> Journal::devices() const {
    return detail::guarded(file(), [&]() -> Expected<std::vector<DeviceEntries>> {
        SQLite::Statement statement(connection_->database(),
                                    "SELECT device, sequence FROM entries ORDER BY device, sequence");
        std::vector<DeviceEntries> out;
        while (statement.executeStep()) {
            const auto device = DeviceId::parse(statement.getColumn(0).getString());
            const auto sequence = static_cast<std::uint64_t>(statement.getColumn(1).getInt64());
            if (!device) {
                return fail(detail::damaged(file(), "an entry's device is not what was written"));
            }
            if (out.empty() || out.back().device != *device) {
                out.push_back({.device = *device});
            }
            DeviceEntries& last = out.back();
            if (sequence > last.last_sequence + 1) {
                last.lacking.push_back({.from = last.last_sequence + 1, .to = sequence - 1});
            }
            last.last_sequence = sequence;
        }
        return out;
    });
}

namespace {

void read_rows(SQLite::Database& database, Readable& out) {
    SQLite::Statement statement(database, both_tables());
    statement.bind(1, std::int64_t{0});
    statement.bind(2, no_limit);
    std::int64_t next = 1;
    try {
        while (statement.executeStep()) {
            detail::Row row = without_empty_end(detail::row_at(statement));
            const auto* found = std::get_if<std::int64_t>(&row[0]);
            const std::int64_t position = found == nullptr ? next : *found;
            if (position != next) {
                out.damage.push_back({.position = Position{next}, .what = lacking_text(next, position - 1)});
            }
            next = position + 1;
            auto stored = detail::stored_entry(std::move(row));
            if (stored) {
                out.sound.push_back(arrival_of(std::move(*stored)));
            } else {
                out.damage.push_back(
                    {.position = Position{position},
                     .what = fmt::format("the entry at position {}: {}", position, stored.error().found)});
            }
        }
    } catch (const SQLite::Exception& thrown) {
        out.damage.push_back(
            {.position = Position{next},
             .what = fmt::format("the entries from position {} on cannot be read: {}", next, thrown.what())});
    }
}

void check_structure(SQLite::Database& database, Readable& out) {
    try {
        SQLite::Statement statement(database, "PRAGMA integrity_check(20)");
        while (statement.executeStep()) {
            const std::string line = statement.getColumn(0).getString();
            if (line != "ok") {
                out.damage.push_back({.position = std::nullopt, .what = "the file's structure: " + line});
            }
        }
    } catch (const SQLite::Exception& thrown) {
        out.damage.push_back({.position = std::nullopt,
                              .what = fmt::format("the file's structure cannot be read: {}", thrown.what())});
    }
}

} // namespace

Expected<Readable> Journal::readable() const {
    return detail::guarded(file(), [&]() -> Expected<Readable> {
        Readable out;
        read_rows(connection_->database(), out);
        check_structure(connection_->database(), out);
        return out;
    });
}

} // namespace backeddy::store
