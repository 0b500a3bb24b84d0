#pragma once
// Where a watch over a folder is spoken to: a socket of this machine and of this user alone.

#include <filesystem>

#include "base/error.hpp"

namespace backeddy::live {

/// The socket for the samples' folder, whether a watch is there or not: in the user's run-time folder
/// ($XDG_RUNTIME_DIR), or in one of /tmp that is the user's alone, since a socket's path may have 107 bytes
/// and a study's folder may be deep. The same for every way of writing the folder. Makes the folder of the
/// socket. Fails with cannot_write where that is somebody else's or cannot be made.
[[nodiscard]] Expected<std::filesystem::path> socket_path(const std::filesystem::path& folder);

} // namespace backeddy::live
