#pragma once
// How a file of delimited text is written: what the brief may say of it (ReadSettings) and what was found
// (Dialect).

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "intake/unit.hpp"
#include "series/instant.hpp"
#include "series/trace.hpp"

namespace backeddy::intake {

enum class Encoding : std::uint8_t { utf8, utf16_le, utf16_be, latin1 };
enum class LineEnd : std::uint8_t { lf, cr }; ///< lf stands for LF and CRLF; cr for a lone CR
enum class Delimiter : std::uint8_t { comma, semicolon, tab, spaces }; ///< spaces: runs of blanks and tabs
enum class DecimalMark : std::uint8_t { point, comma };
/// Whether a quoted field may run over a line end ("open_lines": such files are cut into records by one
/// thread).
enum class Quoting : std::uint8_t { none, fields, open_lines };
enum class DateOrder : std::uint8_t { year_month_day, day_month_year, month_day_year };
/// How moments are written.
enum class TimeForm : std::uint8_t {
    calendar,           ///< ISO 8601, or numbers or month names in some order, with a clock of 24 or 12 hours
    spreadsheet_days,   ///< days since 1899-12-30 (the 1900 system after February 1900), local
    epoch_seconds,      ///< since 1970-01-01 UTC
    epoch_milliseconds, ///< since 1970-01-01 UTC
    elapsed_seconds,    ///< since `start`
    elapsed_minutes,
    elapsed_hours,
    elapsed_clock, ///< h:mm:ss since `start`, hours may exceed 24
};
/// What a column is for.
enum class ColumnUse : std::uint8_t {
    time,        ///< the whole moment
    date,        ///< its date, when the clock has a column of its own
    time_of_day, ///< its clock, when the date has a column of its own
    half_day,    ///< am or pm of that clock, in a column of its own
    chamber,     ///< the name of the stream that the row belongs to
    oxygen,
    temperature,
    pressure,
    salinity,
    conductivity,
    pump,
    ignore, ///< read by nobody
};

/// The word of each choice in settings and messages ("comma", "utf8", "day_month_year", ...).
[[nodiscard]] std::string_view word_of(Encoding value);
[[nodiscard]] std::string_view word_of(LineEnd value);
[[nodiscard]] std::string_view word_of(Delimiter value);
[[nodiscard]] std::string_view word_of(DecimalMark value);
[[nodiscard]] std::string_view word_of(Quoting value);
[[nodiscard]] std::string_view word_of(DateOrder value);
[[nodiscard]] std::string_view word_of(TimeForm value);
[[nodiscard]] std::string_view word_of(ColumnUse value);

/// The choice that a setting's word names; fails with bad_setting, which lists the words and offers a near
/// one. For Encoding, Delimiter, DecimalMark, DateOrder, TimeForm and ColumnUse.
template <typename Choice>
[[nodiscard]] Expected<Choice> choice_from(std::string_view word);

/// What the brief says of one column ([[trace.column]]). It names the column by header (whole, or without its
/// unit, case ignored) or by index from 1.
struct ColumnSetting {
    std::string header;
    std::optional<std::size_t> index;
    std::optional<ColumnUse> use;
    std::string unit;    ///< empty: from the header
    std::string channel; ///< empty: the header
};

/// What a brief may say of a trace's files; all of it may be left to be found. Lines count from 1.
struct ReadSettings {
    std::optional<Encoding> encoding;
    std::optional<Delimiter> delimiter;
    std::optional<DecimalMark> decimal;
    std::optional<std::uint64_t> header_line; ///< 0: there is none
    std::optional<std::uint64_t> units_line;  ///< 0: there is none
    std::optional<std::uint64_t> first_data_line;
    std::optional<TimeForm> time_form;
    std::optional<DateOrder> date_order;
    std::string zone;       ///< the logger's: an IANA name, or an offset like "+01:00"
    std::string usual_zone; ///< the study's: used where neither `zone` nor the file says
    std::string start;      ///< where elapsed times begin: ISO 8601, local in `zone` without an offset
    std::vector<std::string> missing_words; ///< beside the usual ones ("NaN", "---", "Err", ...)
    std::vector<std::string> flush_words;   ///< beside the usual ones ("flush", "on", "open", "1", "true")
    std::vector<std::string>
        sealed_words; ///< beside the usual ones ("sealed", "off", "closed", "0", "false")
    std::vector<ColumnSetting> columns;
    double gap_factor = 3.0; ///< an interval longer than this many usual ones is a gap; > 1
    std::uint32_t source =
        0; ///< index of the file in the study's list of inputs; goes into chunks and pieces
};

enum class Origin : std::uint8_t { guessed, set };

/// One finding about a file: what, whether it was guessed from the file or set by the brief, and why.
template <typename T>
struct Finding {
    T value{};
    Origin origin = Origin::guessed;
    std::string evidence;

    friend bool operator==(const Finding&, const Finding&) = default;
};

/// One column as it was understood.
struct ColumnFinding {
    std::size_t index = 0; ///< from 1
    std::string header;    ///< as written; "column 3" when there is none
    ColumnUse use = ColumnUse::ignore;
    Origin origin = Origin::guessed;
    std::string evidence; ///< why this use and unit
    /// For readings (oxygen ... pump):
    ColumnKind kind = ColumnKind::oxygen_mg_per_l;
    Unit unit = Unit::mg_per_l;
    std::string channel;

    [[nodiscard]] bool is_reading() const { return use >= ColumnUse::oxygen && use <= ColumnUse::pump; }
    friend bool operator==(const ColumnFinding&, const ColumnFinding&) = default;
};

/// How one file is written.
struct Dialect {
    Finding<Encoding> encoding;
    std::uint8_t byte_order_mark_bytes = 0;
    Finding<LineEnd> line_end;
    Finding<Delimiter> delimiter;
    Finding<DecimalMark> decimal;
    Finding<Quoting> quoting;
    Finding<std::uint64_t> header_line;     ///< 0: none
    Finding<std::uint64_t> units_line;      ///< 0: none
    Finding<std::uint64_t> first_data_line; ///< from 1
    std::uint64_t first_data_byte = 0;
    std::size_t fields = 0; ///< per row
    std::size_t fewest_fields =
        0; ///< rows may end early down to this many: the columns after it are not read
    Finding<TimeForm> time_form;
    Finding<DateOrder> date_order;     ///< for calendar times
    bool date_order_is_proven = false; ///< by this file's own dates, so that it tells of the logger's others
    Finding<std::string> zone;         ///< IANA name; empty: times carry an offset or count from 1970 UTC
    Finding<std::int64_t> start_ns;    ///< for elapsed times
    std::vector<ColumnFinding> columns;
    std::string header_text; ///< the header's line as it stands, by which a repetition is known
    std::string units_text;
    std::vector<std::string> preamble; ///< the first lines before the header, at most 100
    std::vector<std::string> missing_words;
    std::vector<std::string> flush_words;
    std::vector<std::string> sealed_words;
    /// What the last read column looks like in the sample, by which a last line without its line end is
    /// judged.
    std::size_t last_field_decimals = 0;
    std::size_t last_field_characters = 0;
    std::int64_t usual_interval_ns = 0;       ///< between rows of one stream, in the sample; 0 when not known
    std::vector<std::uint64_t> record_starts; ///< for Quoting::open_lines: bytes where a block may begin
};

} // namespace backeddy::intake
