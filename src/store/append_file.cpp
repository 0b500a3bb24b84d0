#include "store/append_file.hpp"

#include <cerrno>
#include <cstring>
#include <string>

#include <fcntl.h>
#include <unistd.h>

#include "store/detail/machine.hpp"

namespace backeddy::store {

namespace {

Error refused(const std::filesystem::path& path, int reason) {
    return {.code = ErrorCode::cannot_write,
            .found = reason == ENOSPC || reason == EDQUOT
                         ? std::string("the disk is full")
                         : std::string("cannot write this file (") + std::strerror(reason) + ")",
            .expected = "room on the disk and permission to write there",
            .remedy =
                "free some space; what came meanwhile waits in memory and is written as soon as it can be",
            .place = {.file = path.string()}};
}

class MachineFile : public AppendFile {
  public:
    MachineFile(std::filesystem::path path, int descriptor)
        : path_(std::move(path)), descriptor_(descriptor) {}
    ~MachineFile() override { ::close(descriptor_); }
    MachineFile(const MachineFile&) = delete;
    MachineFile& operator=(const MachineFile&) = delete;

    Expected<void> append(std::string_view bytes) override {
        while (!bytes.empty()) {
            const ssize_t written = ::write(descriptor_, bytes.data(), bytes.size());
            if (written < 0 && errno == EINTR) {
                continue;
            }
            if (written <= 0) {
                return fail(refused(path_, written == 0 ? ENOSPC : errno));
            }
            bytes.remove_prefix(static_cast<std::size_t>(written));
        }
        return {};
    }

    Expected<void> sync() override {
        if (::fdatasync(descriptor_) != 0) {
            return fail(refused(path_, errno));
        }
        if (!is_named_) {
            detail::sync_folder(detail::folder_of(path_));
            is_named_ = true;
        }
        return {};
    }

  private:
    std::filesystem::path path_;
    int descriptor_;
    bool is_named_ = false; ///< its name in the folder is on disk
};

class MachineFiles : public FileLayer {
  public:
    Expected<std::unique_ptr<AppendFile>> create(const std::filesystem::path& path) override {
        const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0644);
        if (descriptor < 0) {
            return fail(refused(path, errno));
        }
        return std::make_unique<MachineFile>(path, descriptor);
    }

    void remove(const std::filesystem::path& path) override { ::unlink(path.c_str()); }
};

} // namespace

std::shared_ptr<FileLayer> machine_files() {
    return std::make_shared<MachineFiles>();
}

} // namespace backeddy::store
