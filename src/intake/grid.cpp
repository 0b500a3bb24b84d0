#include "intake/grid.hpp"

#include <algorithm>
#include <utility>

#include "base/file.hpp"
#include "intake/detail/table_cells.hpp"

namespace backeddy::intake {

Expected<Grid> read_grid(const std::filesystem::path& folder, study::TableName table,
                         const study::Edits& edits) {
    const auto& definition = study::table(table);
    auto bytes = read_file(folder / definition.file, most_table_bytes);
    const bool is_missing = !bytes && bytes.error().code == ErrorCode::file_missing;
    if (!bytes && !is_missing) {
        return fail(std::move(bytes).error());
    }
    const Sheet sheet(definition, bytes ? std::string_view(*bytes) : std::string_view(), definition.file,
                      edits);
    Grid out{.file = definition.file,
             .exists = !is_missing,
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

} // namespace backeddy::intake
