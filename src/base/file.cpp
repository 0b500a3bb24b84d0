#include "base/file.hpp"

#include <atomic>
#include <cerrno>
#include <cstring>
#include <utility>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace backeddy {

namespace {

Error unreadable(const std::filesystem::path& path, std::string found, std::string expected) {
    return {.code = ErrorCode::file_unreadable,
            .found = std::move(found),
            .expected = std::move(expected),
            .remedy = "check its name and its permissions",
            .place = {.file = path.string()}};
}

/// Closed when it goes.
class Descriptor {
  public:
    explicit Descriptor(int number) : number_(number) {}
    ~Descriptor() {
        if (number_ >= 0) {
            ::close(number_);
        }
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    [[nodiscard]] int number() const { return number_; }
    /// 0, or why the last bytes did not reach the file.
    int close_now() { return ::close(std::exchange(number_, -1)) == 0 ? 0 : errno; }

  private:
    int number_;
};

} // namespace

Expected<std::string> read_file(const std::filesystem::path& path, std::uint64_t most_bytes) {
    // Without O_NONBLOCK, opening a pipe waits for somebody to write into it.
    const Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK));
    if (file.number() < 0) {
        const int reason = errno;
        if (reason == ENOENT || reason == ENOTDIR) {
            return fail({.code = ErrorCode::file_missing,
                         .found = "there is no such file",
                         .expected = "a file that this user may read",
                         .remedy = "check its name and its permissions",
                         .place = {.file = path.string()}});
        }
        return fail(unreadable(path, std::string("this cannot be read (") + std::strerror(reason) + ")",
                               "a file that this user may read"));
    }
    struct stat status{};
    if (::fstat(file.number(), &status) != 0 || !S_ISREG(status.st_mode)) {
        return fail(unreadable(path, what_it_is(status.st_mode) + ", not a file", "a file of text"));
    }
    const auto too_large = [&] {
        return fail(
            unreadable(path, "this file is too large",
                       "at most " + std::to_string(most_bytes >> 20) + " MB for a file of this kind"));
    };
    if (static_cast<std::uint64_t>(status.st_size) > most_bytes) {
        return too_large();
    }
    std::string bytes;
    constexpr std::size_t step = std::size_t{1} << 16;
    bytes.reserve(static_cast<std::size_t>(status.st_size));
    std::string block(step, '\0');
    while (true) {
        const ssize_t got = ::read(file.number(), block.data(), block.size());
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            const int reason = errno;
            return fail(unreadable(path, std::string("this cannot be read (") + std::strerror(reason) + ")",
                                   "a file that this user may read"));
        }
        if (got == 0) {
            return bytes;
        }
        if (bytes.size() + static_cast<std::size_t>(got) > most_bytes) {
            return too_large(); // it has grown meanwhile, or it does not say how large it is
        }
        bytes.append(block.data(), static_cast<std::size_t>(got));
    }
}

std::string what_it_is(unsigned mode) {
    return S_ISDIR(mode)                    ? "this is a folder"
           : S_ISFIFO(mode)                 ? "this is a pipe"
           : S_ISCHR(mode) || S_ISBLK(mode) ? "this is a device"
           : S_ISSOCK(mode)                 ? "this is a socket"
                                            : "this is something else";
}

namespace {

bool write_all(int descriptor, std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
        if (written < 0 && errno == EINTR) {
            continue;
        }
        if (written <= 0) {
            errno = written == 0 ? ENOSPC : errno;
            return false;
        }
        bytes.remove_prefix(static_cast<std::size_t>(written));
    }
    return true;
}

Error not_written(const std::filesystem::path& path, int reason) {
    if (reason == EEXIST) {
        return {.code = ErrorCode::cannot_write,
                .found = "this is there already",
                .expected = "a name that is free: nothing is written over",
                .remedy = "move it away, or choose another folder",
                .place = {.file = path.string()}};
    }
    return {.code = ErrorCode::cannot_write,
            .found = std::string("cannot write this file (") + std::strerror(reason) + ")",
            .expected = "room on the disk and permission to write there",
            .remedy = "free some space or choose another folder",
            .place = {.file = path.string()}};
}

/// 0, or the errno of what went wrong; then the file is not there either, unless it was there before
/// (EEXIST).
int create_with(const std::filesystem::path& path, std::string_view bytes) {
    Descriptor file(::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644));
    if (file.number() < 0) {
        return errno;
    }
    int reason = write_all(file.number(), bytes) && ::fsync(file.number()) == 0 ? 0 : errno;
    const int closing = file.close_now();
    reason = reason != 0 ? reason : closing;
    if (reason != 0) {
        ::unlink(path.c_str());
    }
    return reason;
}

} // namespace

Expected<void> write_new_file(const std::filesystem::path& path, std::string_view bytes) {
    if (const int reason = create_with(path, bytes); reason != 0) {
        return fail(not_written(path, reason));
    }
    return {};
}

Expected<void> write_file_whole(const std::filesystem::path& path, std::string_view bytes) {
    // A name that nobody has: whatever stands beside the file is somebody's.
    static std::atomic<unsigned> counter{0};
    std::filesystem::path beside;
    int reason = EEXIST;
    for (int tries = 0; reason == EEXIST && tries < 1000; ++tries) {
        beside = path.parent_path() / ("." + path.filename().string() + ".new-" + std::to_string(::getpid()) +
                                       "-" + std::to_string(counter++));
        reason = create_with(beside, bytes);
    }
    if (reason != 0) {
        return fail(not_written(path, reason));
    }
    if (::rename(beside.c_str(), path.c_str()) != 0) {
        reason = errno;
        ::unlink(beside.c_str());
        return fail(not_written(path, reason));
    }
    // Where a file system cannot do that, the file is still whole.
    const auto parent = path.has_parent_path() ? path.parent_path() : std::filesystem::path(".");
    const Descriptor folder(::open(parent.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (folder.number() >= 0) {
        ::fsync(folder.number());
    }
    return {};
}

} // namespace backeddy
