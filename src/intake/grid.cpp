#include "intake/grid.hpp"

#include <algorithm>
#include <optional>
#include <string_view>
#include <utility>

#include "base/file.hpp"
#include "intake/detail/table_cells.hpp"

namespace backeddy::intake {

namespace {

/// Nothing where there is no file.
Expected<std::optional<std::string>> table_bytes(const std::filesystem::path& folder,
                                                 const study::TableDefinition& definition) {
    auto bytes = read_file(folder / definition.file, most_table_bytes);
    if (bytes) {
        return std::optional(std::move(*bytes));
    }
    if (bytes.error().code == ErrorCode::file_missing) {
        return std::optional<std::string>();
    }
    return fail(std::move(bytes).error());
}

/// As an entry of the journal would write it.
std::string as_entries_write(const std::string& cell, const ColumnDefinition& column, Decimal decimal,
                             const TableZone& zone) {
    if (column.kind == CellKind::time) {
        const auto moment = cell.empty() ? Expected<Instant>(fail(Error{})) : zone.read(cell);
        return moment ? iso_text(*moment) : cell;
    }
    std::string out = cell;
    if (holds_numbers(column) && decimal == Decimal::comma) {
        std::ranges::replace(out, ',', '.');
    }
    return out;
}

} // namespace

Expected<Grid> read_grid(const std::filesystem::path& folder, study::TableName table,
                         const study::Edits& edits) {
    const auto& definition = study::table(table);
    const auto bytes = table_bytes(folder, definition);
    if (!bytes) {
        return fail(bytes.error());
    }
    const Sheet sheet(definition, bytes->value_or(std::string()), definition.file, edits);
    Grid out{.file = definition.file,
             .exists = bytes->has_value(),
             .has_decimal_comma = sheet.decimal() == Decimal::comma,
             .columns = sheet.csv().header,
             .rows = {}};
    if (out.columns.empty()) {
        out.columns = definition.column_names();
    }
    for (const auto& row : sheet.csv().rows) {
        GridRow shown{.line = row.line, .added_by = {}, .cells = row.cells, .in_file = row.in_file};
        if (row.is_added) {
            const auto adding = std::ranges::find(edits, row.line, &study::Edit::number);
            shown.added_by = adding == edits.end() ? std::string() : adding->id;
        } else if (shown.in_file.empty()) {
            shown.in_file = row.cells; // no edit means this table
        }
        out.rows.push_back(std::move(shown));
    }
    return out;
}

Expected<std::vector<FileRow>> read_file_rows(const std::filesystem::path& folder, study::TableName table,
                                              const std::string& zone) {
    const auto& definition = study::table(table);
    const auto bytes = table_bytes(folder, definition);
    if (!bytes) {
        return fail(bytes.error());
    }
    const auto known_zone = TableZone::named(zone);
    const Sheet sheet(definition, bytes->value_or(std::string()), definition.file, {});
    std::vector<FileRow> out;
    for (const auto& row : sheet.csv().rows) {
        auto& read = out.emplace_back();
        for (std::size_t i = 0; i < sheet.csv().header.size(); ++i) {
            const auto& header = sheet.csv().header[i];
            const auto* column = definition.column(plain_name(header));
            const auto& name = column == nullptr ? header : column->name;
            const auto cell = column == nullptr ? row.cells[i]
                                                : as_entries_write(row.cells[i], *column, sheet.decimal(),
                                                                   known_zone ? *known_zone : TableZone());
            if (read.cells.emplace(name, cell).second && cell != row.cells[i]) {
                read.in_file.emplace(name, row.cells[i]);
            }
        }
    }
    return out;
}

} // namespace backeddy::intake
