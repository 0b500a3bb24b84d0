#pragma once
// A result set is written beside its place and swapped in whole, or not at all.

#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"

namespace backeddy::app {

struct ResultFile {
    std::string name; ///< plain file name, no folder in it
    std::string bytes;
};

/// Replaces the contents of `folder` by `files` in one rename: a reader sees the old set or the new one.
/// Files that are not in `known_names` are somebody's own: when `folder` holds one, nothing is written
/// (bad_usage names it). Fails with cannot_write, and then the old set stands untouched.
[[nodiscard]] Expected<void> replace_result_folder(const std::filesystem::path& folder,
                                                   const std::vector<ResultFile>& files,
                                                   const std::vector<std::string>& known_names);

/// Whether `out` may take the results of the study in `study`: not the study folder itself, nor a folder
/// above it, nor its raw folder. Fails with bad_usage.
[[nodiscard]] Expected<void> may_hold_results(const std::filesystem::path& out,
                                              const std::filesystem::path& study);

} // namespace backeddy::app
