#pragma once
// Start here: reading a logger's file, whatever its dialect.
//
//   ReadSettings settings{.zone = "Europe/Oslo"};           // what the brief says; may be all defaults
//   auto file = load_trace("raw/boat/day1.csv", settings);   // Expected<TraceFile>
//   for (const auto& stream : file->streams) ...             // one Trace, or one per chamber of a long file
//   for (const auto& line : in_words(file->dialect, file->report)) ...
//
// Or by hand: detect() finds how the file is written, read_trace() then gives chunks to a sink, in bounded
// memory. Bytes become lines (detail/text_source), lines fields (detail/fields), fields typed cells
// (detail/cells, detail/moment), cells rows of a block (detail/block), and rows one ordered stream
// (detail/sequence).

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "intake/dialect.hpp"
#include "intake/read_report.hpp"
#include "series/trace.hpp"

namespace backeddy::intake {

/// How the file is written. Reads its beginning and end; all of it only where day-first and month-first
/// cannot otherwise be told apart, or where quoted fields may run over line ends. Fails, naming what to set,
/// where something has two readings (ambiguous_time, bad_unit), or no time or no reading column is found
/// (missing_column).
[[nodiscard]] Expected<Dialect> detect(const std::filesystem::path& path, const ReadSettings& settings);

enum class Hashing : std::uint8_t { none, sha256 };
/// Plain lines have a fast way; the general way reads every line and gives the same (a test holds them
/// together).
enum class ReadPaths : std::uint8_t { plain_then_general, general_only };

/// How the work is done; nothing here can change what is read.
struct ReadWork {
    Threads threads{};
    std::size_t block_bytes = std::size_t{1} << 19;
    Hashing hashing = Hashing::sha256;
    ReadPaths paths = ReadPaths::plain_then_general;
};

/// Which stream a chunk belongs to: its number in order of first appearance in the file, and its name (the
/// chamber's value; empty when the file has no chamber column).
struct StreamId {
    std::uint32_t number = 0;
    std::string name;
};

/// Takes the chunks of each stream in file order; where one chunk ends and the next begins means nothing.
/// Called by one thread at a time, not always the same. The chunk is reused afterwards: copy what is to stay.
using ChunkSink = std::function<void(const StreamId&, const TraceChunk&)>;

/// Reads the file in blocks on all threads, in memory that does not grow with it. Fails only where the file
/// as a whole cannot be read; rows that cannot are in the report.
[[nodiscard]] Expected<ReadReport> read_trace(const std::filesystem::path& path, const ReadSettings& settings,
                                              const Dialect& dialect, const ReadWork& work,
                                              const ChunkSink& sink);

struct TraceFile {
    Dialect dialect;
    ReadReport report;
    std::vector<StreamId> ids; ///< of streams[i]
    std::vector<Trace> streams;
};

/// detect() and read_trace(), all of it gathered in memory.
[[nodiscard]] Expected<TraceFile> load_trace(const std::filesystem::path& path, const ReadSettings& settings,
                                             const ReadWork& work = {});

/// Puts a chunk at the end of a trace (the first one sets its headers).
void append(Trace& trace, const TraceChunk& chunk);

/// What was understood, for a person, one fact a line.
[[nodiscard]] std::vector<std::string> in_words(const Dialect& dialect);
/// Of the refused rows each reason with its count and lines, and behind it the first `listed_per_reason`
/// whole.
[[nodiscard]] std::vector<std::string> in_words(const ReadReport& report,
                                                std::size_t listed_per_reason = 200);

} // namespace backeddy::intake
