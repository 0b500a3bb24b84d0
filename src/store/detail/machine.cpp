#include "store/detail/machine.hpp"

#include <chrono>

#include <fcntl.h>
#include <unistd.h>

namespace backeddy::store::detail {

Instant now_by(const std::function<Instant()>& clock) {
    if (clock) {
        return clock();
    }
    const auto since = std::chrono::system_clock::now().time_since_epoch();
    return Instant::unix_nanoseconds(std::chrono::duration_cast<std::chrono::nanoseconds>(since).count());
}

std::filesystem::path folder_of(const std::filesystem::path& file) {
    return file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
}

void sync_folder(const std::filesystem::path& folder) {
    const int descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        ::fsync(descriptor);
        ::close(descriptor);
    }
}

} // namespace backeddy::store::detail
