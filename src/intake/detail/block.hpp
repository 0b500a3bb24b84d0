#pragma once
// The lines of one block to rows in columns, stream by stream. Blocks know nothing of each other: line
// numbers count from the block's first line, and whether times run forward is for detail/sequence to say.

#include <cstdint>
#include <deque>
#include <map>
#include <string>
#include <vector>

#include "intake/detail/row_reader.hpp"
#include "intake/detail/text_source.hpp"
#include "intake/read_report.hpp"
#include "intake/trace_reader.hpp"
#include "series/trace.hpp"

namespace backeddy::intake {

/// A row whose local hour came twice: its time in the chunk is the first reading.
struct TwiceRow {
    std::size_t row = 0;
    std::int64_t later_ns = 0;
};

/// Rows of one stream of one block. While rows are added, `data` has room for more than `rows`; trim() ends
/// that.
struct BlockChunk {
    std::size_t stream = 0; ///< index into ParsedBlock::streams
    std::size_t rows = 0;
    TraceChunk data; ///< lines from 0 within the block
    std::vector<TwiceRow> twice;
    std::uint64_t next_line = 0; ///< where the next row would continue the last piece

    void begin(std::size_t of_stream, std::size_t columns, std::size_t room);
    void make_room();
    /// To be called when the row's time and values stand in data: keeps the pieces.
    void count_row(std::uint64_t line) {
        if (line != next_line || rows == 0) {
            turn_piece(line);
        } else {
            next_line += data.pieces.back().line_step;
        }
        ++rows;
    }
    void trim();

  private:
    void turn_piece(std::uint64_t line);
};

struct UnreadableInBlock {
    std::uint64_t line = 0;
    UnreadableCell cell;
};

/// What became of the lines of one block. Kept between blocks for its memory.
struct ParsedBlock {
    LineBlock lines;
    bool is_last = false;

    std::vector<std::string> streams; ///< names; those of earlier blocks too
    std::vector<std::size_t> current; ///< per stream: its chunk being filled, plus 1; 0 for none
    std::deque<BlockChunk> chunks;    ///< the first `chunks_used` count
    std::size_t chunks_used = 0;
    std::uint64_t line_count = 0;
    std::uint64_t blank = 0;
    std::uint64_t rows = 0;
    std::vector<RefusedRow> refused;
    std::vector<SetAside> set_aside;
    std::vector<UnreadableInBlock> unreadable; ///< the first 20 of each reading
    std::vector<MissingCount> missing;
    bool torn_last_line = false;

    [[nodiscard]] std::size_t stream_named(std::string_view name);
    /// The chunk of `stream` with room for one more row.
    [[nodiscard]] BlockChunk& chunk_for(std::size_t stream, const Plan& plan);
    void clear();
};

/// Fills `block` from its lines.
void parse_block(const Plan& plan, RowReader& reader, ReadPaths paths, ParsedBlock& block);

} // namespace backeddy::intake
