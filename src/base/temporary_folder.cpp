#include "base/temporary_folder.hpp"

#include <cstdlib>
#include <string>
#include <utility>

#include <fmt/format.h>

namespace backeddy {

namespace fs = std::filesystem;

Expected<TemporaryFolder> TemporaryFolder::make(std::string_view word) {
    std::error_code bad;
    std::string pattern = (fs::temp_directory_path(bad) / fmt::format("backeddy_{}_XXXXXX", word)).string();
    if (bad || ::mkdtemp(pattern.data()) == nullptr) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = "no folder for temporary files can be made",
                     .expected = "a place for temporary files with room in it",
                     .remedy = "free space there, or name another place in TMPDIR"});
    }
    return TemporaryFolder(pattern);
}

TemporaryFolder::TemporaryFolder(fs::path path) : path_(std::move(path)) {}

TemporaryFolder::TemporaryFolder(TemporaryFolder&& other) noexcept : path_(std::exchange(other.path_, {})) {}

TemporaryFolder& TemporaryFolder::operator=(TemporaryFolder&& other) noexcept {
    std::swap(path_, other.path_);
    return *this;
}

TemporaryFolder::~TemporaryFolder() {
    std::error_code ignored;
    if (!path_.empty()) {
        fs::remove_all(path_, ignored);
    }
}

} // namespace backeddy
