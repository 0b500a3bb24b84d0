#pragma once
// The two things of the machine that the store asks for: the time, and that a folder's names be on disk.

#include <filesystem>
#include <functional>

#include "series/instant.hpp"

namespace backeddy::store::detail {

/// By `clock`, or where it is empty by the machine's.
[[nodiscard]] Instant now_by(const std::function<Instant()>& clock);

/// The folder in which the file lies: "." where its path names none.
[[nodiscard]] std::filesystem::path folder_of(const std::filesystem::path& file);

/// So that new names in the folder outlive a power cut. Where a file system cannot do that, nothing is said:
/// the files' contents have been synced by themselves.
void sync_folder(const std::filesystem::path& folder);

} // namespace backeddy::store::detail
