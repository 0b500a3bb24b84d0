#pragma once
// Results that still hold. Beside the journal lies a list of what the folder's results were made of: the
// SHA-256 of each file of the study, of the journal's entries and of the results themselves. Where all of it
// still is as it was, a study that is opened shows its results at once, and computes afterwards what it needs
// to go on. The list may be deleted at any time; one that is damaged, of another version of the program, or
// of anything that has changed since, says nothing.

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "app/journal.hpp"
#include "app/result_folder.hpp"
#include "base/error.hpp"
#include "base/parallel.hpp"
#include "report/results.hpp"

namespace backeddy::app {

/// Below the study's folder; hidden, so that no watch of the folder takes it for a part of the study.
inline constexpr const char* made_of_path = ".cache/made_of.sha256";

/// Of the journal as it was read, with what there was to say of it.
[[nodiscard]] std::string journal_sha256(const JournalRead& journal);

/// Keeps what `files`, which lie in the folder's `results`, were made of: `inputs` as the results list them,
/// each by the hash it had when it was read, and all other files of the folder as they are now. Fails with
/// cannot_write, which costs nobody more than time.
[[nodiscard]] Expected<void> keep_made_of(const std::filesystem::path& folder,
                                          std::span<const report::Input> inputs, const std::string& journal,
                                          std::span<const ResultFile> files, Threads threads);

/// The files of the folder's `results`, in their order, where they were made by this version of the program
/// of what the folder holds now, to the last bit; else nothing.
[[nodiscard]] std::optional<std::vector<ResultFile>> kept_results(const std::filesystem::path& folder,
                                                                  Threads threads);

} // namespace backeddy::app
