#pragma once
// Whole small files in and out. Large traces have their own reader in intake/.

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "base/error.hpp"

namespace backeddy {

/// The file's bytes. Fails with file_missing or file_unreadable, naming the path as given; folders, pipes and
/// devices are refused, never waited for, and so is a file of more than `most_bytes`.
[[nodiscard]] Expected<std::string> read_file(const std::filesystem::path& path,
                                              std::uint64_t most_bytes = UINT64_MAX);

/// "this is a folder", "this is a pipe" ... from a stat's mode, for messages.
[[nodiscard]] std::string what_it_is(unsigned mode);

/// Makes the file with `bytes`, on disk when it returns. Fails with cannot_write, also where something of
/// that name is there already: then that is not touched, and what was half made is taken away.
[[nodiscard]] Expected<void> write_new_file(const std::filesystem::path& path, std::string_view bytes);

/// Writes `bytes` beside `path`, under a name that is free, and renames over it, so that a reader sees the
/// old file or the new one, whole; the data are on disk before the rename, and the rename when it returns.
/// Fails with cannot_write.
[[nodiscard]] Expected<void> write_file_whole(const std::filesystem::path& path, std::string_view bytes);

} // namespace backeddy
