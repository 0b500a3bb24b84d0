#include "live/socket_path.hpp"

#include <cstdlib>
#include <string>

#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/hash.hpp"

namespace backeddy::live {

Expected<std::filesystem::path> socket_path(const std::filesystem::path& folder) {
    const char* runtime = std::getenv("XDG_RUNTIME_DIR");
    const std::filesystem::path home =
        runtime != nullptr && *runtime == '/'
            ? std::filesystem::path(runtime) / "backeddy"
            : std::filesystem::path(fmt::format("/tmp/backeddy-{}", ::getuid()));
    ::mkdir(home.c_str(), 0700); // there already, or what follows says why not
    struct stat status{};
    if (::lstat(home.c_str(), &status) != 0 || !S_ISDIR(status.st_mode) || status.st_uid != ::getuid() ||
        (status.st_mode & 0077U) != 0) {
        return fail({.code = ErrorCode::cannot_write,
                     .found = "this is not a folder of this user alone",
                     .expected = "a folder that nobody else may read, for the socket of the watch",
                     .remedy = "chmod 700 it, or remove it if it is not yours to keep",
                     .place = {.file = home.string()}});
    }
    std::error_code ignored;
    auto real = std::filesystem::weakly_canonical(folder, ignored);
    const auto name = sha256_hex((ignored ? folder : real).string()).substr(0, 24);
    return home / (name + ".sock");
}

} // namespace backeddy::live
