#pragma once
// Whether a study's folder is a place where a journal is safe.

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace backeddy::store {

enum class FolderKind : std::uint8_t {
    own_disk, ///< a file system of this machine, as far as is known
    network,  ///< another computer's
    program,  ///< served by a program (FUSE): a cloud's folder, another computer's, or a stick of another
              ///< format
};

/// By the number that statfs(2) gives as f_type. Numbers of <linux/magic.h> and of statfs(2)'s own table.
[[nodiscard]] FolderKind kind_of_file_system(std::uint64_t type);

/// Sentences for people, empty where nothing is to be said: the folder's kind, and files beside the journal
/// that look like conflicting copies of it, which a service that copies folders between computers makes.
/// Nothing is opened for writing, and nothing is said of a folder that is not there.
[[nodiscard]] std::vector<std::string> folder_warnings(const std::filesystem::path& journal_file);

} // namespace backeddy::store
