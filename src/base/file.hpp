#pragma once
// Whole small files in and out. Large traces have their own reader in intake/.

#include <filesystem>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace backeddy {

/// The file's bytes. Fails with file_missing or file_unreadable, naming the path as given.
[[nodiscard]] Expected<std::string> read_file(const std::filesystem::path& path);

/// Writes `bytes` beside `path` and renames over it, so that a reader sees the old file or the new one,
/// whole; the data are on disk before the rename. Fails with cannot_write.
[[nodiscard]] Expected<void> write_file_whole(const std::filesystem::path& path, std::string_view bytes);

} // namespace backeddy
