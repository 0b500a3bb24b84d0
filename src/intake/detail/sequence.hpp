#pragma once
// Blocks in the order of the file to streams whose times run forward: local hours that came twice are told
// apart, rows that run backward are refused, gaps and changes of pace are noted.

#include <cstdint>
#include <map>
#include <string>
#include <unordered_map>
#include <vector>

#include "intake/detail/block.hpp"
#include "intake/read_report.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::intake {

class Sequence {
  public:
    Sequence(const Plan& plan, double gap_factor, const ChunkSink& sink);

    /// The next block of the file.
    void take(ParsedBlock& block);
    /// After the last block: what was held back is decided, and the report closed (refused rows by line;
    /// those refused here have no raw text yet, since their block is gone).
    void finish();

    [[nodiscard]] ReadReport& report() { return report_; }

  private:
    /// One row on its way, out of its chunk.
    struct Row {
        std::int64_t time_ns = 0;
        std::int64_t later_ns = 0;
        bool is_twice = false;
        std::uint64_t line = 0;
        std::vector<double> values;
    };
    enum class Holding : std::uint8_t {
        nothing,
        jump, ///< one row far ahead of the one before: a gap, or a row with a wrong time
        fold, ///< rows of a local hour that came twice, until the hour is over
    };
    struct Stream {
        StreamId id;
        bool any = false;
        std::int64_t last_ns = 0;
        std::int64_t first_ns = 0;
        std::uint64_t rows = 0;
        std::int64_t usual_ns = 0; ///< the interval that counts as usual now
        std::int64_t candidate_ns =
            0; ///< another interval that has been seen `candidate_count` times running
        std::uint32_t candidate_count = 0;
        std::uint64_t candidate_line = 0;
        Holding holding = Holding::nothing;
        std::vector<Row> held;
        bool stepping = false; ///< rows run backward just now
        ClockStep step;
        std::size_t duplicates = 0; ///< index into report.duplicates, plus 1
        BlockChunk out;             ///< rows decided one by one, not yet given away
    };

    Stream& stream_named(const std::string& name);
    void take_chunk(Stream& stream, BlockChunk& chunk);
    bool runs_forward(const Stream& stream, const BlockChunk& chunk) const;
    void feed(Stream& stream, Row row);
    void place(Stream& stream, Row row);
    void accept(Stream& stream, const Row& row);
    void resolve_fold(Stream& stream, const Row* next);
    void note_interval(Stream& stream, std::int64_t time_ns, std::uint64_t line);
    void note_long_or_short(Stream& stream, std::int64_t interval, std::int64_t time_ns, std::uint64_t line);
    void list(RefusedRow row);
    void note_beyond(const RefusedRow& row);
    void close_beyond();
    void refuse(const Row& row, Error reason);
    void refuse_backward(Stream& stream, const Row& row);
    void end_step(Stream& stream);
    void flush(Stream& stream);
    void give(Stream& stream, TraceChunk& chunk);

    const Plan& plan_;
    const ChunkSink& sink_;
    double gap_factor_;
    bool notes_pace_;
    std::uint64_t lines_before_ = 0; ///< the file's lines before the block at hand
    std::vector<ColumnHeader> headers_of(const std::string& name) const;
    std::vector<Stream> streams_;
    std::unordered_map<std::string, std::size_t> by_name_;
    ReadReport report_;
    std::map<std::string, std::uint32_t> beyond_; ///< index into report_.beyond_reasons by reason_key()
};

} // namespace backeddy::intake
