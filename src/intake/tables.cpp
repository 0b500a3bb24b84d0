#include "intake/tables.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "base/number_text.hpp"
#include "intake/detail/csv_table.hpp"
#include "intake/detail/table_time.hpp"
#include "study/words.hpp"

namespace backeddy::intake {

namespace {

using study::CellKind;
using study::ColumnDefinition;
using study::Complaint;
using study::Need;
using study::Severity;

/// Units that people put behind a column's name.
constexpr std::string_view unit_words[] = {"g",   "kg",   "mg",      "gram", "grams", "lb",  "oz",
                                           "mm",  "cm",   "m",       "l",    "ml",    "c",   "s",
                                           "min", "degc", "celsius", "kpa",  "psu",   "hpa", "mbar"};

/// "mass" of "mass_g": the name without what stands for its unit.
std::string without_unit(const std::string& name) {
    for (const std::string_view ending : {"_l_per_min", "_kg_per_l", "_kpa", "_mm", "_g", "_s", "_c", "_l"}) {
        if (name.ends_with(ending)) {
            return name.substr(0, name.size() - ending.size());
        }
    }
    return name;
}

/// Whether people mean this column by such a name: one of its other names, with or without a unit.
bool is_called(const ColumnDefinition& column, const std::string& name) {
    return std::ranges::any_of(column.also, [&](const std::string& other) {
        return name == other ||
               (name.starts_with(other + "_") && !column.unit.empty() &&
                std::ranges::find(unit_words, name.substr(other.size() + 1)) != std::end(unit_words));
    });
}

std::string listed(const std::vector<std::string>& words) {
    std::string out;
    for (const auto& word : words) {
        out += (out.empty() ? "" : ", ") + word;
    }
    return out;
}

enum class Decimal : std::uint8_t { point, comma, unclear };

/// A table with its columns found.
class Sheet {
  public:
    Sheet(const study::TableDefinition& definition, std::string_view text, const std::string& file)
        : definition_(&definition), csv_(read_csv(text, file)) {
        find_columns();
        find_decimal();
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

    /// Whether numbers have a decimal point or comma, from all number cells of the table.
    void find_decimal() {
        bool points = false;
        bool commas = false;
        bool all_thousands = true;
        for (const auto& column : definition_->columns) {
            const auto at = index(column.name);
            if (column.kind != CellKind::number || !at) {
                continue;
            }
            for (const auto& row : csv_.rows) {
                const auto& cell = row.cells[*at];
                const auto comma = cell.find(',');
                points = points || cell.find('.') != std::string::npos;
                if (comma != std::string::npos && cell.find('.') == std::string::npos) {
                    commas = true;
                    all_thousands = all_thousands && cell.size() - comma == 4;
                }
            }
        }
        if (commas && points) {
            decimal_ = Decimal::unclear;
        } else if (commas) {
            decimal_ = csv_.delimiter != ';' && all_thousands ? Decimal::unclear : Decimal::comma;
        }
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
        return {.file = sheet_->csv().file, .line = row_->line, .column = column, .byte = {}};
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
        const auto near = nearest_name(plain_name(cell), words);
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
        sheet_->complaints().push_back({Severity::stops_the_run, std::move(error)});
    }

  private:
    /// A cell that holds something unreadable.
    void refuse(const ColumnDefinition& column, Error error) {
        is_whole_ = is_whole_ && column.need != Need::required;
        complain(column, std::move(error));
    }

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
                            .expected = column.unit.empty() ? "a number" : "a number, in " + column.unit,
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
TableZone zone_or_utc(const std::string& name) {
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
    Sheet sheet(study::table(name), text, file);
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
    study::sort_by_place(out.complaints);
    return out;
}

template <typename Quantity>
std::optional<Quantity> as(std::optional<double> value, Quantity (*make)(double)) {
    return value ? std::optional(make(*value)) : std::nullopt;
}

/// One row of stays.csv, before rows are joined.
struct StayRow {
    study::StayId id;
    study::FishId fish;
    study::AssemblyId assembly;
    study::StayPart part;
    std::optional<study::StayEnding> ended;
    std::optional<Instant> last_good;
    std::string note;
    std::vector<study::FreeCell> free;
};

study::Stay first_of(StayRow row) {
    return {.id = row.id,
            .fish = row.fish,
            .assembly = row.assembly,
            .parts = {row.part},
            .ended = row.ended,
            .last_good = row.last_good,
            .note = row.note,
            .free = std::move(row.free),
            .place = row.part.place};
}

/// Puts a further row to its stay; what both rows say must agree.
void join(study::Stay& stay, StayRow row, std::vector<Complaint>& complaints) {
    const auto differs = [&](const std::string& column, const std::string& before, const std::string& now) {
        Place place = row.part.place;
        place.column = column;
        complaints.push_back(
            {Severity::stops_the_run,
             {.code = ErrorCode::bad_relation,
              .found = in_quotes(now),
              .expected = fmt::format("{}, as in line {} of the same stay {}", in_quotes(before),
                                      *stay.place.line, in_quotes(stay.id.text())),
              .remedy = "give it a stay of its own, or correct it",
              .place = place,
              .context = {}}});
    };
    if (row.fish != stay.fish) {
        differs("fish", stay.fish.text(), row.fish.text());
    }
    if (row.assembly != stay.assembly) {
        differs("assembly", stay.assembly.text(), row.assembly.text());
    }
    for (std::size_t i = 0; i < row.free.size(); ++i) {
        if (stay.free[i].value.empty()) {
            stay.free[i].value = row.free[i].value;
        } else if (!row.free[i].value.empty() && row.free[i].value != stay.free[i].value) {
            differs(row.free[i].column, stay.free[i].value, row.free[i].value);
        }
    }
    stay.ended = row.ended ? row.ended : stay.ended;
    stay.last_good = row.last_good ? row.last_good : stay.last_good;
    if (!row.note.empty()) {
        stay.note += (stay.note.empty() ? "" : "; ") + row.note;
    }
    stay.parts.push_back(std::move(row.part));
}

StayRow stay_row(Cells& cells) {
    StayRow row;
    cells.read("stay", row.id);
    cells.read("fish", row.fish);
    cells.read("assembly", row.assembly);
    row.part.role = cells.word<uptake::StayRole>("role").value_or(uptake::StayRole::rest);
    row.part.from = cells.time("from").value_or(Instant());
    row.part.to = cells.time("to").value_or(Instant());
    row.part.place = cells.place();
    row.ended = cells.word<study::StayEnding>("ended");
    row.last_good = cells.time("last_good");
    return row;
}

study::Assembly assembly_row(Cells& cells) {
    study::Assembly row;
    cells.read("assembly", row.id);
    row.from = cells.time("from");
    row.to = cells.time("to");
    row.chamber_volume = Volume::litres(cells.number("chamber_volume_l").value_or(0.0));
    row.chamber_volume_uncertainty = as(cells.number("chamber_volume_uncertainty_l"), &Volume::litres);
    row.loop_volume = Volume::litres(cells.number("loop_volume_l").value_or(0.0));
    row.loop_volume_uncertainty = as(cells.number("loop_volume_uncertainty_l"), &Volume::litres);
    row.flow = as(cells.number("flow_l_per_min"), &Flow::l_per_min);
    row.flow_uncertainty = as(cells.number("flow_uncertainty_l_per_min"), &Flow::l_per_min);
    cells.read("sensor", row.sensor);
    row.oxygen = cells.channel("oxygen");
    row.temperature = cells.channel("temperature");
    row.pump = cells.channel("pump");
    row.sensor_lag_s = cells.number("sensor_lag_s");
    row.mixing_s = cells.number("mixing_s");
    return row;
}

/// The value of a decision by its act.
void read_value(Cells& cells, study::Decision& row, const TableZone& zone) {
    const auto& column = *study::table(study::TableName::decisions).column("value");
    const bool moves = row.act == study::DecisionAct::move_start || row.act == study::DecisionAct::move_end;
    const bool marks = row.act == study::DecisionAct::mark;
    if (row.value.empty() && (moves || marks)) {
        cells.complain(column, {.code = ErrorCode::bad_row,
                                .found = "an empty cell",
                                .expected = moves ? "the time to which the boundary moves"
                                                  : "good, doubtful or unusable",
                                .remedy = "fill it in",
                                .place = {},
                                .context = {}});
    } else if (moves) {
        row.moved_to = cells.time_in(column, row.value, zone);
    } else if (marks) {
        row.mark = cells.word_in<uptake::Mark>(column, row.value);
    }
}

template <typename Row>
void take_over(TablesRead& out, TableRead<Row> read, std::vector<Row>& rows, std::string_view bytes) {
    rows = std::move(read.rows);
    out.complaints.insert(out.complaints.end(), read.complaints.begin(), read.complaints.end());
    out.tables.own_columns[read.summary.file] = read.summary.free_columns;
    read.summary.bytes = bytes.size();
    read.summary.sha256 = sha256_hex(bytes);
    out.summaries.push_back(std::move(read.summary));
}

void read_one(study::TableName name, const std::string& file, std::string_view text,
              const TableContext& context, TablesRead& out) {
    auto& tables = out.tables;
    switch (name) {
    case study::TableName::fish:
        return take_over(out, read_fish(text, file, context), tables.fish, text);
    case study::TableName::encounters:
        return take_over(out, read_encounters(text, file, context), tables.encounters, text);
    case study::TableName::stays:
        return take_over(out, read_stays(text, file, context), tables.stays, text);
    case study::TableName::events:
        return take_over(out, read_events(text, file, context), tables.events, text);
    case study::TableName::assemblies:
        return take_over(out, read_assemblies(text, file, context), tables.assemblies, text);
    case study::TableName::calibrations:
        return take_over(out, read_calibrations(text, file, context), tables.calibrations, text);
    case study::TableName::clock_checks:
        return take_over(out, read_clock_checks(text, file, context), tables.clock_checks, text);
    case study::TableName::decisions:
        return take_over(out, read_decisions(text, file, context), tables.decisions, text);
    case study::TableName::declarations:
        return take_over(out, read_declarations(text, file, context), tables.declarations, text);
    }
}

} // namespace

TableContext context_of(const study::Brief& brief) {
    TableContext out{.zone = brief.study.zone, .clock_zones = {}};
    for (const auto& trace : brief.traces) {
        if (!trace.zone.empty()) {
            out.clock_zones.emplace(trace.clock_id().text(), trace.zone);
        }
    }
    return out;
}

TableRead<study::Fish> read_fish(std::string_view text, const std::string& file,
                                 const TableContext& context) {
    return read_rows<study::Fish>(study::TableName::fish, text, file, context, [](Cells& cells) {
        study::Fish row;
        cells.read("fish", row.id);
        row.species = cells.text("species");
        row.mass = as(cells.number("mass_g"), &Mass::grams);
        row.mass_uncertainty = as(cells.number("mass_uncertainty_g"), &Mass::grams);
        row.mass_source = cells.text("mass_source");
        row.fork_length_mm = cells.number("fork_length_mm");
        row.density = as(cells.number("density_kg_per_l"), &Density::kg_per_l);
        row.tag = cells.text("tag");
        return row;
    });
}

TableRead<study::Encounter> read_encounters(std::string_view text, const std::string& file,
                                            const TableContext& context) {
    return read_rows<study::Encounter>(study::TableName::encounters, text, file, context, [](Cells& cells) {
        study::Encounter row;
        cells.read("encounter", row.id);
        cells.read("fish", row.fish);
        row.at = cells.time("at");
        row.at_uncertainty = cells.seconds("at_uncertainty_s");
        row.method = cells.text("method");
        row.who = cells.text("who");
        row.where = cells.text("where");
        row.rig = cells.text("rig");
        row.unhooking = cells.text("unhooking");
        row.landing = cells.text("landing");
        row.hook_location = cells.text("hook_location");
        row.water_temperature = as(cells.number("water_temperature_c"), &Temperature::celsius);
        return row;
    });
}

TableRead<study::Stay> read_stays(std::string_view text, const std::string& file,
                                  const TableContext& context) {
    auto lines = read_rows<StayRow>(study::TableName::stays, text, file, context, stay_row);
    TableRead<study::Stay> out{
        .rows = {}, .complaints = std::move(lines.complaints), .summary = std::move(lines.summary)};
    for (auto& line : lines.rows) {
        if (!out.rows.empty() && out.rows.back().id == line.id) {
            join(out.rows.back(), std::move(line), out.complaints);
        } else {
            out.rows.push_back(first_of(std::move(line)));
        }
    }
    study::sort_by_place(out.complaints);
    return out;
}

TableRead<study::Event> read_events(std::string_view text, const std::string& file,
                                    const TableContext& context) {
    return read_rows<study::Event>(study::TableName::events, text, file, context, [](Cells& cells) {
        study::Event row;
        row.at = cells.time("at").value_or(Instant());
        row.at_uncertainty = cells.seconds("at_uncertainty_s");
        row.kind = cells.word<study::EventKind>("event").value_or(study::EventKind::note);
        cells.read("fish", row.fish);
        cells.read("stay", row.stay);
        cells.read("assembly", row.assembly);
        row.value = cells.number("value");
        row.unit = cells.text("unit");
        row.who = cells.text("who");
        row.rod = cells.text("rod");
        row.rig = cells.text("rig");
        return row;
    });
}

TableRead<study::Assembly> read_assemblies(std::string_view text, const std::string& file,
                                           const TableContext& context) {
    return read_rows<study::Assembly>(study::TableName::assemblies, text, file, context, assembly_row);
}

TableRead<study::Calibration> read_calibrations(std::string_view text, const std::string& file,
                                                const TableContext& context) {
    return read_rows<study::Calibration>(
        study::TableName::calibrations, text, file, context, [](Cells& cells) {
            study::Calibration row;
            cells.read("sensor", row.sensor);
            row.at = cells.time("at").value_or(Instant());
            row.point = cells.word<study::CalibrationPoint>("point").value_or(study::CalibrationPoint::air);
            row.reading = cells.number("reading").value_or(0.0);
            row.unit = cells.text("unit");
            row.temperature = as(cells.number("temperature_c"), &Temperature::celsius);
            row.pressure = as(cells.number("pressure_kpa"), &Pressure::kilopascals);
            row.salinity = as(cells.number("salinity"), &Salinity::practical);
            row.uncertainty = cells.number("uncertainty");
            row.who = cells.text("who");
            return row;
        });
}

TableRead<study::ClockCheck> read_clock_checks(std::string_view text, const std::string& file,
                                               const TableContext& context) {
    const auto zone_of = [&](const study::ClockId& clock) {
        const auto found = context.clock_zones.find(clock.text());
        return zone_or_utc(found == context.clock_zones.end() ? context.zone : found->second);
    };
    return read_rows<study::ClockCheck>(
        study::TableName::clock_checks, text, file, context, [&](Cells& cells) {
            study::ClockCheck row;
            cells.read("clock", row.clock);
            cells.read("reference", row.reference);
            row.shown = cells.time("shown", zone_of(row.clock)).value_or(Instant());
            row.true_time =
                (row.reference.is_empty() ? cells.time("true") : cells.time("true", zone_of(row.reference)))
                    .value_or(Instant());
            row.uncertainty = cells.seconds("uncertainty_s");
            row.how = cells.text("how");
            return row;
        });
}

TableRead<study::Decision> read_decisions(std::string_view text, const std::string& file,
                                          const TableContext& context) {
    const TableZone zone = zone_or_utc(context.zone);
    return read_rows<study::Decision>(study::TableName::decisions, text, file, context, [&](Cells& cells) {
        study::Decision row;
        cells.read("stay", row.stay);
        row.moment = cells.time("moment");
        const auto act = cells.word<study::DecisionAct>("act");
        row.act = act.value_or(study::DecisionAct::note);
        row.value = cells.text("value");
        read_value(cells, row, zone);
        row.reason = cells.text("reason");
        row.author = cells.text("author");
        row.at = cells.time("at");
        row.treatment =
            cells.word<study::TreatmentSight>("treatment").value_or(study::TreatmentSight::not_said);
        return row;
    });
}

TableRead<study::Declaration> read_declarations(std::string_view text, const std::string& file,
                                                const TableContext& context) {
    return read_rows<study::Declaration>(
        study::TableName::declarations, text, file, context, [](Cells& cells) {
            study::Declaration row;
            row.question = cells.text("question");
            row.form_sha256 = cells.text("form_sha256");
            row.declared_at = cells.time("declared_at").value_or(Instant());
            row.author = cells.text("author");
            row.fish_met = cells.count("fish_met").value_or(0);
            row.results_seen = cells.word<study::YesNo>("results_seen") == study::YesNo::yes;
            return row;
        });
}

TablesRead read_tables(const std::filesystem::path& folder, const study::Brief& brief) {
    TablesRead out;
    const TableContext context = context_of(brief);
    for (const auto& definition : study::tables()) {
        auto bytes = read_file(folder / definition.file, std::uint64_t{64} << 20);
        if (bytes) {
            read_one(definition.name, definition.file, *bytes, context, out);
            continue;
        }
        TableSummary summary;
        summary.file = definition.file;
        summary.exists = false;
        out.summaries.push_back(std::move(summary));
        if (definition.need == Need::required || bytes.error().code != ErrorCode::file_missing) {
            out.complaints.push_back(
                {Severity::stops_the_run,
                 {.code = bytes.error().code,
                  .found =
                      bytes.error().code == ErrorCode::file_missing ? "no such file" : bytes.error().found,
                  .expected = definition.what,
                  .remedy = "`backeddy new` makes an empty one",
                  .place = {.file = definition.file, .line = {}, .column = {}, .byte = {}},
                  .context = {}}});
        }
    }
    return out;
}

} // namespace backeddy::intake
