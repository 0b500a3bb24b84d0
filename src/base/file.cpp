#include "base/file.hpp"

#include <cerrno>
#include <cstring>
#include <fstream>
#include <sstream>

#include <fcntl.h>
#include <unistd.h>

namespace backeddy {

Expected<std::string> read_file(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream bytes;
    if (file) {
        bytes << file.rdbuf();
    }
    std::error_code ignored;
    if (!file || file.bad() || std::filesystem::is_directory(path, ignored)) {
        const bool there = std::filesystem::exists(path, ignored);
        return fail({.code = there ? ErrorCode::file_unreadable : ErrorCode::file_missing,
                     .found = there ? "this cannot be read" : "there is no such file",
                     .expected = "a file that this user may read",
                     .remedy = "check its name and its permissions",
                     .place = {.file = path.string()}});
    }
    return std::move(bytes).str();
}

namespace {

bool write_all(int descriptor, std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
        if (written < 0 && errno == EINTR) {
            continue;
        }
        if (written <= 0) {
            return false;
        }
        bytes.remove_prefix(static_cast<std::size_t>(written));
    }
    return true;
}

} // namespace

Expected<void> write_file_whole(const std::filesystem::path& path, std::string_view bytes) {
    auto beside = path;
    beside += ".new";
    const auto refused = [&](int reason) {
        ::unlink(beside.c_str());
        return fail({.code = ErrorCode::cannot_write,
                     .found = std::string("cannot write this file (") + std::strerror(reason) + ")",
                     .expected = "room on the disk and permission to write there",
                     .remedy = "free some space or choose another folder; nothing was changed",
                     .place = {.file = path.string()}});
    };
    const int descriptor = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    if (descriptor < 0) {
        return refused(errno);
    }
    const bool on_disk = write_all(descriptor, bytes) && ::fsync(descriptor) == 0;
    const int reason = errno;
    if (::close(descriptor) != 0 || !on_disk) {
        return refused(on_disk ? errno : reason);
    }
    if (::rename(beside.c_str(), path.c_str()) != 0) {
        return refused(errno);
    }
    return {};
}

} // namespace backeddy
