#include "intake/detail/row_reader.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "intake/detail/number.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

std::string times_in_words(const Dialect& dialect) {
    switch (dialect.time_form.value) {
    case TimeForm::calendar: {
        const char* order = dialect.date_order.value == DateOrder::day_month_year   ? "day, month, year"
                            : dialect.date_order.value == DateOrder::month_day_year ? "month, day, year"
                                                                                    : "year, month, day";
        return fmt::format("dates are {} {}", order, in_brackets(dialect.date_order.origin));
    }
    case TimeForm::spreadsheet_days:
        return fmt::format("times are spreadsheet day numbers {}", in_brackets(dialect.time_form.origin));
    case TimeForm::epoch_seconds:
        return fmt::format("times are seconds since 1970 UTC {}", in_brackets(dialect.time_form.origin));
    case TimeForm::epoch_milliseconds:
        return fmt::format("times are milliseconds since 1970 UTC {}", in_brackets(dialect.time_form.origin));
    case TimeForm::elapsed_seconds:
        return fmt::format("times are seconds since the start {}", in_brackets(dialect.time_form.origin));
    case TimeForm::elapsed_minutes:
        return fmt::format("times are minutes since the start {}", in_brackets(dialect.time_form.origin));
    case TimeForm::elapsed_hours:
        return fmt::format("times are hours since the start {}", in_brackets(dialect.time_form.origin));
    case TimeForm::elapsed_clock:
        return fmt::format("times are h:mm:ss since the start {}", in_brackets(dialect.time_form.origin));
    }
    return {};
}

RowReader::RowReader(const Plan& plan) : missing(plan.readings.size()), plan_(&plan), zone_(plan.zone) {}

bool RowReader::refuse(RowRead& row, ErrorCode code, std::string found, std::string expected,
                       std::string remedy, std::string column) {
    row.state = RowState::refused;
    row.reason = {.code = code,
                  .found = std::move(found),
                  .expected = std::move(expected),
                  .remedy = std::move(remedy),
                  .place = {.file = plan_->file, .column = std::move(column)}};
    return false;
}

// A line that is part of a file's furniture and not a row: the header or preamble again, after a restart; a
// remark.
bool RowReader::is_furniture(std::string_view line, RowRead& row) const {
    const auto set_aside = [&](const char* what) {
        row.state = RowState::set_aside;
        row.what = what;
        return true;
    };
    line = trimmed(line);
    const auto& dialect = plan_->dialect;
    if (!dialect.header_text.empty() && line == dialect.header_text) {
        return set_aside("the header again");
    }
    if (!dialect.units_text.empty() && line == dialect.units_text) {
        return set_aside("the units again");
    }
    if (std::any_of(dialect.preamble.begin(), dialect.preamble.end(),
                    [&](const std::string& each) { return trimmed(each) == line; })) {
        return set_aside("a line of the preamble again");
    }
    if (line.front() == '#' || line.starts_with("//")) {
        return set_aside("a remark");
    }
    return false;
}

void RowReader::read(std::string_view line, RowRead& row, std::vector<UnreadableCell>& unreadable) {
    row.state = RowState::kept;
    row.is_twice = false;
    if (line.find('\0') != std::string_view::npos) {
        const bool only = line.find_first_not_of('\0') == std::string_view::npos;
        refuse(row, ErrorCode::bad_text,
               only ? "this line is nothing but NUL bytes" : "there are NUL bytes in this row",
               "text; such bytes are left when a logger loses power while writing",
               "nothing needs doing: the row is lost, the others are read");
        return;
    }
    const SplitState split = fields_.split(line, plan_->delimiter, plan_->quoting);
    if (split != SplitState::whole) {
        refuse(row, ErrorCode::bad_row,
               split == SplitState::open_quote
                   ? "a quoted field is not closed on this line"
                   : "something stands between a closing quote and the next delimiter",
               fmt::format("fields quoted whole, parted by {} {}", word_of(plan_->delimiter),
                           in_brackets(plan_->dialect.delimiter.origin)),
               "mend the quotes in a copy of the file");
        return;
    }
    std::size_t count = fields_.size();
    while (count > plan_->fields && fields_[count - 1].empty()) {
        --count; // delimiters too many at the end of the line say nothing
    }
    if (count < plan_->fewest_fields || count > plan_->fields) {
        if (is_furniture(line, row)) {
            return;
        }
        refuse(row, ErrorCode::bad_row, fmt::format("this row has {} field{}", count, count == 1 ? "" : "s"),
               plan_->fewest_fields < plan_->fields
                   ? fmt::format("{} to {} fields, parted by {} {}", plan_->fewest_fields, plan_->fields,
                                 word_of(plan_->delimiter), in_brackets(plan_->dialect.delimiter.origin))
                   : fmt::format("{} fields, parted by {} {}", plan_->fields, word_of(plan_->delimiter),
                                 in_brackets(plan_->dialect.delimiter.origin)),
               count < plan_->fewest_fields
                   ? "the row was probably cut; if all rows are like this, set delimiter"
                   : "if all rows are like this, set delimiter or decimal");
        return;
    }
    if (!read_time(row)) {
        if (is_furniture(line, row)) {
            row.reason = {};
        }
        return;
    }
    row.chamber = {};
    if (plan_->chamber) {
        row.chamber = fields_[*plan_->chamber];
        if (row.chamber.empty() || !is_utf8(row.chamber)) {
            refuse(row, ErrorCode::bad_row,
                   row.chamber.empty() ? "the chamber is not named" : "the chamber's name is no UTF-8 text",
                   "a chamber's name in every row", "nothing tells to which chamber this row belongs",
                   plan_->name_of_field(*plan_->chamber));
            return;
        }
    }
    read_values(row, unreadable);
}

bool RowReader::refuse_time(RowRead& row, std::string_view text, std::size_t field) {
    return refuse(
        row, ErrorCode::bad_time,
        text.empty() ? std::string("the time is missing") : fmt::format("\"{}\" is not a time", shown(text)),
        times_in_words(plan_->dialect),
        plan_->time_form == TimeForm::calendar ? "set date_order or time_form if all rows are like this"
                                               : "set time_form if all rows are like this",
        plan_->name_of_field(field));
}

std::optional<std::int64_t> RowReader::day_of(std::string_view text) {
    if (!day_text_.empty() && text == day_text_) {
        return day_;
    }
    const auto written = written_date(text);
    const auto day = written ? day_number(*written, plan_->date_order) : std::nullopt;
    if (day) {
        day_text_ = text;
        day_ = *day;
    }
    return day;
}

bool RowReader::set_local(RowRead& row, std::int64_t local_ns, std::string_view text, std::size_t field) {
    if (!plan_->has_zone) {
        return refuse(row, ErrorCode::bad_time, fmt::format("\"{}\" carries no offset from UTC", text),
                      "an offset as in the other rows, or a zone",
                      "set zone = \"Area/Place\" (the logger's zone)", plan_->name_of_field(field));
    }
    const ZonedTime zoned = zone_.to_utc(local_ns);
    if (zoned.kind == LocalKind::never) {
        return refuse(
            row, ErrorCode::bad_time,
            fmt::format("\"{}\" never was: clocks went forward over this hour", text),
            fmt::format("a local time of zone {} {}", plan_->dialect.zone.value,
                        in_brackets(plan_->dialect.zone.origin)),
            "if this logger does not follow daylight saving, set zone to a fixed offset like \"+01:00\"",
            plan_->name_of_field(field));
    }
    row.time_ns = zoned.utc_ns;
    row.is_twice = zoned.kind == LocalKind::twice;
    row.later_ns = zoned.later_ns;
    return true;
}

bool RowReader::read_calendar(RowRead& row) {
    DateAndClock text;
    std::size_t field = 0;
    std::string_view whole;
    if (plan_->time) {
        field = *plan_->time;
        whole = fields_[field];
        const auto parts = parted(whole);
        if (!parts) {
            return refuse_time(row, whole, field);
        }
        text = *parts;
    } else {
        field = *plan_->date;
        text = {.date = fields_[field], .clock = fields_[*plan_->time_of_day]};
        if (const auto parts = parted(text.date); parts && !parts->clock.empty()) {
            text.date = parts->date; // "14/06/2026 00:00:00" beside a clock of its own
        }
        if (plan_->half_day) {
            joined_clock_ = fmt::format("{} {}", text.clock, fields_[*plan_->half_day]);
            text.clock = joined_clock_;
        }
    }
    const auto day = day_of(text.date);
    if (!day) {
        return refuse_time(row, plan_->time ? whole : text.date, field);
    }
    WrittenClock clock;
    if (!text.clock.empty()) {
        const auto written = written_clock(text.clock);
        if (!written) {
            return refuse_time(row, plan_->time ? whole : text.clock,
                               plan_->time ? field : *plan_->time_of_day);
        }
        clock = *written;
    } else if (!plan_->time) {
        return refuse_time(row, {}, *plan_->time_of_day);
    }
    const std::int64_t local = (*day * nanoseconds_per_day) + clock.nanoseconds;
    if (clock.offset_minutes) {
        row.time_ns =
            local - (static_cast<std::int64_t>(*clock.offset_minutes) * 60 * nanoseconds_per_second);
        return true;
    }
    return set_local(row, local,
                     plan_->time ? std::string(whole) : fmt::format("{} {}", text.date, text.clock), field);
}

bool RowReader::read_time(RowRead& row) {
    if (plan_->time_form == TimeForm::calendar) {
        return read_calendar(row);
    }
    const std::size_t field = *plan_->time;
    const std::string_view text = fields_[field];
    const auto scaled = [&](std::int64_t unit) { return scaled_whole(text, plan_->decimal, unit); };
    std::optional<std::int64_t> value;
    switch (plan_->time_form) {
    case TimeForm::epoch_seconds:
        value = scaled(nanoseconds_per_second);
        break;
    case TimeForm::epoch_milliseconds:
        value = scaled(1'000'000);
        break;
    case TimeForm::elapsed_seconds:
        value = scaled(nanoseconds_per_second);
        break;
    case TimeForm::elapsed_minutes:
        value = scaled(60 * nanoseconds_per_second);
        break;
    case TimeForm::elapsed_hours:
        value = scaled(3600 * nanoseconds_per_second);
        break;
    case TimeForm::elapsed_clock:
        value = elapsed_clock(text);
        break;
    case TimeForm::spreadsheet_days: {
        // A day number of ten decimals is good to some microseconds: the clock behind it counted milliseconds
        // at best.
        constexpr std::int64_t days_before_1970 = 25'569; // 1899-12-30 to 1970-01-01
        value = scaled_whole(text, plan_->decimal, nanoseconds_per_day / 1'000'000);
        if (value) {
            const std::int64_t local_ms = *value - (days_before_1970 * (nanoseconds_per_day / 1'000'000));
            if (local_ms < -8'000'000'000'000 || local_ms > 8'000'000'000'000) {
                value = std::nullopt;
            } else {
                return set_local(row, local_ms * 1'000'000, text, field);
            }
        }
        break;
    }
    case TimeForm::calendar:
        break;
    }
    if (!value) {
        return refuse_time(row, text, field);
    }
    const bool elapsed = plan_->time_form >= TimeForm::elapsed_seconds;
    std::int64_t sum = 0;
    if (__builtin_add_overflow(*value, elapsed ? plan_->start_ns : 0, &sum)) {
        return refuse_time(row, text, field);
    }
    row.time_ns = sum;
    return true;
}

void RowReader::read_values(RowRead& row, std::vector<UnreadableCell>& unreadable) {
    row.values.resize(plan_->readings.size());
    for (std::size_t i = 0; i < plan_->readings.size(); ++i) {
        const auto& reading = plan_->readings[i];
        const std::string_view cell = fields_[reading.field];
        const bool pump = reading.unit == Unit::pump_word;
        auto value = pump ? pump_value(cell, plan_->dialect.flush_words, plan_->dialect.sealed_words)
                          : decimal_number(cell, plan_->decimal);
        if (value && !plan_->dialect.missing_words.empty() &&
            is_missing_word(cell, plan_->dialect.missing_words)) {
            value = std::nullopt; // a number that the brief says means nothing, such as -9999
        }
        if (value) {
            row.values[i] = pump ? *value : in_trace_unit(reading.unit, *value);
            continue;
        }
        row.values[i] = backeddy::missing;
        auto& count = missing[i];
        ++count.count;
        if (is_missing_word(cell, plan_->dialect.missing_words)) {
            auto word = count.words.find(cell);
            if (word == count.words.end()) {
                word = count.words.emplace(std::string(cell), 0).first;
            }
            ++word->second;
            continue;
        }
        ++count.unreadable;
        const auto& dialect = plan_->dialect;
        const bool other_mark = cell.find(plan_->decimal == '.' ? ',' : '.') != std::string_view::npos;
        unreadable.push_back(
            {.reading = i,
             .reason = {
                 .code = pump ? ErrorCode::unknown_name : ErrorCode::bad_number,
                 .found = pump ? fmt::format("\"{}\" is no word for flush or sealed", shown(cell))
                               : fmt::format("\"{}\" is not a number", shown(cell)),
                 .expected =
                     pump ? std::string("1 or 0, or words like flush, on, open and sealed, off, closed")
                          : fmt::format("decimal is {} {}", word_of(dialect.decimal.value),
                                        in_brackets(dialect.decimal.origin)),
                 .remedy =
                     pump ? std::string("name it in flush_words or sealed_words")
                     : other_mark
                         ? fmt::format("set decimal = \"{}\"", plan_->decimal == '.' ? "comma" : "point")
                         : std::string("if it stands for no reading, add it to missing_words of the "
                                       "file's [[trace]] in the brief"),
                 .place = {.file = plan_->file, .column = reading.name}}});
    }
}

} // namespace backeddy::intake
