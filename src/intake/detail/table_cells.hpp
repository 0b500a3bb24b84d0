#pragma once
// A table of the study with its columns found, and the cells of a row read by what their columns are. Every
// fault becomes a complaint.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "intake/detail/csv_table.hpp"
#include "intake/detail/overlay.hpp"
#include "intake/detail/table_time.hpp"
#include "intake/tables.hpp"
#include "study/words.hpp"

namespace backeddy::intake {

using study::CellKind;
using study::ColumnDefinition;
using study::Complaint;
using study::Need;
using study::Severity;

/// Units that people put behind a column's name.
inline constexpr std::string_view unit_words[] = {"g",   "kg",   "mg",      "gram", "grams", "lb",  "oz",
                                                  "mm",  "cm",   "m",       "l",    "ml",    "c",   "s",
                                                  "min", "degc", "celsius", "kpa",  "psu",   "hpa", "mbar"};

/// "mass" of "mass_g": the name without what stands for its unit.
inline std::string without_unit(const std::string& name) {
    for (const std::string_view ending : {"_l_per_min", "_kg_per_l", "_kpa", "_mm", "_g", "_s", "_c", "_l"}) {
        if (name.ends_with(ending)) {
            return name.substr(0, name.size() - ending.size());
        }
    }
    return name;
}

/// Whether people mean this column by such a name: one of its other names, with or without a unit.
inline bool is_called(const ColumnDefinition& column, const std::string& name) {
    return std::ranges::any_of(column.also, [&](const std::string& other) {
        return name == other ||
               (name.starts_with(other + "_") && !column.unit.empty() &&
                std::ranges::find(unit_words, name.substr(other.size() + 1)) != std::end(unit_words));
    });
}

inline std::string listed(const std::vector<std::string>& words) {
    std::string out;
    for (const auto& word : words) {
        out += (out.empty() ? "" : ", ") + word;
    }
    return out;
}

enum class Decimal : std::uint8_t { point, comma, unclear };

inline bool holds_numbers(const ColumnDefinition& column) {
    return column.kind == CellKind::number || column.kind == CellKind::value_or_limit;
}

/// Whether numbers have a decimal point or comma, from all number cells of the table.
inline Decimal decimal_of(const CsvTable& table, const study::TableDefinition& definition) {
    bool points = false;
    bool commas = false;
    bool all_thousands = true;
    for (std::size_t at = 0; at < table.header.size(); ++at) {
        const auto* column = definition.column(plain_name(table.header[at]));
        if (column == nullptr || !holds_numbers(*column)) {
            continue;
        }
        for (const auto& row : table.rows) {
            const auto& cell = row.cells[at];
            const auto comma = cell.find(',');
            points = points || cell.find('.') != std::string::npos;
            if (comma != std::string::npos && cell.find('.') == std::string::npos) {
                commas = true;
                all_thousands = all_thousands && cell.size() - comma == 4;
            }
        }
    }
    if (!commas) {
        return Decimal::point;
    }
    return points || (table.delimiter != ';' && all_thousands) ? Decimal::unclear : Decimal::comma;
}

/// A table with its columns found.
class Sheet {
  public:
    Sheet(const study::TableDefinition& definition, std::string_view text, const std::string& file,
          const study::Edits& edits)
        : definition_(&definition), csv_(read_csv(text, file)) {
        if (std::ranges::find(edits, definition.name, &study::Edit::table) != edits.end()) {
            decimal_ = decimal_of(csv_, definition); // of the file: edits are written as it is
            lay_over(csv_, definition, edits,
                     [this](const ColumnDefinition& column, const std::string& cell) {
                         return written(column, cell);
                     });
        }
        find_columns();
        decimal_ = decimal_of(csv_, definition);
    }

    [[nodiscard]] const CsvTable& csv() const { return csv_; }
    [[nodiscard]] const study::TableDefinition& definition() const { return *definition_; }
    [[nodiscard]] std::optional<std::size_t> index(std::string_view column) const {
        const auto found = places_.find(std::string(column));
        return found == places_.end() ? std::nullopt : std::optional(found->second);
    }
    [[nodiscard]] const std::vector<std::pair<std::string, std::size_t>>& free() const { return free_; }
    [[nodiscard]] Decimal decimal() const { return decimal_; }
    [[nodiscard]] bool has_all_needed() const { return has_all_needed_; }
    [[nodiscard]] const std::string& header_of(const ColumnDefinition& column) const {
        const auto at = index(column.name);
        return at ? csv_.header[*at] : column.name;
    }
    [[nodiscard]] std::vector<Complaint>& complaints() { return csv_.complaints; }

    [[nodiscard]] TableSummary summary() const {
        TableSummary out;
        out.file = csv_.file;
        out.rows = csv_.rows.size() + csv_.refused;
        out.refused = csv_.refused;
        for (const auto& column : free_) {
            out.free_columns.push_back(column.first);
        }
        out.understood.emplace_back(csv_.delimiter == ','   ? "comma"
                                    : csv_.delimiter == ';' ? "semicolon"
                                                            : "tab");
        if (decimal_ == Decimal::comma) {
            out.understood.emplace_back("decimal comma");
        }
        out.understood.push_back(csv_.encoding);
        return out;
    }

  private:
    void complain(Severity severity, Error error) { csv_.complaints.push_back({severity, std::move(error)}); }
    [[nodiscard]] Place header_place(const std::string& column) const {
        return {.file = csv_.file, .line = csv_.header_line, .column = column, .byte = {}};
    }

    void find_columns() {
        if (csv_.header.empty()) {
            has_all_needed_ = false;
            complain(Severity::stops_the_run,
                     {.code = ErrorCode::missing_column,
                      .found = "no header line",
                      .expected = "columns " + listed(definition_->column_names()),
                      .remedy = "let `backeddy new` make an empty table",
                      .place = {.file = csv_.file, .line = {}, .column = {}, .byte = {}},
                      .context = {}});
            return;
        }
        std::vector<std::size_t> others;
        for (std::size_t i = 0; i < csv_.header.size(); ++i) {
            const auto name = plain_name(csv_.header[i]);
            if (definition_->column(name) == nullptr) {
                others.push_back(i);
            } else if (!places_.emplace(name, i).second) {
                complain(Severity::stops_the_run,
                         {.code = ErrorCode::duplicate,
                          .found = "the column " + in_quotes(csv_.header[i]) + " twice",
                          .expected = "each column once",
                          .remedy = "delete or rename one",
                          .place = header_place(csv_.header[i]),
                          .context = {}});
            }
        }
        for (const auto i : others) {
            take_other(i);
        }
        for (const auto& column : definition_->columns) {
            if (column.need == Need::required && !places_.contains(column.name)) {
                has_all_needed_ = false;
                complain(Severity::stops_the_run, {.code = ErrorCode::missing_column,
                                                   .found = "no column \"" + column.name + "\"",
                                                   .expected = column.what,
                                                   .remedy = "add it to the header",
                                                   .place = header_place({}),
                                                   .context = {}});
            }
        }
    }

    /// A column that the table does not know: one of the study's own, unless it looks like a known one that
    /// is not there.
    void take_other(std::size_t at) {
        const auto& header = csv_.header[at];
        const bool holds_any =
            std::ranges::any_of(csv_.rows, [&](const CsvRow& row) { return !row.cells[at].empty(); });
        if (header.empty()) {
            if (holds_any) {
                complain(Severity::stops_the_run,
                         {.code = ErrorCode::missing_column,
                          .found = fmt::format("cells in column {}, which has no name", at + 1),
                          .expected = "a name in the header",
                          .remedy = "name the column, or empty its cells",
                          .place = header_place({}),
                          .context = {}});
            }
            return;
        }
        if (std::ranges::any_of(free_, [&](const auto& other) { return other.first == header; })) {
            complain(Severity::stops_the_run, {.code = ErrorCode::duplicate,
                                               .found = "the column " + in_quotes(header) + " twice",
                                               .expected = "each column once",
                                               .remedy = "delete or rename one",
                                               .place = header_place(header),
                                               .context = {}});
        }
        free_.emplace_back(header, at);
        const auto name = plain_name(header);
        std::vector<std::string> absent;
        std::optional<std::string> near;
        const ColumnDefinition* synonym = nullptr;
        for (const auto& column : definition_->columns) {
            if (!places_.contains(column.name)) {
                absent.push_back(column.name);
                if (!column.unit.empty() && without_unit(column.name) == without_unit(name)) {
                    near = column.name;
                }
                if (is_called(column, name)) {
                    synonym = &column;
                }
            }
        }
        if (synonym != nullptr) {
            complain(Severity::warning,
                     {.code = ErrorCode::unknown_name,
                      .found = "the column " + in_quotes(header) + " is kept as one of the study's own",
                      .expected = "\"" + synonym->name + "\"" +
                                  (synonym->unit.empty() ? "" : ", in " + synonym->unit) +
                                  ", which is missing: nothing is computed from " + in_quotes(header),
                      .remedy = "rename it, if it is that" +
                                (synonym->unit.empty() ? "" : " and in " + synonym->unit) +
                                "; else add an empty column \"" + synonym->name + "\"",
                      .place = header_place(header),
                      .context = {}});
            return;
        }
        near = near ? near : nearest_name(name, absent);
        if (near) {
            const auto& unit = definition_->column(*near)->unit;
            complain(Severity::stops_the_run,
                     {.code = ErrorCode::unknown_name,
                      .found = "the column " + in_quotes(header) + " is none of this table's",
                      .expected =
                          "\"" + *near + "\"" + (unit.empty() ? "" : ", in " + unit) + ", which is missing",
                      .remedy = "rename it; or, if it is a column of your own, add an empty column \"" +
                                *near + "\"",
                      .place = header_place(header),
                      .context = {}});
        }
    }

    /// A cell of an edit, which has a decimal point, as this table writes it.
    [[nodiscard]] std::string written(const ColumnDefinition& column, std::string cell) const {
        const auto point = cell.find('.');
        if (decimal_ == Decimal::comma && holds_numbers(column) && point != std::string::npos) {
            cell[point] = ',';
        }
        return cell;
    }
    const study::TableDefinition* definition_;
    CsvTable csv_;
    std::map<std::string, std::size_t> places_;
    std::vector<std::pair<std::string, std::size_t>> free_;
    Decimal decimal_ = Decimal::point;
    bool has_all_needed_ = true;
};

/// The cells of one row, read by what their columns are; every fault becomes a complaint.
class Cells {
  public:
    Cells(Sheet& sheet, const CsvRow& row, const TableZone& zone)
        : sheet_(&sheet), row_(&row), zone_(&zone) {}

    [[nodiscard]] Place place(const std::string& column = {}) const {
        return {.file = row_->is_added ? study::journal_name : sheet_->csv().file,
                .line = row_->line,
                .column = column,
                .byte = {}};
    }
    /// Whether every needed cell could be read.
    [[nodiscard]] bool is_whole() const { return is_whole_; }

    std::string text(std::string_view name) {
        const auto at = sheet_->index(name);
        const auto& column = *sheet_->definition().column(name);
        const std::string cell = at ? row_->cells[*at] : std::string();
        if (cell.empty() && column.need == Need::required) {
            is_whole_ = false;
            if (at) {
                complain(column, {.code = ErrorCode::bad_row,
                                  .found = "an empty cell",
                                  .expected = column.what,
                                  .remedy = "fill it in, or delete the row",
                                  .place = {},
                                  .context = {}});
            }
        }
        return cell;
    }

    template <typename Tag>
    void read(std::string_view name, study::Id<Tag>& out) {
        out = study::Id<Tag>(text(name));
    }

    std::optional<double> number(std::string_view name) {
        const auto cell = text(name);
        return cell.empty() ? std::nullopt : number_in(*sheet_->definition().column(name), cell);
    }

    /// A number of at least 0, "<" or ">" before a limit.
    std::optional<study::ValueOrLimit> value_or_limit(std::string_view name) {
        const auto cell = text(name);
        if (cell.empty()) {
            return std::nullopt;
        }
        const bool is_limit = cell.starts_with('<') || cell.starts_with('>');
        const auto number = std::string(without_margins(std::string_view(cell).substr(is_limit ? 1 : 0)));
        const auto& column = *sheet_->definition().column(name);
        if (number.find_first_of("0123456789") == std::string::npos) { // LOD, n.d., below
            refuse(column, {.code = ErrorCode::bad_number,
                            .found = in_quotes(cell) + " is not a number",
                            .expected = "a number, or the limit itself that it is below or above",
                            .remedy = "write the limit, as \"<0.5\" below what the assay can tell or \">20\" "
                                      "above its range; leave the cell empty when nothing was measured",
                            .place = {},
                            .context = {}});
            return std::nullopt;
        }
        const auto value = number_in(column, number);
        if (value && *value < 0.0) {
            refuse(column, {.code = ErrorCode::out_of_range,
                            .found = in_quotes(cell),
                            .expected = "0 or more",
                            .remedy = "check it; below what an assay can tell, write the limit: \"<0.5\"",
                            .place = {},
                            .context = {}});
            return std::nullopt;
        }
        if (!value) {
            return std::nullopt;
        }
        const auto known = cell.starts_with('<')   ? condition::Known::below
                           : cell.starts_with('>') ? condition::Known::above
                                                   : condition::Known::exactly;
        return study::ValueOrLimit{.value = *value, .known = known};
    }

    std::optional<bool> yes_or_no(std::string_view name) {
        const auto value = word<study::YesNo>(name);
        return value ? std::optional(*value == study::YesNo::yes) : std::nullopt;
    }

    /// Refuses the cell: `found` stands in it.
    void refuse_cell(std::string_view name, Error error) {
        refuse(*sheet_->definition().column(name), std::move(error));
    }

    /// A whole number of at least 0.
    std::optional<std::size_t> count(std::string_view name) {
        const auto value = number(name);
        if (value && *value != std::floor(*value)) {
            const auto& column = *sheet_->definition().column(name);
            refuse(column, {.code = ErrorCode::bad_number,
                            .found = in_quotes(text(name)),
                            .expected = "a whole number",
                            .remedy = "correct it",
                            .place = {},
                            .context = {}});
            return std::nullopt;
        }
        return value ? std::optional(static_cast<std::size_t>(*value)) : std::nullopt;
    }

    std::optional<Duration> seconds(std::string_view name) {
        const auto value = number(name);
        return value ? std::optional(Duration::seconds(*value)) : std::nullopt;
    }

    std::optional<Instant> time(std::string_view name) { return time(name, *zone_); }
    std::optional<Instant> time(std::string_view name, const TableZone& zone) {
        const auto cell = text(name);
        return cell.empty() ? std::nullopt : time_in(*sheet_->definition().column(name), cell, zone);
    }

    /// A time in a column of texts (the value of a decision).
    std::optional<Instant> time_in(const ColumnDefinition& column, const std::string& cell,
                                   const TableZone& zone) {
        auto moment = zone.read(cell);
        if (!moment) {
            refuse(column, std::move(moment).error());
            return std::nullopt;
        }
        return *moment;
    }

    template <typename Choice>
    std::optional<Choice> word(std::string_view name) {
        const auto cell = text(name);
        return cell.empty() ? std::nullopt : word_in<Choice>(*sheet_->definition().column(name), cell);
    }

    template <typename Choice>
    std::optional<Choice> word_in(const ColumnDefinition& column, const std::string& cell) {
        if (const auto value = study::value_of<Choice>(plain_name(cell))) {
            return value;
        }
        const auto& words = study::words_of(Choice{});
        const auto near = study::nearest_word(plain_name(cell), words);
        refuse(column, {.code = ErrorCode::unknown_name,
                        .found = in_quotes(cell),
                        .expected = "one of " + listed(words),
                        .remedy = near ? "did you mean " + *near + "?" : "choose one of them",
                        .place = {},
                        .context = {}});
        return std::nullopt;
    }

    study::Channel channel(std::string_view name) {
        const auto cell = text(name);
        if (cell.empty()) {
            return {};
        }
        if (auto channel = study::channel_from(cell)) {
            return *channel;
        }
        refuse(*sheet_->definition().column(name),
               {.code = ErrorCode::unknown_name,
                .found = in_quotes(cell),
                .expected = "\"trace:channel\", a name of a [[trace]] of the brief and one of its columns",
                .remedy = "write it so",
                .place = {},
                .context = {}});
        return {};
    }

    std::vector<study::FreeCell> free() const {
        std::vector<study::FreeCell> out;
        for (const auto& [header, at] : sheet_->free()) {
            out.push_back({.column = header, .value = row_->cells[at]});
        }
        return out;
    }

    void complain(const ColumnDefinition& column, Error error) {
        error.place = place(sheet_->header_of(column));
        if (goes_on()) {
            error.remedy += "; until then the row is left out";
        }
        sheet_->complaints().push_back({sheet_->definition().faults, std::move(error)});
    }

  private:
    /// A cell that holds something unreadable.
    void refuse(const ColumnDefinition& column, Error error) {
        is_whole_ = is_whole_ && column.need != Need::required && !goes_on();
        complain(column, std::move(error));
    }

    /// Whether a run goes on without the row.
    [[nodiscard]] bool goes_on() const { return sheet_->definition().faults == Severity::warning; }

    std::optional<double> number_in(const ColumnDefinition& column, const std::string& cell) {
        std::string plain = cell;
        if (plain.starts_with("\xE2\x88\x92")) { // the minus sign of typesetting
            plain.replace(0, 3, "-");
        }
        const auto comma = plain.find(',');
        if (comma != std::string::npos && plain.find('.') == std::string::npos) {
            if (sheet_->decimal() == Decimal::unclear) {
                refuse(column, {.code = ErrorCode::bad_number,
                                .found = in_quotes(cell) + ": its comma can part decimals or thousands",
                                .expected = "one decimal mark in the whole table",
                                .remedy = "write a decimal point, and no mark between thousands",
                                .place = {},
                                .context = {}});
                return std::nullopt;
            }
            plain[comma] = '.';
        }
        const auto value = parse_number(plain);
        if (!value) {
            refuse(column, {.code = ErrorCode::bad_number,
                            .found = in_quotes(cell) + " is not a number",
                            .expected = column.unit.empty()              ? "a number"
                                        : column.unit.starts_with("as ") ? "a number, " + column.unit
                                                                         : "a number, in " + column.unit,
                            .remedy = "write the number alone; leave the cell empty when it is not known",
                            .place = {},
                            .context = {}});
            return std::nullopt;
        }
        const bool too_low =
            column.least && (column.may_equal_least ? *value < *column.least : *value <= *column.least);
        if (too_low || (column.most && *value > *column.most)) {
            refuse(column,
                   {.code = ErrorCode::out_of_range,
                    .found = in_quotes(cell),
                    .expected = fmt::format("{} {} to {} {}", column.may_equal_least ? "from" : "more than",
                                            *column.least, *column.most, column.unit),
                    .remedy = "check the number and its unit",
                    .place = {},
                    .context = {}});
            return std::nullopt;
        }
        return value;
    }

    Sheet* sheet_;
    const CsvRow* row_;
    const TableZone* zone_;
    bool is_whole_ = true;
};

/// A zone that must be there: the brief's reader has complained of an unknown one already, so that here UTC
/// stands in for it.
inline TableZone zone_or_utc(const std::string& name) {
    auto zone = TableZone::named(name);
    return zone ? *zone : TableZone();
}

/// What every table has beside its own columns.
template <typename Row>
void fill_rest(Row& row, Cells& cells) {
    if constexpr (requires { row.note; }) {
        row.note = cells.text("note");
    }
    if constexpr (requires { row.place; }) {
        row.place = cells.place();
    }
    row.free = cells.free();
}

/// Reads every row by `take(cells)`, which gives a row of the table without note, free columns and place.
template <typename Row, typename Take>
TableRead<Row> read_rows(study::TableName name, std::string_view text, const std::string& file,
                         const TableContext& context, Take take) {
    Sheet sheet(study::table(name), text, file, context.edits);
    TableRead<Row> out;
    out.summary = sheet.summary();
    const TableZone zone = zone_or_utc(context.zone);
    if (sheet.has_all_needed()) {
        for (const auto& line : sheet.csv().rows) {
            Cells cells(sheet, line, zone);
            Row row = take(cells);
            fill_rest(row, cells);
            if (cells.is_whole()) {
                out.rows.push_back(std::move(row));
            } else {
                ++out.summary.refused;
            }
        }
    } else {
        out.summary.refused = out.summary.rows;
    }
    out.complaints = std::move(sheet.complaints());
    if (sheet.definition().faults == Severity::warning) {
        for (auto& complaint : out.complaints) {
            complaint.severity = Severity::warning; // a header, or a row that could not be cut into cells
            if (!sheet.has_all_needed() && complaint.error.code == ErrorCode::missing_column) {
                complaint.error.remedy += "; until then no row of the table counts";
            }
        }
    }
    study::sort_by_place(out.complaints);
    return out;
}

template <typename Quantity>
std::optional<Quantity> as(std::optional<double> value, Quantity (*make)(double)) {
    return value ? std::optional(make(*value)) : std::nullopt;
}

} // namespace backeddy::intake
