#include "intake/add_rows.hpp"

#include <algorithm>

#include "intake/detail/csv_table.hpp"

namespace backeddy::intake {

namespace {

std::string cell_text(const std::string& cell, char delimiter) {
    const std::string special{delimiter, '"', '\r', '\n'};
    if (cell.find_first_of(special) == std::string::npos) {
        return cell;
    }
    std::string out = "\"";
    for (const char c : cell) {
        out += c == '"' ? "\"\"" : std::string(1, c);
    }
    return out + "\"";
}

std::string line_text(const std::vector<std::string>& names, const RowToAdd& row, char delimiter) {
    std::string out;
    for (std::size_t i = 0; i < names.size(); ++i) {
        const auto cell = row.find(names[i]);
        out += i == 0 ? "" : std::string(1, delimiter);
        out += cell == row.end() ? "" : cell_text(cell->second, delimiter);
    }
    return out;
}

std::string line_end_of(std::string_view bytes) {
    if (bytes.find("\r\n") != std::string_view::npos) {
        return "\r\n";
    }
    return bytes.find('\n') == std::string_view::npos && bytes.find('\r') != std::string_view::npos ? "\r"
                                                                                                    : "\n";
}

/// As its header has them.
std::vector<std::string> names_of(const CsvTable& table) {
    std::vector<std::string> out;
    for (const auto& header : table.header) {
        out.push_back(plain_name(header));
    }
    return out;
}

/// Why rows cannot be put behind this table.
Expected<void> may_take(const CsvTable& table, const std::vector<std::string>& names,
                        const std::vector<RowToAdd>& rows) {
    for (const auto& complaint : table.complaints) {
        if (complaint.severity == study::Severity::stops_the_run) {
            return fail(complaint.error);
        }
    }
    if (!table.encoding.starts_with("UTF-8")) {
        return fail({.code = ErrorCode::bad_text,
                     .found = "this table is " + table.encoding,
                     .expected = "UTF-8, to which rows can be added",
                     .remedy = "save it as \"CSV UTF-8\" and ask again",
                     .place = {.file = table.file}});
    }
    for (const auto& row : rows) {
        for (const auto& [name, cell] : row) {
            if (!cell.empty() && std::ranges::find(names, name) == names.end()) {
                return fail({.code = ErrorCode::missing_column,
                             .found = "no column \"" + name + "\"",
                             .expected = "every column of this table",
                             .remedy = "add it to the header",
                             .place = {.file = table.file, .line = table.header_line}});
            }
        }
    }
    return {};
}

} // namespace

Expected<std::string> with_rows(std::string_view bytes, study::TableName name,
                                const std::vector<RowToAdd>& rows) {
    const auto& definition = study::table(name);
    std::string out(bytes);
    std::vector<std::string> names = definition.column_names();
    char delimiter = ',';
    std::string line_end = "\n";
    if (bytes.empty()) {
        for (const auto& column : names) {
            out += (out.empty() ? "" : ",") + column;
        }
        out += line_end;
    } else {
        const CsvTable table = read_csv(bytes, definition.file);
        names = names_of(table);
        if (auto may = may_take(table, names, rows); !may) {
            return fail(std::move(may).error());
        }
        delimiter = table.delimiter;
        line_end = line_end_of(bytes);
        if (out.back() != '\n' && out.back() != '\r') {
            out += line_end;
        }
    }
    for (const auto& row : rows) {
        out += line_text(names, row, delimiter) + line_end;
    }
    return out;
}

bool takes_column(std::string_view bytes, study::TableName table, std::string_view column) {
    return bytes.empty() ||
           std::ranges::count(names_of(read_csv(bytes, study::table(table).file)), column) > 0;
}

} // namespace backeddy::intake
