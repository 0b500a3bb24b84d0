#pragma once
// Entries as they come from other devices: over the wire, or in a queue file that somebody carried here.
//
//   auto entries = read_carried(body);                 // {"entries": [...]}, or an Error
//   auto file = read_queue_file(text);                 // the same with photos, and whose it is
//
// docs/journal.md has both forms. An entry is read whole or not at all: its hash is of every byte.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "store/entry.hpp"

namespace backeddy::store {

/// Most entries that are carried over the wire at once, either way.
inline constexpr std::size_t most_carried = 1'000;

/// The entry as JSON: an object on one line.
[[nodiscard]] std::string carried_text(const Entry& entry);

/// Of {"entries": [...]}. Fails with bad_text where it is no such text, naming the entry by its place from 1
/// and the field; with what check says of an entry; with out_of_range for more than most_carried.
[[nodiscard]] Expected<std::vector<Entry>> read_carried(std::string_view body);

struct QueuePhoto {
    std::string sha256; ///< as the file names it: not checked yet
    std::string bytes;
};

/// All that a device has not seen acknowledged, written to a file on it.
struct QueueFile {
    std::string study;    ///< title, as the device knew it
    std::string identity; ///< of the study's journal, 16 digits
    std::string device;
    std::int64_t made_us = 0;
    std::vector<Entry> entries;
    std::vector<QueuePhoto> photos; ///< by their hashes
};

/// Any bytes are taken. Fails as read_carried does, but for the number of entries.
[[nodiscard]] Expected<QueueFile> read_queue_file(std::string_view text);

} // namespace backeddy::store
