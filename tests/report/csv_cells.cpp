#include "report/csv_cells.hpp"

#include <algorithm>

#include <gtest/gtest.h>

namespace backeddy::report {

Cells cells_of(const std::string& text) {
    Cells rows{{""}};
    bool is_quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        if (is_quoted) {
            if (c == '"' && i + 1 < text.size() && text[i + 1] == '"') {
                rows.back().back() += '"';
                ++i;
            } else if (c == '"') {
                is_quoted = false;
            } else {
                rows.back().back() += c;
            }
        } else if (c == '"') {
            is_quoted = true;
        } else if (c == ',') {
            rows.back().emplace_back();
        } else if (c == '\n') {
            rows.push_back({""});
        } else {
            rows.back().back() += c;
        }
    }
    rows.pop_back();
    return rows;
}

std::string cell(const Cells& rows, std::size_t row, const std::string& column) {
    const auto found = std::ranges::find(rows.at(0), column);
    EXPECT_NE(found, rows.at(0).end()) << "no column " << column;
    return found == rows[0].end() ? "" : rows.at(row).at(static_cast<std::size_t>(found - rows[0].begin()));
}

void expect_square(const Cells& rows) {
    for (const auto& row : rows) {
        EXPECT_EQ(row.size(), rows[0].size());
    }
    auto names = rows[0];
    std::ranges::sort(names);
    EXPECT_EQ(std::ranges::adjacent_find(names), names.end()) << "two columns of one name";
}

} // namespace backeddy::report
