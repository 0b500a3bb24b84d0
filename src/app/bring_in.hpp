#pragma once
// Bringing a logger's file into a study: what the reader makes of it, shown first, and then, by a person's
// word, a copy of it below raw/ and, where no [[trace]] of the brief takes it there, a new one at the brief's
// end.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "intake/read_report.hpp"
#include "series/instant.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// A file that somebody offers; it lies outside of the study.
struct OfferedFile {
    std::filesystem::path path;
    std::string name; ///< as it was called where it comes from, without folders
};

/// One column as the reader understood it.
struct SeenColumn {
    std::size_t index = 0; ///< from 1
    std::string header;
    std::string use;     ///< "oxygen", "time", "ignore" ...
    std::string unit;    ///< of readings, as the file writes them; else empty
    std::string channel; ///< of readings
    std::string why;     ///< what told it so
    bool is_set = false; ///< by the settings, not found
};

/// One row as it was read.
struct SeenRow {
    std::uint64_t line = 0;
    std::string stream; ///< the chamber's value in a long file
    Instant at;
    std::vector<std::optional<double>> values; ///< one for each of FileLook::readings; nothing: missing
};

/// Where a trace that the brief has would take the file.
struct TakingPlace {
    std::string trace;
    std::string place; ///< "raw/boat/day9.csv"
};

/// What the reader makes of an offered file.
struct FileLook {
    std::string name;
    std::uint64_t bytes = 0;
    std::string sha256;
    /// Why it cannot be read as it is, and what to set; the rest is then empty.
    std::optional<Error> stop;
    std::vector<std::string> understood; ///< one fact a line
    std::vector<std::string> told;       ///< what became of the rows, one fact a line
    std::vector<SeenColumn> columns;
    std::vector<std::string> readings; ///< "O2 (mg/L)": names of the values of `first_rows`, in their units
    std::vector<SeenRow> first_rows;   ///< at most ten of each stream, by line
    std::vector<intake::StreamSummary> streams;
    std::vector<TakingPlace> places;
};

/// How the file is to be read: as a [[trace]] that the brief has, or by settings of its own. Neither: by what
/// the reader finds alone, in the study's zone.
struct LookWish {
    std::string trace;    ///< name of one in the brief
    std::string settings; ///< JSON object: the keys of a [[trace]], and "column": an array of objects
};

/// Reads the file through. Fails with unknown_name for a trace that the brief has not (near names offered),
/// with bad_setting where the settings are none, and as the brief's reader does; a file that cannot be read
/// is no failure but a look that says why.
[[nodiscard]] Expected<FileLook> look_into(const std::filesystem::path& folder, const OfferedFile& file,
                                           const LookWish& wish, Threads threads);

struct TakeWish {
    std::string place;    ///< inside the study, below raw/: "raw/boat/day9.csv"
    std::string settings; ///< of a new [[trace]], as LookWish has them; empty: one of the brief's takes it
};

/// What taking in would do, checked in advance.
struct Taking {
    std::filesystem::path from;
    std::string place;
    std::string sha256;
    std::string brief_was_sha256;
    std::string brief; ///< its new text; empty: it stays as it is
};

/// Checks that the place is free (or holds this very file), lies below raw/ in the folder, and that exactly
/// one [[trace]] takes it there, with its settings in order. Fails with bad_setting, duplicate or
/// unknown_name, saying which.
[[nodiscard]] Expected<Taking> plan_taking(const std::filesystem::path& folder, const OfferedFile& file,
                                           const TakeWish& wish);

/// Puts the file in its place, on disk when it returns, then the brief. A file that is there already is left.
/// Fails with cannot_write, and with bad_relation where somebody has changed the brief since the plan.
[[nodiscard]] Expected<void> take_in(const std::filesystem::path& folder, const Taking& taking);

} // namespace backeddy::app
