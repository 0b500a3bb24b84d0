#include "store/detail/schema.hpp"

#include <algorithm>
#include <array>
#include <string_view>

#include <SQLiteCpp/Backup.h>
#include <fmt/format.h>
#include <sqlite3.h>

namespace backeddy::store::detail {

namespace {

struct Part {
    std::string_view name;
    const char* sql;
};

// Word for word what sqlite_schema keeps, so that a file whose tables are not these is known. What never
// changes has triggers that say so, for whoever opens the file with a tool of their own; "OR REPLACE" deletes
// without asking a delete's trigger, so inserting over a row is refused as well.
constexpr std::array parts{
    Part{"about", "CREATE TABLE about (identity TEXT NOT NULL, made_us INTEGER NOT NULL) STRICT"},
    Part{"entries",
         "CREATE TABLE entries (position INTEGER PRIMARY KEY, device TEXT NOT NULL, sequence INTEGER NOT "
         "NULL, "
         "hybrid_wall_us INTEGER NOT NULL, hybrid_count INTEGER NOT NULL, wall_us INTEGER NOT NULL, "
         "monotonic_us INTEGER NOT NULL, boot TEXT NOT NULL, clock_offset_us INTEGER, author TEXT NOT NULL, "
         "role TEXT NOT NULL, act TEXT NOT NULL, content TEXT NOT NULL, reason TEXT NOT NULL, "
         "sha256 TEXT NOT NULL, received_us INTEGER NOT NULL, UNIQUE (device, sequence)) STRICT"},
    Part{"kept_aside",
         "CREATE TABLE kept_aside (position INTEGER PRIMARY KEY, device TEXT NOT NULL, sequence INTEGER NOT "
         "NULL, "
         "hybrid_wall_us INTEGER NOT NULL, hybrid_count INTEGER NOT NULL, wall_us INTEGER NOT NULL, "
         "monotonic_us INTEGER NOT NULL, boot TEXT NOT NULL, clock_offset_us INTEGER, author TEXT NOT NULL, "
         "role TEXT NOT NULL, act TEXT NOT NULL, content TEXT NOT NULL, reason TEXT NOT NULL, "
         "sha256 TEXT NOT NULL, received_us INTEGER NOT NULL, standing_sha256 TEXT NOT NULL, "
         "UNIQUE (device, sequence, sha256), "
         "FOREIGN KEY (device, sequence) REFERENCES entries (device, sequence)) STRICT"},
    Part{"about_is_never_changed",
         "CREATE TRIGGER about_is_never_changed BEFORE UPDATE ON about "
         "BEGIN SELECT RAISE(ABORT, 'what a journal is called is never changed'); END"},
    Part{"about_is_never_deleted",
         "CREATE TRIGGER about_is_never_deleted BEFORE DELETE ON about "
         "BEGIN SELECT RAISE(ABORT, 'what a journal is called is never deleted'); END"},
    Part{"entries_are_never_changed",
         "CREATE TRIGGER entries_are_never_changed BEFORE UPDATE ON entries "
         "BEGIN SELECT RAISE(ABORT, 'an entry is never changed: write another that corrects it'); END"},
    Part{"entries_are_never_deleted",
         "CREATE TRIGGER entries_are_never_deleted BEFORE DELETE ON entries "
         "BEGIN SELECT RAISE(ABORT, 'an entry is never deleted: write another that undoes it'); END"},
    Part{"entries_are_never_replaced",
         "CREATE TRIGGER entries_are_never_replaced BEFORE INSERT ON entries WHEN EXISTS (SELECT 1 FROM "
         "entries WHERE "
         "position = NEW.position OR (device = NEW.device AND sequence = NEW.sequence)) "
         "BEGIN SELECT RAISE(ABORT, 'an entry is never replaced'); END"},
    Part{"kept_aside_are_never_changed",
         "CREATE TRIGGER kept_aside_are_never_changed BEFORE UPDATE ON kept_aside "
         "BEGIN SELECT RAISE(ABORT, 'an entry is never changed: write another that corrects it'); END"},
    Part{"kept_aside_are_never_deleted",
         "CREATE TRIGGER kept_aside_are_never_deleted BEFORE DELETE ON kept_aside "
         "BEGIN SELECT RAISE(ABORT, 'an entry is never deleted: write another that undoes it'); END"},
    Part{"kept_aside_are_never_replaced", "CREATE TRIGGER kept_aside_are_never_replaced BEFORE INSERT ON "
                                          "kept_aside WHEN EXISTS (SELECT 1 FROM kept_aside "
                                          "WHERE position = NEW.position OR (device = NEW.device AND "
                                          "sequence = NEW.sequence AND sha256 = NEW.sha256)) "
                                          "BEGIN SELECT RAISE(ABORT, 'an entry is never replaced'); END"}};

} // namespace

void make_tables(SQLite::Database& database, const std::string& identity, std::int64_t now_us) {
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::EXCLUSIVE);
    if (database.execAndGet("SELECT count(*) FROM sqlite_schema").getInt() != 0) {
        return; // another program was faster
    }
    for (const Part& part : parts) {
        database.exec(part.sql);
    }
    SQLite::Statement about(database, "INSERT INTO about VALUES (?, ?)");
    about.bind(1, identity);
    about.bind(2, now_us);
    about.exec();
    database.exec(
        fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {}", application_id, format_version));
    transaction.commit();
}

std::string unlike_ours(SQLite::Database& database) {
    SQLite::Statement schema(database, "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL");
    std::size_t seen = 0;
    while (schema.executeStep()) {
        const std::string name = schema.getColumn(0).getString();
        const std::string sql = schema.getColumn(1).getString();
        const auto ours =
            std::find_if(parts.begin(), parts.end(), [&](const Part& part) { return part.name == name; });
        if (ours == parts.end() || sql != ours->sql) {
            return name;
        }
        ++seen;
    }
    return seen == parts.size() ? "" : "one that is not there";
}

namespace {

/// A name beside the file that nothing has yet.
std::filesystem::path free_name(const std::filesystem::path& file, int version) {
    for (int i = 1;; ++i) {
        std::filesystem::path name = file;
        name += fmt::format(".version-{}", version) + (i == 1 ? "" : fmt::format("-{}", i));
        if (!std::filesystem::exists(name)) {
            return name;
        }
    }
}

/// Through SQLite, with the file locked for everybody else: reading it ourselves and closing it would let go
/// of the locks that SQLite has on it (POSIX locks belong to the process).
void keep_a_copy(SQLite::Database& database, const std::filesystem::path& file, int version) {
    const auto name = free_name(file, version);
    SQLite::Database copy(name.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
    copy.exec("PRAGMA synchronous = EXTRA");
    SQLite::Backup backup(copy, database);
    if (const int status = backup.executeStep(-1); status != SQLITE_DONE) {
        throw SQLite::Exception("the copy was not finished", status);
    }
}

/// No other program reads or writes the file while this lives.
class Alone {
  public:
    explicit Alone(SQLite::Database& database) : database_(database) {
        database_.exec("PRAGMA journal_mode = DELETE"); // moves the log into the file
        database_.exec("PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE; COMMIT");
    }
    ~Alone() { database_.tryExec("PRAGMA locking_mode = NORMAL; SELECT count(*) FROM sqlite_schema"); }
    Alone(const Alone&) = delete;
    Alone& operator=(const Alone&) = delete;

  private:
    SQLite::Database& database_;
};

} // namespace

Expected<void> migrate(SQLite::Database& database, const std::filesystem::path& file, int from, int to,
                       std::span<const Step> by) {
    const Alone alone(database);
    if (database.execAndGet("PRAGMA user_version").getInt() != from) {
        return {}; // another program was faster
    }
    keep_a_copy(database, file, from);
    SQLite::Transaction transaction(database, SQLite::TransactionBehavior::EXCLUSIVE);
    for (int version = from; version < to; ++version) {
        const auto step =
            std::find_if(by.begin(), by.end(), [&](const Step& s) { return s.from == version; });
        if (step == by.end()) {
            return fail(
                {.code = ErrorCode::file_unreadable,
                 .found = fmt::format("a journal of version {}, which this program cannot read", version),
                 .expected = fmt::format("version {}", to),
                 .remedy = "look for the program that made it",
                 .place = {.file = file.string()}});
        }
        database.exec(step->sql);
    }
    database.exec(fmt::format("PRAGMA user_version = {}", to));
    transaction.commit();
    return {};
}

} // namespace backeddy::store::detail
