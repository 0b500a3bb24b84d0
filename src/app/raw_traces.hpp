#pragma once
// The raw files of a study, read: streams of columns with their clocks put right, and the way to find one
// channel among them.

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "app/progress.hpp"
#include "app/study.hpp"
#include "base/parallel.hpp"
#include "intake/trace_reader.hpp"
#include "series/clock_correction.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::app {

/// One raw file as it was understood.
struct RawFile {
    std::string path;  ///< inside the study folder
    std::string trace; ///< name of the [[trace]] it belongs to
    std::string clock; ///< how its clock was put right, one sentence
    std::optional<intake::Dialect> dialect;
    std::optional<intake::ReadReport> report;
};

/// One stream of one file. Times are corrected UTC, ascending; `shift` of the clock is in them already.
struct RawStream {
    std::string trace;
    std::string name; ///< the chamber's value in a long file; empty otherwise
    std::size_t file = 0;
    Trace data;
    double clock_uncertainty_s = 0.0; ///< at its middle
    bool clock_checked = false;
};

struct RawTraces {
    std::vector<RawFile> files;
    std::vector<RawStream> streams;
    std::vector<study::Complaint> complaints;
};

/// Whether any stay is in this row's assembly while the row holds.
[[nodiscard]] bool is_in_use(const study::Assembly& row, const Study& study);

/// Finds, detects and reads every file that the brief names. A file that cannot be read, a pattern that
/// matches nothing and a clock whose checks contradict each other are complaints; the others go on.
[[nodiscard]] RawTraces read_raw_traces(const std::filesystem::path& folder, const Study& study,
                                        Threads threads, const Progress& progress);

/// A piece of a channel: column `column` of `streams[stream]`.
struct ChannelPiece {
    std::size_t stream = 0;
    std::size_t column = 0;
};

/// Which kinds of column may answer for a channel of the assemblies' table.
enum class ChannelFor : std::uint8_t { oxygen, temperature, pump, salinity, pressure };

/// Every piece of the channel `name`, by time. `name.channel` may be a column's channel ("O2_1"), the value
/// of a long file's chamber column ("3"), or empty when the trace has only one column of the kind. Fails with
/// unknown_name (listing what there is) or bad_relation (more than one fits).
[[nodiscard]] Expected<std::vector<ChannelPiece>> find_channel(const RawTraces& traces,
                                                               const study::Channel& name, ChannelFor what);

/// What the logger of this channel took the water to be: said of the column in [[trace.column]], else of its
/// whole [[trace]]; nothing where the brief says nothing.
struct AssumedByLogger {
    std::optional<Salinity> salinity;
    std::optional<Pressure> pressure;
};
[[nodiscard]] AssumedByLogger assumed_by_logger(const Study& study, const RawTraces& traces,
                                                const ChannelPiece& piece);

/// The unit in which the file writes this channel.
[[nodiscard]] std::optional<intake::Unit> unit_of(const RawTraces& traces, const ChannelPiece& piece);

} // namespace backeddy::app
