#pragma once
// Start here: the journal of a study, one SQLite file of entries that are added and never changed.
//
//   auto journal = Journal::open(folder / journal_name);
//   if (!journal) return fail(journal.error());
//   auto added = journal->append({{entry}});      // on disk when it returns without an Error
//   auto all = journal->entries();                // in their order, whatever the order of arrival
//   auto news = journal->received_since(position); // in order of arrival, for whoever follows
//
// An entry.hpp Entry says who did what, when and why; hybrid_time.hpp gives it its place in the order;
// backup.hpp keeps a copy elsewhere and restores; salvage.hpp reads what is left of a damaged file;
// folder_kind.hpp warns of folders where a journal is not safe. docs/journal.md has format and promises.

#include <chrono>
#include <compare>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "store/entry.hpp"

namespace backeddy::store {

/// The journal's name in a study's folder.
inline constexpr const char* journal_name = "journal.sqlite";

/// Behind the name of a journal that restore() is making; while it is there the journal is not opened.
inline constexpr const char* restoring_suffix = ".restoring";

/// Place in the order of arrival at this file, from 1 and without gaps; 0 is before the first.
enum class Position : std::int64_t {};

struct Received {
    Position position{};
    Instant at; ///< by the clock of JournalOptions
    Entry entry;
};

/// An entry that came under an id which another, different entry has here already: two devices with one id,
/// or a damaged sender. It does not count; it is kept so that people can be shown both and decide.
struct KeptAside {
    Received received;
    std::string standing_sha256; ///< of the entry that stands under the id
};

/// Two entries under one id.
struct Conflict {
    Entry standing;
    Entry kept_aside;
};

/// What became of a batch: added + duplicates + conflicts = its size.
struct Appended {
    Position through{}; ///< the last position there is now
    std::size_t added = 0;
    std::size_t duplicates = 0;      ///< here already, byte for byte: harmless
    std::vector<Conflict> conflicts; ///< kept aside, now or before
};

/// Sequences that are not here though a later one of the same device is.
struct Lacking {
    std::uint64_t from = 0;
    std::uint64_t to = 0; ///< inclusive

    friend bool operator==(const Lacking&, const Lacking&) = default;
};

struct DeviceEntries {
    DeviceId device;
    std::uint64_t last_sequence = 0; ///< the device's next entry has this plus 1
    std::vector<Lacking> lacking;    ///< still on the way, or lost
};

/// An entry that stands, or one that is kept aside: then with the hash of the one that stands.
struct Arrival {
    Received received;
    std::optional<std::string> standing_sha256;
};

/// One thing found wrong.
struct Damage {
    std::optional<Position> position; ///< none where it is not about one entry
    std::string what;
};

/// A journal read to its last byte: what is sound, and all that is not.
struct Readable {
    std::vector<Arrival> sound; ///< entries whose hash is that of what stands there, in order of arrival
    std::vector<Damage> damage; ///< none: the journal is whole
};

enum class Access : std::uint8_t { write, read };

/// At most this many entries, and bytes of their texts, in one append (choice).
inline constexpr std::size_t most_entries_at_once = 10'000;
inline constexpr std::size_t most_bytes_at_once = std::size_t{64} << 20;

struct JournalOptions {
    std::function<Instant()> now;                   ///< empty: the machine's clock
    std::chrono::milliseconds lock_patience{5'000}; ///< how long another program's lock is waited for
    std::string identity; ///< of a journal that is made, 16 digits as DeviceId; empty: a new one at random
    std::string
        file_layer; ///< the SQLite VFS by name; empty: the machine's own. Tests cut the power in theirs.
};

/// One connection to a journal's file. Used by one thread at a time; another thread or program opens its own,
/// and one of them writes at a time while the others go on reading. Every function may fail with
/// file_unreadable (damaged, or no journal) or cannot_write (disk full, read-only, locked, disk gone), naming
/// the file and what to do.
class Journal {
  public:
    /// Opens the journal; with Access::write makes it where it is not there, and brings one of an older
    /// version to this one after keeping a copy beside it. One of a newer version is opened to be read:
    /// why_read_only() says so. Fails with file_missing for Access::read of nothing.
    [[nodiscard]] static Expected<Journal> open(const std::filesystem::path& file,
                                                Access access = Access::write, JournalOptions options = {});
    Journal(Journal&&) noexcept;
    Journal& operator=(Journal&&) noexcept;
    ~Journal();

    [[nodiscard]] const std::filesystem::path& file() const;
    /// 16 digits made at random with the first journal of a study; its copies and what is restored from them
    /// have the same.
    [[nodiscard]] const std::string& identity() const;
    /// Why append() will refuse, for people to read; nothing when it will not.
    [[nodiscard]] std::optional<Error> why_read_only() const;

    /// Adds the entries in one transaction: all or none. When it returns a value they are on disk, and
    /// survive a power cut. When it fails, none is acknowledged (after a failing disk some may be there all
    /// the same: sending them again is harmless). Fails also with what check() says of an entry, and with
    /// out_of_range for too large a batch.
    [[nodiscard]] Expected<Appended> append(std::span<const Entry> entries);

    /// All that stand, in their order. Fails where any is damaged or lacking: nothing is silently left out.
    [[nodiscard]] Expected<std::vector<Entry>> entries() const;
    /// The next at most `at_most` after `position`, in order of arrival.
    [[nodiscard]] Expected<std::vector<Received>> received_since(Position position,
                                                                 std::size_t at_most = 1'000) const;
    [[nodiscard]] Expected<std::vector<KeptAside>> kept_aside() const;
    /// The last position there is.
    [[nodiscard]] Expected<Position> last_position() const;
    /// Every device with entries here, ascending.
    [[nodiscard]] Expected<std::vector<DeviceEntries>> devices() const;

    /// Both kinds, in order of arrival: what a copy of this journal needs. Fails where one is lacking.
    [[nodiscard]] Expected<std::vector<Arrival>> arrivals_since(Position position, std::size_t at_most) const;

    /// Verifies the journal: each entry's hash against what stands there, positions without gaps, and
    /// SQLite's own check of the file's structure. Damage is told, not a failure.
    [[nodiscard]] Expected<Readable> readable() const;

  private:
    class Connection;
    explicit Journal(std::unique_ptr<Connection> connection);
    std::unique_ptr<Connection> connection_;
};

} // namespace backeddy::store
