#include "server/detail/private_file.hpp"

#include <mutex>
#include <system_error>

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.hpp"

namespace backeddy::server {

namespace {

namespace fs = std::filesystem;

/// What this process makes is for its owner alone, as long as this stands. One at a time: the mask is the
/// process's.
class OwnerOnly {
  public:
    OwnerOnly() : turn_(mutex()), before_(::umask(0077)) {}
    ~OwnerOnly() { ::umask(before_); }
    OwnerOnly(const OwnerOnly&) = delete;
    OwnerOnly& operator=(const OwnerOnly&) = delete;

  private:
    static std::mutex& mutex() {
        static std::mutex only;
        return only;
    }
    std::lock_guard<std::mutex> turn_;
    mode_t before_;
};

} // namespace

Expected<void> is_private(const fs::path& file, std::string_view what) {
    struct stat status{};
    if (::stat(file.c_str(), &status) == 0 && (status.st_mode & 0077) != 0) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("others on this machine may open this file (mode {:o})",
                                          status.st_mode & 0777),
                     .expected = fmt::format("mode 600: it holds {}", what),
                     .remedy = fmt::format("chmod 600 '{}'", file.string()),
                     .place = {.file = file.string()}});
    }
    return {};
}

Expected<void> write_private(const fs::path& file, std::string_view text) {
    const OwnerOnly guard;
    std::error_code failure;
    fs::create_directories(file.parent_path(), failure);
    if (failure) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = "cannot make this folder (" + failure.message() + ")",
                     .expected = "a folder that this user may write",
                     .remedy = "make it by hand, or set XDG_CONFIG_HOME",
                     .place = {.file = file.parent_path().string()}});
    }
    return write_file_whole(file, text);
}

FolderLock::FolderLock(const fs::path& folder) {
    const OwnerOnly guard;
    std::error_code ignored;
    fs::create_directories(folder, ignored);
    descriptor_ = ::open((folder / ".lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (descriptor_ >= 0) {
        ::flock(descriptor_, LOCK_EX);
    }
}

FolderLock::~FolderLock() {
    if (descriptor_ >= 0) {
        ::close(descriptor_);
    }
}

} // namespace backeddy::server
