#pragma once
// Files of this machine that hold secrets: for their owner's eyes alone.

#include <filesystem>
#include <string_view>

#include "base/error.hpp"

namespace backeddy::server {

/// Fails where somebody else than the owner may read or write the file; `what` it holds, for the message. A
/// file that is not there is private.
[[nodiscard]] Expected<void> is_private(const std::filesystem::path& file, std::string_view what);

/// Writes the file whole with mode 600, its folder with it (mode 700) when missing.
[[nodiscard]] Expected<void> write_private(const std::filesystem::path& file, std::string_view text);

/// Held by one program at a time, as long as it stands: what is read, changed and written back meanwhile is
/// not overtaken. Where a file system knows no locks, it goes without.
class FolderLock {
  public:
    /// `folder` is made when missing.
    explicit FolderLock(const std::filesystem::path& folder);
    ~FolderLock();
    FolderLock(const FolderLock&) = delete;
    FolderLock& operator=(const FolderLock&) = delete;

  private:
    int descriptor_;
};

} // namespace backeddy::server
