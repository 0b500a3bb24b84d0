#pragma once
// A file layer (SQLite VFS) over the machine's own that writes down every write, truncation, sync and
// removal, can be slow, full or failing; and a disk that replays what was written down up to any moment at
// which the power is cut.

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include <sqlite3.h>

#include "base/random.hpp"

namespace backeddy::store::test {

struct Operation {
    enum class Kind : std::uint8_t { make, write, truncate, sync, remove };
    Kind kind{};
    std::string file;        ///< its name without the folder
    std::uint64_t at = 0;    ///< of a write: where; of a truncation: the new size
    std::string bytes;       ///< of a write
    bool folder_too = false; ///< of a sync or removal: the folder's names are on disk as well
};

/// Registered as long as it lives. Used by one thread.
class RecordingLayer {
  public:
    RecordingLayer();
    ~RecordingLayer();
    RecordingLayer(const RecordingLayer&) = delete;
    RecordingLayer& operator=(const RecordingLayer&) = delete;

    [[nodiscard]] const std::string& name() const { return name_; }
    [[nodiscard]] const std::vector<Operation>& operations() const { return operations_; }

    std::chrono::microseconds sync_takes{0};
    std::optional<std::uint64_t> room;       ///< bytes that all files together may have
    std::optional<std::uint64_t> syncs_left; ///< then one sync fails, and those after it do not
    bool is_away = false;                    ///< every read, write and sync fails: the disk is unplugged

    // What the layer's functions tell and ask.
    void record(Operation operation) { operations_.push_back(std::move(operation)); }
    [[nodiscard]] bool has_room_for(const std::string& file, std::uint64_t size);
    void now_has(const std::string& file, std::uint64_t size) { sizes_[file] = size; }
    [[nodiscard]] std::uint64_t size_of(const std::string& file) { return sizes_[file]; }
    [[nodiscard]] bool sync_fails();
    [[nodiscard]] sqlite3_vfs* below() const { return below_; }

  private:
    std::string name_;
    sqlite3_vfs* below_ = nullptr;
    sqlite3_vfs layer_{};
    std::vector<Operation> operations_;
    std::map<std::string, std::uint64_t> sizes_;
};

/// The files of one folder as a disk has them: what was synced is there, what was not may be, whole or in
/// part.
///
/// Of a file, a sync puts all before it on disk. Its name is on disk with its first sync (as journaling file
/// systems do, and as SQLite's layer asks for by syncing the folder); a removal is, with the next sync of the
/// folder.
class CutDisk {
  public:
    enum class Honours : std::uint8_t { syncs, nothing };
    explicit CutDisk(Honours honours) : honours_(honours) {}

    void apply(const Operation& operation);

    enum class Unsynced : std::uint8_t { lost, kept, some };
    /// Writes the files into an empty folder as they are when the power is cut now. With `some`, each
    /// 512-byte sector of each unsynced write, each truncation, each new name and each removal is there or
    /// not, at random.
    void write_to(const std::filesystem::path& folder, Unsynced unsynced, Random& random) const;

  private:
    struct File {
        std::optional<std::string> on_disk; ///< nothing: no such name
        std::vector<Operation> since;       ///< not synced yet
    };
    void settle(File& file) const;
    std::map<std::string, File> files_;
    Honours honours_;
};

} // namespace backeddy::store::test
