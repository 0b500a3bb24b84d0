#include "app/detail/folder_lock.hpp"

#include <cerrno>
#include <thread>
#include <utility>

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

namespace backeddy::app::detail {

Expected<FolderLock> FolderLock::take(const std::filesystem::path& folder,
                                      std::chrono::milliseconds patience) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    FolderLock lock(descriptor);
    if (descriptor < 0) {
        return lock;
    }
    const auto until = std::chrono::steady_clock::now() + patience;
    while (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
        if (errno == EINTR) {
            continue;
        }
        if (errno != EWOULDBLOCK) {
            return lock;
        }
        if (std::chrono::steady_clock::now() >= until) {
            return fail({.code = ErrorCode::cannot_write,
                         .found = "another run is writing into this folder and has not come to its end",
                         .expected = "one run at a time",
                         .remedy = "wait for it, or end it, and run again",
                         .place = {.file = folder.string()}});
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    lock.is_held_ = true;
    return lock;
}

FolderLock::FolderLock(FolderLock&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), is_held_(other.is_held_) {}

FolderLock::~FolderLock() {
    if (descriptor_ >= 0) {
        ::close(descriptor_);
    }
}

} // namespace backeddy::app::detail
