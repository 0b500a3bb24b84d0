#pragma once
// SHA-256, so that a number can name the bytes it came from.

#include <filesystem>
#include <span>
#include <string>

#include "base/error.hpp"

namespace backeddy {

/// 64 lower-case hexadecimal digits (FIPS 180-4).
[[nodiscard]] std::string sha256_hex(std::span<const std::byte> bytes);
[[nodiscard]] std::string sha256_hex(std::string_view text);

/// Of a whole file, read in blocks. Fails with file_missing or file_unreadable.
[[nodiscard]] Expected<std::string> sha256_of_file(const std::filesystem::path& path);

} // namespace backeddy
