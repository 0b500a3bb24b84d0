#pragma once
// The bytes of a segment file: blocks one after the other, each with its own checksum, so that each can be
// believed or not by itself.
//
//   magic 8 | bytes of the payload 4 | pieces 4 | number of the first piece 8 | SHA-256, first half, 16 |
//   payload
//
// Integers are little-endian; the checksum is of what stands before it and the payload. A head block has no
// pieces, the number of the next one, and JSON as its payload; a data block's payload is its pieces, each
//
//   source 2 | bytes 4 | received 8 | monotonic 8 | bytes

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "store/segment.hpp"

namespace backeddy::store::detail {

/// A block's payload is cut near here (choice: small enough to be checked at once).
inline constexpr std::size_t block_bytes = std::size_t{1} << 20;

[[nodiscard]] std::string head_block(const SegmentHead& head, std::uint64_t next_number);

/// As many of the pieces as one block takes, at least one, and how many they were.
struct DataBlock {
    std::string bytes;
    std::size_t pieces = 0;
};
[[nodiscard]] DataBlock data_block(std::span<const Heard> pieces);

struct Block {
    std::size_t bytes = 0; ///< with all that stands around its payload
    std::uint64_t first = 0;
    std::optional<SegmentHead> head; ///< of a head block; then no pieces
    std::vector<Heard> pieces;
};
/// The bytes end before the block does.
struct Unfinished {};
/// These bytes are no block.
struct NoBlock {};

[[nodiscard]] std::variant<Block, Unfinished, NoBlock> read_block(std::string_view bytes);

/// Where the next sound block begins behind the first byte; npos where there is none.
[[nodiscard]] std::size_t find_block(std::string_view bytes);

/// "000017.segment"
[[nodiscard]] std::string file_name(std::uint64_t counter);
/// The counters of the files in a folder, ascending. Fails with file_unreadable.
[[nodiscard]] Expected<std::vector<std::uint64_t>> counters_in(const std::filesystem::path& folder);

} // namespace backeddy::store::detail
