#pragma once
// What became of every line of a file.

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "intake/dialect.hpp"
#include "series/instant.hpp"

namespace backeddy::intake {

/// A row that was not kept, and why. `raw` is its text, unprintable bytes as "\x00", cut after 400 characters
/// with the full length named.
struct RefusedRow {
    std::uint64_t line = 0;
    Error reason;
    std::string raw;
};

/// Refused rows that are not in the list, by stretches of lines that follow each other.
struct RefusedRange {
    std::uint64_t first_line = 0;
    std::uint64_t last_line = 0;
    std::uint32_t reason = 0; ///< index into ReadReport::beyond_reasons

    friend bool operator==(const RefusedRange&, const RefusedRange&) = default;
};

/// A line among the rows that is no row: a blank one is only counted; the header again, or a remark.
struct SetAside {
    std::uint64_t line = 0;
    std::string what;
    std::string raw;
};

/// The missing cells of one column: how often each not-a-number word stood there; and cells that are neither
/// numbers nor such words (the row is kept, the cell is missing).
struct MissingCells {
    std::string column;
    std::uint64_t count = 0;
    std::map<std::string, std::uint64_t> words;
    std::uint64_t unreadable = 0;
    std::vector<Error> unreadable_cells; ///< the first 20
};

/// A local hour that came twice, and how its rows were told apart.
struct FoldSeen {
    std::string stream;
    std::uint64_t first_line = 0;
    std::uint64_t rows = 0;
    std::string how;
};

/// Rows whose time equals that of the row before.
struct DuplicateTimes {
    std::string stream;
    std::uint64_t rows = 0;
    std::uint64_t first_line = 0;
};

/// The clock was set back: `rows` rows from `line` on repeat times already written and were refused.
struct ClockStep {
    std::string stream;
    std::uint64_t line = 0;
    Instant from;
    Instant to;
    std::uint64_t rows = 0;
};

struct GapSeen {
    std::string stream;
    std::uint64_t line = 0; ///< of the first row after it
    Instant from;
    Instant to;
    double usual_interval_s = 0.0;
};

struct IntervalChange {
    std::string stream;
    std::uint64_t line = 0; ///< of the first row at the new pace
    double before_s = 0.0;
    double after_s = 0.0;
};

/// One stream of a file: the whole of it, or one chamber of a long file.
struct StreamSummary {
    std::string name; ///< the chamber's value; empty when the file has one stream
    std::uint64_t rows = 0;
    Instant first;
    Instant last;
    double usual_interval_s = 0.0; ///< at its end
};

/// At most this many refused rows, the first of the file, are listed one by one; of further ones the lines
/// and the reason are kept (their text is in the file). intake/refusals.hpp puts both together by reason.
inline constexpr std::size_t most_rows_listed = 50'000;

/// rows == kept + refused.size() + refused_not_listed, and lines == before + blank + set_aside.size() + rows
/// (lines are more where quoted fields run over line ends).
struct ReadReport {
    std::string file;
    std::string sha256; ///< empty when not asked for
    std::uint64_t bytes = 0;
    std::uint64_t lines = 0;
    std::uint64_t before = 0; ///< preamble, header and units
    std::uint64_t blank = 0;
    std::uint64_t rows = 0;
    std::uint64_t kept = 0;
    std::vector<RefusedRow> refused; ///< in the order of the file
    std::uint64_t refused_not_listed = 0;
    std::vector<RefusedRange> refused_beyond; ///< those: ascending, apart
    std::vector<Error> beyond_reasons;        ///< each that of the first row it stands for
    std::vector<SetAside> set_aside;
    std::vector<MissingCells> missing; ///< per reading column, in the dialect's order
    std::vector<FoldSeen> folds;
    std::vector<DuplicateTimes> duplicates;
    std::vector<ClockStep> clock_steps;
    std::vector<GapSeen> gaps;
    std::vector<IntervalChange> interval_changes;
    std::vector<StreamSummary> streams;
    bool torn_last_line = false;
};

} // namespace backeddy::intake
