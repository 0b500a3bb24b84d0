#pragma once
// Files that are only appended to and synced, behind an interface: tests record what is asked of them, make
// them fail, and cut the power.

#include <filesystem>
#include <memory>
#include <string_view>

#include "base/error.hpp"

namespace backeddy::store {

class AppendFile {
  public:
    virtual ~AppendFile() = default;
    /// All of `bytes` at the file's end. Fails with cannot_write; some of it may be there then.
    virtual Expected<void> append(std::string_view bytes) = 0;
    /// On disk when it returns: what was appended, and the file's name. Fails with cannot_write.
    virtual Expected<void> sync() = 0;
};

class FileLayer {
  public:
    virtual ~FileLayer() = default;
    /// A new file. Fails with cannot_write, also where one of that name is there.
    virtual Expected<std::unique_ptr<AppendFile>> create(const std::filesystem::path& path) = 0;
    /// Takes a file away in which nothing was acknowledged; where that cannot be done it stays.
    virtual void remove(const std::filesystem::path& path) = 0;
};

/// The machine's own files.
[[nodiscard]] std::shared_ptr<FileLayer> machine_files();

} // namespace backeddy::store
