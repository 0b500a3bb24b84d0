#pragma once
// A queue file brought into a study: what would come in, and the taking in.

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "app/journal.hpp"
#include "base/error.hpp"
#include "store/carried.hpp"

namespace backeddy::app {

/// Largest queue file that is read (its photos are in it).
inline constexpr std::uint64_t most_queue_bytes = std::uint64_t{256} << 20;

struct QueueLook {
    bool is_of_this_study = false;
    std::set<std::string> authors;
    std::size_t added = 0;      ///< entries that the journal has not
    std::size_t duplicates = 0; ///< entries that it has
    std::size_t differing = 0;  ///< entries that would be kept aside: another one stands under their id
    std::size_t photos_added = 0;
};

/// What taking it in would do. `standing`: the journal's entries, `identity`: its own.
[[nodiscard]] QueueLook look_at_queue(const std::filesystem::path& folder, const store::QueueFile& file,
                                      std::span<const store::Entry> standing, const std::string& identity);

/// Fails with bad_relation where the file is another study's.
[[nodiscard]] Expected<void> is_of_study(const store::QueueFile& file, const std::string& identity);

struct PhotosTaken {
    std::size_t added = 0;
    std::size_t were_there = 0;
    std::vector<std::string> refused; ///< why, in words that name the photo
};

/// Its photos, each kept or refused by itself: entries that name one that was refused are in all the same.
[[nodiscard]] PhotosTaken take_in_photos(const std::filesystem::path& folder, const store::QueueFile& file);

} // namespace backeddy::app
