#pragma once
// A result set is written beside its place and swapped in whole, or not at all.
//
// Beside `results/` a folder `.results.new-<process>-<n>` is made, under a name that was free. It holds a
// marker file, by which a later run knows it for ours, and `set/`, the new files. `set` and `results` change
// places in one step; then the earlier set is taken away, file by file, each by a name we write. Nothing is
// ever deleted with all it holds, and nothing that is not known to be ours. What a run that was killed leaves
// behind is cleared away by the next one, but for an empty folder of one that had just begun or was just at
// its end.

#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"

namespace backeddy::app {

struct ResultFile {
    std::string name; ///< plain file name, no folder in it
    std::string bytes;
};

/// By what a folder is known to hold an earlier result set and nothing else: each entry a regular file of one
/// of these names, and the file `proof` among them, whose text, blanks left out, begins with `proof_head`.
struct ResultMarks {
    std::vector<std::string> names;
    std::string proof;
    std::string proof_head;
};

/// Those of this program's results.
[[nodiscard]] const ResultMarks& result_marks();

enum class Swap : std::uint8_t {
    exchange_if_possible, ///< two renames only where the file system cannot exchange two folders
    two_renames,          ///< for a moment there is no set; a later run puts the earlier one back
};

struct ReplaceWork {
    std::chrono::milliseconds patience{30'000}; ///< how long another run that writes there is waited for
    Swap swap = Swap::exchange_if_possible;
};

/// Replaces the contents of `folder` by `files` in one step: a reader sees the old set or the new one. Runs
/// that write into the same parent folder do so one after the other. Fails with bad_usage where `folder` is
/// no folder or holds what `marks` do not show to be ours (nothing is touched then), with cannot_write where
/// it cannot be written or another run does not come to its end.
[[nodiscard]] Expected<void> replace_result_folder(const std::filesystem::path& folder,
                                                   const std::vector<ResultFile>& files,
                                                   const ResultMarks& marks = result_marks(),
                                                   const ReplaceWork& work = {});

/// Whether `folder` is free, empty, or holds an earlier result set alone. Fails with bad_usage.
[[nodiscard]] Expected<void> may_replace_results(const std::filesystem::path& folder,
                                                 const ResultMarks& marks = result_marks());

/// Whether `out` may take the results of the study in `study`: not the study folder itself, nor a folder
/// above it, nor its raw folder. Fails with bad_usage.
[[nodiscard]] Expected<void> may_hold_results(const std::filesystem::path& out,
                                              const std::filesystem::path& study);

} // namespace backeddy::app
