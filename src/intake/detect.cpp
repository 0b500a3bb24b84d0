#include <algorithm>
#include <array>
#include <map>
#include <optional>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "intake/detail/columns.hpp"
#include "intake/detail/date_order.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/layout.hpp"
#include "intake/detail/moment.hpp"
#include "intake/detail/number.hpp"
#include "intake/detail/plan.hpp"
#include "intake/detail/row_reader.hpp"
#include "intake/detail/sample.hpp"
#include "intake/detail/zone.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::intake {

namespace {

constexpr std::size_t first_head_bytes = 1 << 18;
constexpr std::size_t most_head_bytes = 1 << 24; // a preamble longer than this is no preamble
constexpr std::size_t most_rows_looked_at = 2000;
constexpr std::uint64_t scan_bytes = 1 << 22;

// Where date and clock stand in a row.
struct DateCells {
    std::string_view date;
    std::string_view clock;
};

class Detector {
  public:
    Detector(const TextSource& source, const ReadSettings& settings) : source_(source), settings_(settings) {}

    Expected<Dialect> run() {
        if (auto found = find_layout_of_head(); !found) {
            return fail(std::move(found).error());
        }
        take_rows();
        auto columns =
            find_columns(layout_, look_at_columns(rows_, layout_, settings_), settings_, source_.name());
        if (!columns) {
            return fail(std::move(columns).error());
        }
        columns_ = std::move(*columns);
        fill_layout();
        if (auto order = find_date_order(); !order) {
            return fail(std::move(order).error());
        }
        if (auto start = find_start(); !start) {
            return fail(std::move(start).error());
        }
        if (auto zone = find_zone(); !zone) {
            return fail(std::move(zone).error());
        }
        find_open_lines();
        if (auto rest = find_by_reading(); !rest) {
            return fail(std::move(rest).error());
        }
        return std::move(dialect_);
    }

  private:
    Expected<void> find_layout_of_head() {
        // A long preamble may fill the first bytes: look further before giving up.
        for (std::size_t bytes = first_head_bytes;; bytes *= 4) {
            auto sample = take_sample(source_, settings_, bytes);
            if (!sample) {
                return fail(std::move(sample).error());
            }
            sample_ = std::move(*sample);
            auto layout = find_layout(sample_, settings_, source_.name());
            const bool last_try = sample_.is_whole_file || bytes >= most_head_bytes;
            if (layout) {
                layout_ = std::move(*layout);
                return {};
            }
            if (last_try) {
                return fail(std::move(layout).error());
            }
        }
    }

    void take_rows() {
        const auto add = [&](const SampleLine& line) {
            if (!trimmed(line.text).empty() && line.text.find('\0') == std::string_view::npos) {
                rows_.push_back(line.text);
            }
        };
        for (std::size_t i = layout_.first_data;
             i < sample_.head.size() && rows_.size() < most_rows_looked_at; ++i) {
            // A line cut at the end tells little, unless it is all there is.
            if (sample_.head[i].has_line_end || rows_.empty()) {
                add(sample_.head[i]);
            }
        }
        head_rows_ = rows_.size();
        for (const auto& line : sample_.tail) {
            if (line.has_line_end) {
                add(line);
            }
        }
    }

    void fill_layout() {
        dialect_.encoding = sample_.encoding;
        dialect_.byte_order_mark_bytes = sample_.byte_order_mark_bytes;
        dialect_.line_end = sample_.line_end;
        dialect_.delimiter = layout_.delimiter;
        dialect_.decimal = layout_.decimal;
        dialect_.quoting = layout_.quoting;
        dialect_.header_line = layout_.header_line;
        dialect_.units_line = layout_.units_line;
        dialect_.first_data_line = layout_.first_data_line;
        dialect_.first_data_byte = layout_.first_data < sample_.head.size()
                                       ? sample_.head[layout_.first_data].byte
                                       : source_.bytes();
        dialect_.fields = layout_.fields;
        dialect_.header_text = layout_.header_text;
        dialect_.units_text = layout_.units_text;
        dialect_.preamble = layout_.preamble;
        dialect_.missing_words = settings_.missing_words;
        dialect_.flush_words = settings_.flush_words;
        dialect_.sealed_words = settings_.sealed_words;
        dialect_.columns = columns_.columns;
        dialect_.time_form = columns_.time_form;
        std::size_t last_used = 0;
        for (const auto& column : dialect_.columns) {
            last_used = column.use == ColumnUse::ignore ? last_used : column.index;
        }
        // Rows may be shorter where the sample shows such rows again and again and nothing that is read is
        // missing.
        dialect_.fewest_fields = dialect_.fields;
        for (std::size_t n = dialect_.fields; n-- > last_used;) {
            if (n < layout_.field_counts.size() && 10 * layout_.field_counts[n] >= layout_.rows_judged &&
                n > last_used - 1) {
                dialect_.fewest_fields = n;
            }
        }
        if (layout_.usual_fields < dialect_.fields) {
            dialect_.fewest_fields =
                std::min(dialect_.fewest_fields, std::max(last_used, layout_.usual_fields));
        }
    }

    [[nodiscard]] std::optional<std::size_t> field_of(ColumnUse use) const {
        for (const auto& column : dialect_.columns) {
            if (column.use == use) {
                return column.index - 1;
            }
        }
        return std::nullopt;
    }

    [[nodiscard]] std::optional<DateCells> date_cells(const Fields& fields) const {
        if (const auto time = field_of(ColumnUse::time)) {
            if (*time >= fields.size()) {
                return std::nullopt;
            }
            const auto parts = parted(fields[*time]);
            return parts ? std::optional(DateCells{parts->date, parts->clock}) : std::nullopt;
        }
        const auto date = field_of(ColumnUse::date);
        const auto clock = field_of(ColumnUse::time_of_day);
        if (!date || !clock || std::max(*date, *clock) >= fields.size()) {
            return std::nullopt;
        }
        DateCells cells{fields[*date], fields[*clock]};
        if (const auto parts = parted(cells.date); parts && !parts->clock.empty()) {
            cells.date = parts->date;
        }
        return cells;
    }

    void add_dates(const Fields& fields, std::uint64_t line, DateOrderEvidence& evidence) const {
        const auto cells = date_cells(fields);
        if (!cells) {
            return;
        }
        const auto clock = written_clock(cells->clock);
        evidence.add(cells->date, clock ? clock->nanoseconds : 0, line);
    }

    Expected<void> find_date_order() {
        if (dialect_.time_form.value != TimeForm::calendar) {
            return {};
        }
        if (settings_.date_order) {
            dialect_.date_order = {.value = *settings_.date_order, .origin = Origin::set, .evidence = "set"};
            return {};
        }
        DateOrderEvidence evidence;
        Fields fields;
        for (std::size_t i = 0; i < rows_.size(); ++i) {
            if (i == head_rows_) {
                evidence.break_here();
            }
            fields.split(rows_[i], dialect_.delimiter.value, dialect_.quoting.value);
            add_dates(fields, 0, evidence);
        }
        auto order = evidence.decided();
        if (!order) {
            evidence = {};
            if (auto scanned = scan_dates(evidence); !scanned) {
                return fail(std::move(scanned).error());
            }
            order = evidence.decided();
        }
        if (!order) {
            return fail(evidence.ambiguous(source_.name(), dialect_.columns[columns_.time_field].header));
        }
        dialect_.date_order = std::move(*order);
        dialect_.date_order_is_proven = evidence.is_proof();
        return {};
    }

    // All dates of the file, since its beginning and end do not decide.
    Expected<void> scan_dates(DateOrderEvidence& evidence) const {
        const TextForm form{.encoding = dialect_.encoding.value,
                            .line_end = dialect_.line_end.value,
                            .first_byte = dialect_.first_data_byte};
        LineBlock lines;
        Fields fields;
        std::uint64_t number = dialect_.first_data_line.value;
        for (std::uint64_t from = form.first_byte; from < source_.bytes(); from += scan_bytes) {
            if (auto read = lines.load(source_, form, BlockStart::find_line, from, from + scan_bytes);
                !read) {
                return fail(std::move(read).error());
            }
            const auto text = lines.text();
            for (std::size_t at = 0; at < text.size(); ++number) {
                const auto end = std::min(text.find(form.line_feed(), at), text.size());
                fields.split(text.substr(at, end - at), dialect_.delimiter.value, dialect_.quoting.value);
                add_dates(fields, number, evidence);
                at = end + 1;
            }
        }
        return {};
    }

    // The start of elapsed times: set, or a line of the preamble that speaks of a start.
    Expected<void> find_start() {
        if (dialect_.time_form.value < TimeForm::elapsed_seconds) {
            return {};
        }
        std::string text = settings_.start;
        dialect_.start_ns.origin = text.empty() ? Origin::guessed : Origin::set;
        dialect_.start_ns.evidence = "set";
        if (text.empty()) {
            text = start_in_preamble();
        }
        const auto parts = parted(text);
        const auto date = parts ? written_date(parts->date) : std::nullopt;
        const auto clock =
            !parts || parts->clock.empty() ? std::optional(WrittenClock{}) : written_clock(parts->clock);
        if (text.empty() || !date || !clock) {
            return fail({.code = ErrorCode::bad_time,
                         .found = text.empty() ? "times count from a start that the file does not name"
                                               : fmt::format("the start \"{}\" is not a time", text),
                         .expected = "a start like \"2026-06-14T10:00:00\"",
                         .remedy = "set start (local in zone, or with an offset)",
                         .place = {.file = source_.name()}});
        }
        DateOrder order = settings_.date_order.value_or(DateOrder::day_month_year);
        if (!settings_.date_order) {
            DateOrderEvidence evidence;
            evidence.add(parts->date, clock->nanoseconds, 0);
            const auto decided = evidence.decided();
            if (!decided) {
                return fail(evidence.ambiguous(source_.name(), "start"));
            }
            order = decided->value;
        }
        const auto day = day_number(*date, order);
        if (!day) {
            return fail({.code = ErrorCode::bad_time,
                         .found = fmt::format("the start \"{}\" is no date", text),
                         .expected = fmt::format("a date in the order {}", word_of(order)),
                         .remedy = "set start as \"2026-06-14T10:00:00\"",
                         .place = {.file = source_.name()}});
        }
        dialect_.start_ns.value = (*day * nanoseconds_per_day) + clock->nanoseconds;
        start_is_local_ = !clock->offset_minutes.has_value();
        if (clock->offset_minutes) {
            dialect_.start_ns.value -=
                static_cast<std::int64_t>(*clock->offset_minutes) * 60 * nanoseconds_per_second;
        }
        return {};
    }

    std::string start_in_preamble() {
        std::string date_only;
        std::string clock_only;
        for (const auto& line : dialect_.preamble) {
            const std::string folded = lower_case(line);
            if (folded.find("start") == std::string::npos && folded.find("begin") == std::string::npos &&
                folded.find("began") == std::string::npos) {
                continue;
            }
            for (std::size_t at = 0; at < line.size(); ++at) {
                const bool begins =
                    at == 0 || std::string_view(" :=,;\t\"").find(line[at - 1]) != std::string_view::npos;
                if (!begins) {
                    continue;
                }
                std::string_view rest = trimmed(std::string_view(line).substr(at));
                while (!rest.empty() &&
                       std::string_view(",;\t\" ").find(rest.back()) != std::string_view::npos) {
                    rest.remove_suffix(1);
                }
                const auto form = form_of(rest);
                if (form == CellForm::calendar) {
                    dialect_.start_ns.evidence = fmt::format("the preamble says \"{}\"", trimmed(line));
                    return std::string(rest);
                }
                if (form == CellForm::date && date_only.empty()) {
                    date_only = rest;
                } else if (form == CellForm::clock && clock_only.empty()) {
                    clock_only = rest;
                }
            }
        }
        if (date_only.empty() || clock_only.empty()) {
            return {};
        }
        dialect_.start_ns.evidence = fmt::format("the preamble says {} and {}", date_only, clock_only);
        return date_only + " " + clock_only;
    }

    // Whether most rows carry no offset of their own, so that a zone is needed.
    [[nodiscard]] bool needs_zone() const {
        switch (dialect_.time_form.value) {
        case TimeForm::epoch_seconds:
        case TimeForm::epoch_milliseconds:
            return false;
        case TimeForm::spreadsheet_days:
            return true;
        case TimeForm::calendar:
            break;
        default:
            return start_is_local_;
        }
        Fields fields;
        std::size_t with_offset = 0;
        std::size_t without = 0;
        for (const auto row : rows_) {
            fields.split(row, dialect_.delimiter.value, dialect_.quoting.value);
            const auto cells = date_cells(fields);
            if (!cells || !written_date(cells->date)) {
                continue;
            }
            const auto clock =
                cells->clock.empty() ? std::optional(WrittenClock{}) : written_clock(cells->clock);
            if (clock) {
                ++(clock->offset_minutes ? with_offset : without);
            }
        }
        return without > with_offset;
    }

    Expected<void> find_zone() {
        if (!needs_zone()) {
            dialect_.zone.evidence = dialect_.time_form.value == TimeForm::calendar
                                         ? "times carry their offset from UTC"
                                     : dialect_.time_form.value >= TimeForm::elapsed_seconds
                                         ? "the start carries its offset from UTC"
                                         : "times count from 1970 UTC";
            return {};
        }
        if (!settings_.zone.empty()) {
            dialect_.zone = {.value = settings_.zone, .origin = Origin::set, .evidence = "set"};
        } else if (columns_.header_says_utc) {
            dialect_.zone = {.value = "UTC", .evidence = "the header says UTC"};
        } else if (!settings_.usual_zone.empty()) {
            dialect_.zone = {
                .value = settings_.usual_zone, .origin = Origin::set, .evidence = "the study's zone"};
        } else {
            return fail(
                {.code = ErrorCode::ambiguous_time,
                 .found = "times carry no offset from UTC and no zone is set",
                 .expected = "the zone of the logger's clock",
                 .remedy = "set zone = \"Area/Place\" or a fixed offset like \"+01:00\"",
                 .place = {.file = source_.name(), .column = dialect_.columns[columns_.time_field].header}});
        }
        auto zone = Zone::named(dialect_.zone.value);
        if (!zone) {
            return fail(std::move(zone).error().at({.file = source_.name()}));
        }
        if (dialect_.time_form.value >= TimeForm::elapsed_seconds) {
            const auto start = zone->to_utc(dialect_.start_ns.value);
            if (start.kind != LocalKind::once) {
                return fail({.code = ErrorCode::ambiguous_time,
                             .found = start.kind == LocalKind::twice
                                          ? "the start is in an hour that came twice"
                                          : "the start is in an hour that never was",
                             .expected = "a start that names one moment",
                             .remedy = "set start with its offset, like \"2026-10-25T02:30:00+01:00\"",
                             .place = {.file = source_.name()}});
            }
            dialect_.start_ns.value = start.utc_ns;
        }
        return {};
    }

    // Whether quoted fields run over line ends: then the file is cut into blocks where records begin. Only
    // bytes of one byte a character are looked through; in UTF-16 such rows are refused one by one.
    void find_open_lines() {
        const TextForm form{.encoding = dialect_.encoding.value, .line_end = dialect_.line_end.value};
        if (dialect_.quoting.value == Quoting::none || form.unit() != 1) {
            return;
        }
        constexpr int most_lines = 20;
        constexpr std::uint64_t block = 1 << 19;
        std::vector<std::uint64_t> starts;
        std::string buffer(scan_bytes, '\0');
        bool any = false;
        bool open = false;
        bool odd = false;
        int lines = 0;
        std::uint64_t line_start = dialect_.first_data_byte;
        for (std::uint64_t from = line_start; from < source_.bytes(); from += scan_bytes) {
            const auto got = source_.read(from, buffer);
            if (!got) {
                return;
            }
            for (std::size_t i = 0; i < *got; ++i) {
                if (buffer[i] == '"') {
                    odd = !odd;
                }
                if (buffer[i] != form.line_feed()) {
                    continue;
                }
                if (!open && (starts.empty() || line_start >= starts.back() + block)) {
                    starts.push_back(line_start);
                }
                if (odd) {
                    any = any || open;
                    open = !open;
                    lines = 0;
                } else if (open && ++lines >= most_lines) {
                    open = false; // a stray quote
                }
                odd = false;
                line_start = from + i + 1;
            }
        }
        if (any) {
            dialect_.quoting.value = Quoting::open_lines;
            dialect_.quoting.evidence = "quoted fields that run over line ends";
            dialect_.record_starts = std::move(starts);
        }
    }

    // What only reading the sample's rows tells: the usual interval, and how the last field of a whole line
    // looks.
    Expected<void> find_by_reading() {
        auto plan = make_plan(source_.name(), settings_, dialect_);
        if (!plan) {
            return fail(std::move(plan).error());
        }
        RowReader reader(*plan);
        RowRead row;
        std::vector<UnreadableCell> unreadable;
        std::map<std::string, std::int64_t, std::less<>> last;
        std::vector<std::int64_t> intervals;
        Fields fields;
        for (std::size_t i = 0; i < rows_.size(); ++i) {
            fields.split(rows_[i], dialect_.delimiter.value, dialect_.quoting.value);
            if (fields.size() == plan->last_used + 1) {
                const auto cell = fields[plan->last_used];
                const auto point = cell.find(plan->decimal);
                const std::size_t decimals =
                    point == std::string_view::npos || !decimal_number(cell, plan->decimal)
                        ? 0
                        : cell.size() - point - 1;
                dialect_.last_field_decimals = std::max(dialect_.last_field_decimals, decimals);
                dialect_.last_field_characters = std::max(dialect_.last_field_characters, cell.size());
            }
            if (i >= head_rows_) {
                continue;
            }
            unreadable.clear();
            reader.read(rows_[i], row, unreadable);
            if (row.state != RowState::kept || row.is_twice) {
                continue;
            }
            const auto [before, is_new] = last.try_emplace(std::string(row.chamber), row.time_ns);
            if (!is_new && row.time_ns > before->second) {
                intervals.push_back(time_between(row.time_ns, before->second));
            }
            before->second = row.time_ns;
        }
        if (!intervals.empty()) {
            const auto middle = intervals.begin() + static_cast<std::ptrdiff_t>(intervals.size() / 2);
            std::nth_element(intervals.begin(), middle, intervals.end());
            dialect_.usual_interval_ns = *middle;
        }
        return {};
    }

    const TextSource& source_;
    const ReadSettings& settings_;
    Sample sample_;
    Layout layout_;
    SampleRows rows_;
    std::size_t head_rows_ = 0;
    Columns columns_;
    Dialect dialect_;
    bool start_is_local_ = false;
};

} // namespace

Expected<Dialect> detect(const std::filesystem::path& path, const ReadSettings& settings) {
    const auto source = TextSource::open(path);
    if (!source) {
        return fail(source.error());
    }
    return Detector(*source, settings).run();
}

} // namespace backeddy::intake
