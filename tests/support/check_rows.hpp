#pragma once
// Reads the tables of check values that lie outside the repository (environment variable BACKEDDY_REFERENCE).

#include <cstdlib>
#include <fstream>
#include <map>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

namespace backeddy::test {

using CheckRow = std::map<std::string, std::string>;

/// Said when the reference folder is not there, so that nobody takes a skipped check for a passed one.
inline const char* const reference_unset =
    "BACKEDDY_REFERENCE is not set: the outside check values were NOT compared in this run";

/// The path of `file` in the reference folder, or nothing when BACKEDDY_REFERENCE is unset.
inline std::optional<std::string> reference_path(const std::string& file) {
    const char* folder = std::getenv("BACKEDDY_REFERENCE");
    if (folder == nullptr || *folder == '\0') {
        return std::nullopt;
    }
    return std::string(folder) + "/" + file;
}

/// Rows of a comma-separated table with a header and double-quoted cells, as maps from column to text.
inline std::vector<CheckRow> check_rows(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::stringstream text;
    text << file.rdbuf();
    std::vector<std::vector<std::string>> rows(1, std::vector<std::string>(1));
    bool quoted = false;
    for (const char c : text.str()) {
        if (c == '"') {
            quoted = !quoted;
        } else if (c == ',' && !quoted) {
            rows.back().emplace_back();
        } else if (c == '\n' && !quoted) {
            rows.emplace_back(1);
        } else if (c != '\r') {
            rows.back().back() += c;
        }
    }
    std::vector<CheckRow> out;
    for (std::size_t r = 1; r < rows.size(); ++r) {
        if (rows[r].size() != rows[0].size()) {
            continue; // the empty last line
        }
        CheckRow row;
        for (std::size_t c = 0; c < rows[0].size(); ++c) {
            row[rows[0][c]] = rows[r][c];
        }
        out.push_back(std::move(row));
    }
    return out;
}

} // namespace backeddy::test
