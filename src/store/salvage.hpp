#pragma once
// What can still be read in the files of a damaged journal. Only bytes are read: nothing is opened, locked or
// changed.

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "store/entry.hpp"

namespace backeddy::store {

struct Salvaged {
    std::vector<Entry> standing;   ///< in order of arrival
    std::vector<Entry> kept_aside; ///< likewise
    std::string identity;          ///< the journal's; empty when it was not found
};

/// Every entry whose bytes are whole, wherever they lie in the file or in the write-ahead log beside it
/// ("-wal"): each byte of each page is tried as the beginning of a row, and what has the SHA-256 that stands
/// beside it is an entry. So it does not matter what else is damaged: the file's beginning, its tree of
/// pages, the log's sums. An entry that was never acknowledged may be among them.
/// Fails with file_unreadable where there is a file and it cannot be read; of no files, nothing comes out.
[[nodiscard]] Expected<Salvaged> salvage(const std::filesystem::path& file);

} // namespace backeddy::store
