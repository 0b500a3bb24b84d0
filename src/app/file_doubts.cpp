#include "app/file_doubts.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "intake/second_header.hpp"

namespace backeddy::app {

namespace {

constexpr double long_gap_days = 10.0;
/// A date with day and month exchanged lies on the heels of the row before: within this (choice).
constexpr double same_day_h = 36.0;
/// Refused rows that a person should hear of: so many, and more than this share of the file (choice).
constexpr std::uint64_t least_refused = 10;
constexpr double refused_share = 0.01;

study::Complaint complaint(study::Severity severity, std::string path, std::optional<std::uint64_t> line,
                           std::string column, Error error) {
    error.place = {.file = std::move(path), .line = line, .column = std::move(column)};
    return {.severity = severity, .error = std::move(error)};
}

void second_headers(std::vector<study::Complaint>& out, const RawFile& file) {
    for (const auto& row : file.report->refused) {
        const auto changes = intake::second_header(*file.dialect, row);
        if (!changes) {
            continue;
        }
        out.push_back(complaint(
            study::Severity::stops_the_run, file.path, row.line, {},
            {.code = ErrorCode::bad_row,
             .found = fmt::format("another header among the rows: {}", *changes),
             .expected =
                 fmt::format("one header, that of line {}: the rows below this one would be read by it",
                             file.dialect->header_line.value),
             .remedy =
                 "cut a copy of the file in two before this line; where columns or units differ, the two "
                 "need a [[trace]] each and the assembly a row for each"}));
        return; // each that follows has the same cause
    }
}

/// The moment with day and month of its date exchanged; nothing where there is no such date.
std::optional<Instant> day_for_month(Instant at) {
    const std::string text = iso_text(at); // yyyy-mm-ddThh...
    if (text.size() < 10 || text[4] != '-' || text[7] != '-') {
        return std::nullopt;
    }
    return parse_iso(text.substr(0, 5) + text.substr(8, 2) + "-" + text.substr(5, 2) + text.substr(10));
}

/// Whether exchanging day and month brings `to` to just after `from`, by the local date of some zone.
std::optional<Instant> other_reading(Instant from, Instant to) {
    for (int hours = -12; hours <= 14; ++hours) {
        const auto offset = Duration::hours(static_cast<double>(hours));
        const auto local = day_for_month(to + offset);
        if (!local) {
            continue;
        }
        const Instant other = *local - offset;
        if (other != to && other >= from && (other - from).seconds() <= same_day_h * 3600.0) {
            return other;
        }
    }
    return std::nullopt;
}

void long_gaps(std::vector<study::Complaint>& out, const RawFile& file) {
    const bool has_dates = file.dialect->time_form.value == intake::TimeForm::calendar;
    for (const auto& gap : file.report->gaps) {
        const double days = (gap.to - gap.from).seconds() / 86400.0;
        if (days <= long_gap_days) {
            continue;
        }
        if (const auto other = has_dates ? other_reading(gap.from, gap.to) : std::nullopt) {
            out.push_back(complaint(
                study::Severity::stops_the_run, file.path, gap.line, {},
                {.code = ErrorCode::ambiguous_time,
                 .found =
                     fmt::format("time jumps from {} to {}; with day and month exchanged it is {} and goes "
                                 "on",
                                 iso_text(gap.from), iso_text(gap.to), iso_text(*other)),
                 .expected = fmt::format("one order of day and month in a file: {} by its first rows",
                                         intake::word_of(file.dialect->date_order.value)),
                 .remedy =
                     "look whether a spreadsheet rewrote the dates from this line on; cut a copy of the "
                     "file in two there and give each part a [[trace]] with its date_order"}));
            continue;
        }
        out.push_back(complaint(
            study::Severity::warning, file.path, gap.line, {},
            {.code = ErrorCode::bad_time,
             .found = fmt::format("nothing for {} days, from {} to {}", significant_text(days, 3),
                                  iso_text(gap.from), iso_text(gap.to)),
             .expected = fmt::format("rows of one campaign in one file: a hole of over {} days may be "
                                     "a date that was read wrongly",
                                     fixed_text(long_gap_days, 0)),
             .remedy = "look at the dates on both sides; nothing, if the logger rested"}));
    }
}

void poor_columns(std::vector<study::Complaint>& out, const RawFile& file) {
    const auto& report = *file.report;
    for (const auto& column : report.missing) {
        const bool is_empty = report.kept > 0 && column.count >= report.kept;
        if (!is_empty && column.unreadable == 0) {
            continue;
        }
        const auto& cells = column.unreadable_cells;
        const bool has_cell = !cells.empty();
        std::string found =
            is_empty ? fmt::format("none of {} rows has a reading here", report.kept)
                     : fmt::format("{} of {} cells cannot be read", column.unreadable, report.kept);
        if (has_cell) {
            found += fmt::format(", the first: {}", cells.front().found);
        }
        out.push_back(complaint(
            study::Severity::warning, file.path, has_cell ? cells.front().place.line : std::nullopt,
            column.column,
            {.code = is_empty ? ErrorCode::too_few : ErrorCode::bad_number,
             .found = std::move(found),
             .expected =
                 has_cell ? cells.front().expected : "readings; whatever rests on this column has none",
             .remedy = has_cell ? cells.front().remedy
                                : fmt::format("look whether the sensor was plugged in, and at decimal and "
                                              "missing_words of the brief's [[trace]] \"{}\"",
                                              file.trace)}));
    }
}

void many_refused(std::vector<study::Complaint>& out, const RawFile& file) {
    const auto& report = *file.report;
    const std::uint64_t refused = report.refused.size() + report.refused_not_listed;
    const std::uint64_t rows = report.kept + refused;
    if (refused < least_refused ||
        static_cast<double>(refused) <= refused_share * static_cast<double>(rows)) {
        return;
    }
    const auto& first = report.refused.front();
    out.push_back(complaint(
        study::Severity::warning, file.path, first.line, {},
        {.code = ErrorCode::bad_row,
         .found = fmt::format("{} of {} rows are refused; the first: {}", refused, rows, first.reason.found),
         .expected = "rows that can be read: what is refused is missing from the stays",
         .remedy = "look at their reasons above, or in refused_rows.csv beside the results; mend a copy of "
                   "the file, or the trace's settings in the brief"}));
}

} // namespace

std::vector<study::Complaint> doubts_of(const RawFile& file) {
    std::vector<study::Complaint> out;
    if (!file.report || !file.dialect) {
        return out;
    }
    second_headers(out, file);
    long_gaps(out, file);
    poor_columns(out, file);
    many_refused(out, file);
    return out;
}

} // namespace backeddy::app
