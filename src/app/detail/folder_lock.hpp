#pragma once
// One writer in a folder at a time.

#include <chrono>
#include <filesystem>

#include "base/error.hpp"

namespace backeddy::app::detail {

/// While it stands, no other run writes into the same folder. The system lets go of it when the process ends,
/// however it ends. Some file systems have no such locks: there `is_held` is false.
class FolderLock {
  public:
    /// Waits for another holder as long as `patience`. Fails with cannot_write when that does not come to its
    /// end.
    [[nodiscard]] static Expected<FolderLock> take(const std::filesystem::path& folder,
                                                   std::chrono::milliseconds patience);
    FolderLock(FolderLock&& other) noexcept;
    FolderLock(const FolderLock&) = delete;
    FolderLock& operator=(const FolderLock&) = delete;
    FolderLock& operator=(FolderLock&&) = delete;
    ~FolderLock();
    [[nodiscard]] bool is_held() const { return is_held_; }

  private:
    explicit FolderLock(int descriptor) : descriptor_(descriptor) {}
    int descriptor_;
    bool is_held_ = false;
};

} // namespace backeddy::app::detail
