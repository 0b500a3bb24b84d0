#include "store/recording_layer.hpp"

#include <algorithm>
#include <cstring>
#include <fstream>
#include <thread>
#include <utility>

#include <fmt/format.h>

namespace backeddy::store::test {

namespace {

/// What SQLite hands to each function; the machine's own file follows it in memory.
struct LayerFile {
    sqlite3_file base;
    RecordingLayer* layer;
    char name[200]; ///< SQLite's memory is plain: no constructor runs
    bool is_recorded;
    bool folder_with_next_sync;
};

sqlite3_file* below(sqlite3_file* file) {
    return reinterpret_cast<sqlite3_file*>(reinterpret_cast<LayerFile*>(file) + 1);
}
LayerFile& ours(sqlite3_file* file) {
    return *reinterpret_cast<LayerFile*>(file);
}

int close(sqlite3_file* file) {
    return below(file)->pMethods == nullptr ? SQLITE_OK : below(file)->pMethods->xClose(below(file));
}
int read(sqlite3_file* file, void* into, int count, sqlite3_int64 at) {
    if (ours(file).layer->is_away) {
        return SQLITE_IOERR_READ;
    }
    return below(file)->pMethods->xRead(below(file), into, count, at);
}
int write(sqlite3_file* file, const void* from, int count, sqlite3_int64 at) {
    RecordingLayer& layer = *ours(file).layer;
    const std::string name = ours(file).name;
    const auto end = static_cast<std::uint64_t>(at + count);
    if (layer.is_away) {
        return SQLITE_IOERR_WRITE;
    }
    if (ours(file).is_recorded) {
        if (end > layer.size_of(name)) {
            if (!layer.has_room_for(name, end)) {
                return SQLITE_FULL;
            }
            layer.now_has(name, end);
        }
        layer.record({.kind = Operation::Kind::write,
                      .file = name,
                      .at = static_cast<std::uint64_t>(at),
                      .bytes = std::string(static_cast<const char*>(from), static_cast<std::size_t>(count))});
    }
    return below(file)->pMethods->xWrite(below(file), from, count, at);
}
int truncate(sqlite3_file* file, sqlite3_int64 size) {
    if (ours(file).is_recorded) {
        ours(file).layer->now_has(ours(file).name, static_cast<std::uint64_t>(size));
        ours(file).layer->record({.kind = Operation::Kind::truncate,
                                  .file = ours(file).name,
                                  .at = static_cast<std::uint64_t>(size)});
    }
    return below(file)->pMethods->xTruncate(below(file), size);
}
int sync(sqlite3_file* file, int flags) {
    RecordingLayer& layer = *ours(file).layer;
    if (layer.is_away || layer.sync_fails()) {
        return SQLITE_IOERR_FSYNC;
    }
    std::this_thread::sleep_for(layer.sync_takes);
    if (ours(file).is_recorded) {
        layer.record({.kind = Operation::Kind::sync,
                      .file = ours(file).name,
                      .folder_too = std::exchange(ours(file).folder_with_next_sync, false)});
    }
    return below(file)->pMethods->xSync(below(file), flags);
}
int file_size(sqlite3_file* file, sqlite3_int64* size) {
    return below(file)->pMethods->xFileSize(below(file), size);
}
int lock(sqlite3_file* file, int level) {
    return below(file)->pMethods->xLock(below(file), level);
}
int unlock(sqlite3_file* file, int level) {
    return below(file)->pMethods->xUnlock(below(file), level);
}
int check_lock(sqlite3_file* file, int* out) {
    return below(file)->pMethods->xCheckReservedLock(below(file), out);
}
int control(sqlite3_file* file, int what, void* argument) {
    return below(file)->pMethods->xFileControl(below(file), what, argument);
}
int sector_size(sqlite3_file* file) {
    return below(file)->pMethods->xSectorSize(below(file));
}
int characteristics(sqlite3_file* file) {
    return below(file)->pMethods->xDeviceCharacteristics(below(file));
}
int share(sqlite3_file* file, int page, int size, int extend, void volatile** out) {
    return below(file)->pMethods->xShmMap(below(file), page, size, extend, out);
}
int share_lock(sqlite3_file* file, int offset, int count, int flags) {
    return below(file)->pMethods->xShmLock(below(file), offset, count, flags);
}
void share_barrier(sqlite3_file* file) {
    below(file)->pMethods->xShmBarrier(below(file));
}
int share_end(sqlite3_file* file, int remove) {
    return below(file)->pMethods->xShmUnmap(below(file), remove);
}

const sqlite3_io_methods methods{.iVersion = 2, // without memory maps: every write goes through write()
                                 .xClose = close,
                                 .xRead = read,
                                 .xWrite = write,
                                 .xTruncate = truncate,
                                 .xSync = sync,
                                 .xFileSize = file_size,
                                 .xLock = lock,
                                 .xUnlock = unlock,
                                 .xCheckReservedLock = check_lock,
                                 .xFileControl = control,
                                 .xSectorSize = sector_size,
                                 .xDeviceCharacteristics = characteristics,
                                 .xShmMap = share,
                                 .xShmLock = share_lock,
                                 .xShmBarrier = share_barrier,
                                 .xShmUnmap = share_end,
                                 .xFetch = nullptr,
                                 .xUnfetch = nullptr};

RecordingLayer& layer_of(sqlite3_vfs* vfs) {
    return *static_cast<RecordingLayer*>(vfs->pAppData);
}

std::string name_of_path(const char* path) {
    return std::filesystem::path(path).filename().string();
}

int open(sqlite3_vfs* vfs, const char* path, sqlite3_file* file, int flags, int* flags_out) {
    RecordingLayer& layer = layer_of(vfs);
    constexpr int kept = SQLITE_OPEN_MAIN_DB | SQLITE_OPEN_MAIN_JOURNAL | SQLITE_OPEN_WAL;
    LayerFile& mine = ours(file);
    std::memset(&mine, 0, sizeof mine);
    mine.layer = &layer;
    mine.is_recorded = path != nullptr && (flags & kept) != 0;
    const bool is_new = path != nullptr && !std::filesystem::exists(path);
    if (layer.is_away) {
        return SQLITE_CANTOPEN;
    }
    const int status = layer.below()->xOpen(layer.below(), path, below(file), flags, flags_out);
    mine.base.pMethods = below(file)->pMethods == nullptr ? nullptr : &methods;
    if (status == SQLITE_OK && mine.is_recorded) {
        const std::string name = name_of_path(path);
        name.copy(mine.name, sizeof mine.name - 1);
        if (is_new) {
            layer.now_has(name, 0);
            layer.record({.kind = Operation::Kind::make, .file = name});
            // As SQLite's own layer for the machine's files: the folder is synced with a new log's first
            // sync.
            mine.folder_with_next_sync = (flags & (SQLITE_OPEN_MAIN_JOURNAL | SQLITE_OPEN_WAL)) != 0;
        } else {
            layer.now_has(name, std::filesystem::file_size(path));
        }
    }
    return status;
}
int remove(sqlite3_vfs* vfs, const char* path, int folder_too) {
    RecordingLayer& layer = layer_of(vfs);
    layer.now_has(name_of_path(path), 0);
    layer.record(
        {.kind = Operation::Kind::remove, .file = name_of_path(path), .folder_too = folder_too != 0});
    return layer.below()->xDelete(layer.below(), path, folder_too);
}
int access(sqlite3_vfs* vfs, const char* path, int flags, int* out) {
    return layer_of(vfs).below()->xAccess(layer_of(vfs).below(), path, flags, out);
}
int full_path(sqlite3_vfs* vfs, const char* path, int count, char* out) {
    return layer_of(vfs).below()->xFullPathname(layer_of(vfs).below(), path, count, out);
}
int randomness(sqlite3_vfs* vfs, int count, char* out) {
    return layer_of(vfs).below()->xRandomness(layer_of(vfs).below(), count, out);
}
int sleep(sqlite3_vfs* vfs, int microseconds) {
    return layer_of(vfs).below()->xSleep(layer_of(vfs).below(), microseconds);
}
int time(sqlite3_vfs* vfs, double* out) {
    return layer_of(vfs).below()->xCurrentTime(layer_of(vfs).below(), out);
}
int last_error(sqlite3_vfs* vfs, int count, char* out) {
    return layer_of(vfs).below()->xGetLastError(layer_of(vfs).below(), count, out);
}

} // namespace

RecordingLayer::RecordingLayer()
    : name_(fmt::format("recording-{}", static_cast<const void*>(this))), below_(sqlite3_vfs_find(nullptr)) {
    layer_.iVersion = 1;
    layer_.szOsFile = static_cast<int>(sizeof(LayerFile)) + below_->szOsFile;
    layer_.mxPathname = below_->mxPathname;
    layer_.zName = name_.c_str();
    layer_.pAppData = this;
    layer_.xOpen = open;
    layer_.xDelete = remove;
    layer_.xAccess = access;
    layer_.xFullPathname = full_path;
    layer_.xRandomness = randomness;
    layer_.xSleep = sleep;
    layer_.xCurrentTime = time;
    layer_.xGetLastError = last_error;
    sqlite3_vfs_register(&layer_, 0);
}

RecordingLayer::~RecordingLayer() {
    sqlite3_vfs_unregister(&layer_);
}

bool RecordingLayer::has_room_for(const std::string& file, std::uint64_t size) {
    std::uint64_t sum = size;
    for (const auto& [other, bytes] : sizes_) {
        sum += other == file ? 0 : bytes;
    }
    return !room || sum <= *room;
}

bool RecordingLayer::sync_fails() {
    if (!syncs_left) {
        return false;
    }
    if (*syncs_left == 0) {
        syncs_left.reset();
        return true;
    }
    --*syncs_left;
    return false;
}

namespace {

using Content = std::optional<std::string>;

void put(std::string& content, std::uint64_t at, std::string_view bytes) {
    if (content.size() < at + bytes.size()) {
        content.resize(at + bytes.size(), '\0');
    }
    content.replace(at, bytes.size(), bytes);
}

void do_whole(const Operation& operation, Content& content) {
    switch (operation.kind) {
    case Operation::Kind::make:
        content.emplace();
        break;
    case Operation::Kind::write:
        put(content ? *content : content.emplace(), operation.at, operation.bytes);
        break;
    case Operation::Kind::truncate:
        if (content) {
            content->resize(operation.at, '\0');
        }
        break;
    case Operation::Kind::remove:
        content.reset();
        break;
    case Operation::Kind::sync:
        break;
    }
}

/// Each sector with the chance `share`.
void do_in_part(const Operation& operation, double share, Random& random, Content& content) {
    if (operation.kind != Operation::Kind::write) {
        if (random.uniform() < share) {
            do_whole(operation, content);
        }
        return;
    }
    constexpr std::uint64_t sector = 512;
    const std::string_view bytes = operation.bytes;
    for (std::uint64_t from = 0; from < bytes.size();) {
        const std::uint64_t to =
            std::min<std::uint64_t>(bytes.size(), from + sector - ((operation.at + from) % sector));
        if (random.uniform() < share) {
            put(content ? *content : content.emplace(), operation.at + from, bytes.substr(from, to - from));
        }
        from = to;
    }
}

} // namespace

void CutDisk::settle(File& file) const {
    for (const Operation& operation : file.since) {
        do_whole(operation, file.on_disk);
    }
    file.since.clear();
}

void CutDisk::apply(const Operation& operation) {
    if (operation.kind != Operation::Kind::sync) {
        files_[operation.file].since.push_back(operation);
    }
    if (honours_ == Honours::nothing) {
        return;
    }
    if (operation.kind == Operation::Kind::sync) {
        settle(files_[operation.file]);
    }
    if (!operation.folder_too) {
        return;
    }
    for (auto& [name, file] : files_) {
        // Up to the file's last removal: what was written to a file of that name before went with it.
        const auto last = std::find_if(file.since.rbegin(), file.since.rend(),
                                       [](const Operation& o) { return o.kind == Operation::Kind::remove; });
        if (last != file.since.rend()) {
            file.on_disk.reset();
            file.since.erase(file.since.begin(), last.base());
        }
    }
}

void CutDisk::write_to(const std::filesystem::path& folder, Unsynced unsynced, Random& random) const {
    constexpr double shares[] = {0.1, 0.5, 0.9};
    const double share = shares[random.below(3)];
    for (const auto& [name, file] : files_) {
        Content content = file.on_disk;
        for (const Operation& operation : file.since) {
            if (unsynced == Unsynced::kept) {
                do_whole(operation, content);
            } else if (unsynced == Unsynced::some) {
                do_in_part(operation, share, random, content);
            }
        }
        if (content) {
            std::ofstream(folder / name, std::ios::binary) << *content;
        }
    }
}

} // namespace backeddy::store::test
