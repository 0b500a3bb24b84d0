#pragma once
// Outside values for tests.
//
//   const auto cases = support::reference_cases("stats/01_regression.json");
//   if (!cases) GTEST_SKIP() << support::no_reference;
//   const auto& c = support::case_of(*cases, "ols_cars");
//   const auto table = support::read_table(support::reference_folder().value() / "stats" / c["data"]);
//   EXPECT_PRED_FORMAT3 ... or support::expect_agrees(c, "/estimate/speed", got, scale);
//
// Reference data outside this repository are found through the environment variable BACKEDDY_REFERENCE.
// NIST's are in tests/reference/nist and always there.

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <map>
#include <optional>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace backeddy::support {

using Json = nlohmann::json;

/// What a test says when it cannot run.
inline constexpr const char* no_reference = "The outside reference data are not on this machine: set "
                                            "BACKEDDY_REFERENCE to their folder to run this test.";

/// The folder that BACKEDDY_REFERENCE names, if it is there.
inline std::optional<std::filesystem::path> reference_folder() {
    const char* named = std::getenv("BACKEDDY_REFERENCE");
    if (named == nullptr || !std::filesystem::is_directory(named)) {
        return std::nullopt;
    }
    return std::filesystem::path(named);
}

inline std::string read_text(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    if (!in) {
        throw std::runtime_error("cannot read " + path.string());
    }
    std::ostringstream out;
    out << in.rdbuf();
    return std::move(out).str();
}

/// The parsed file below the reference folder; nothing when there is no such folder. Throws when the file is
/// missing.
inline std::optional<Json> reference_json(const std::string& below) {
    const auto folder = reference_folder();
    if (!folder) {
        return std::nullopt;
    }
    return Json::parse(read_text(*folder / below));
}

/// The "cases" of a numbered file.
inline std::optional<Json> reference_cases(const std::string& below) {
    auto whole = reference_json(below);
    if (!whole) {
        return std::nullopt;
    }
    return whole->at("cases");
}

inline const Json& case_of(const Json& cases, std::string_view id) {
    for (const auto& one : cases) {
        if (one.at("id").get<std::string>() == id) {
            return one;
        }
    }
    throw std::runtime_error("no reference case named " + std::string(id));
}

/// A comma-separated table with a header; cells as text and, on request, as numbers.
struct Table {
    std::vector<std::string> names;
    std::vector<std::vector<std::string>> columns;

    [[nodiscard]] std::size_t rows() const { return columns.empty() ? 0 : columns.front().size(); }
    [[nodiscard]] const std::vector<std::string>& text(std::string_view name) const {
        for (std::size_t i = 0; i < names.size(); ++i) {
            if (names[i] == name) {
                return columns[i];
            }
        }
        throw std::runtime_error("no column " + std::string(name));
    }
    /// NA and empty cells are NaN.
    [[nodiscard]] std::vector<double> numbers(std::string_view name) const {
        std::vector<double> out;
        for (const auto& cell : text(name)) {
            out.push_back(cell.empty() || cell == "NA" ? std::numeric_limits<double>::quiet_NaN()
                                                       : std::stod(cell));
        }
        return out;
    }
};

inline Table read_table(const std::filesystem::path& path) {
    Table table;
    std::istringstream in(read_text(path));
    std::string line;
    bool is_header = true;
    while (std::getline(in, line)) {
        if (!line.empty() && line.back() == '\r') {
            line.pop_back();
        }
        std::vector<std::string> cells(1);
        bool is_quoted = false;
        for (const char c : line) {
            if (c == '"') {
                is_quoted = !is_quoted;
            } else if (c == ',' && !is_quoted) {
                cells.emplace_back();
            } else {
                cells.back() += c;
            }
        }
        if (is_header) {
            table.names = cells;
            table.columns.resize(cells.size());
            is_header = false;
        } else if (cells.size() == table.names.size()) {
            for (std::size_t i = 0; i < cells.size(); ++i) {
                table.columns[i].push_back(cells[i]);
            }
        }
    }
    return table;
}

/// The data of a case of a numbered file below `stats`.
inline Table data_of(const Json& one) {
    return read_table(reference_folder().value() / "stats" / one.at("data").get<std::string>());
}

/// NIST's certified sets, in this repository.
inline std::filesystem::path nist_folder() {
    return std::filesystem::path(BACKEDDY_SOURCE_DIR) / "tests" / "reference" / "nist";
}
inline Json nist_sets() {
    return Json::parse(read_text(nist_folder() / "certified.json")).at("sets");
}

/// A number, or "Inf" or "-Inf"; R's missing (null) is NaN.
inline double number_of(const Json& value) {
    if (value.is_string()) {
        return value.get<std::string>() == "Inf" ? std::numeric_limits<double>::infinity()
                                                 : -std::numeric_limits<double>::infinity();
    }
    return value.is_null() ? std::numeric_limits<double>::quiet_NaN() : value.get<double>();
}

inline std::vector<double> numbers_of(const Json& values) {
    std::vector<double> out;
    for (const auto& v : values) {
        out.push_back(number_of(v));
    }
    return out;
}

/// The suggested relative tolerance of the field at `pointer` ("/by_rows/0/se"): `default`, or that of the
/// key K which the deepest part of the pointer equals or begins with "K_".
inline double tolerance_of(const Json& one, const std::string& pointer) {
    const auto& tol = one.at("tol");
    double found = tol.at("default").get<double>();
    std::istringstream parts(pointer);
    std::string part;
    while (std::getline(parts, part, '/')) {
        for (const auto& [key, value] : tol.items()) {
            if (key != "default" && (part == key || part.rfind(key + "_", 0) == 0)) {
                found = value.get<double>();
            }
        }
    }
    return found;
}

/// |got - want| <= tolerance * max(|want|, scale), both infinite alike, or both NaN.
inline ::testing::AssertionResult agrees(double got, double want, double tolerance, double scale,
                                         const std::string& what) {
    if (std::isnan(want) ? std::isnan(got) : got == want) {
        return ::testing::AssertionSuccess();
    }
    const double allowed = tolerance * std::max(std::abs(want), scale);
    if (std::abs(got - want) <= allowed) {
        return ::testing::AssertionSuccess();
    }
    std::ostringstream out;
    out.precision(17);
    out << what << ": expected " << want << ", got " << got << ", apart by " << std::abs(got - want)
        << ", allowed " << allowed << " (relative tolerance " << tolerance << ", scale " << scale << ")";
    return ::testing::AssertionFailure() << out.str();
}

/// Compares `got` with the case's expected value at `pointer` by the tolerance rule of the reference data.
/// `scale` is the standard error for an estimate, sqrt(v_ii v_jj) for a covariance, 1 for a log-likelihood.
inline void expect_agrees(const Json& one, const std::string& pointer, double got, double scale = 1e-12) {
    const double want = number_of(one.at("expected").at(Json::json_pointer(pointer)));
    EXPECT_TRUE(agrees(got, want, tolerance_of(one, pointer), scale,
                       one.at("id").get<std::string>() + " (" + one.value("source", "") + ") " + pointer));
}

} // namespace backeddy::support
