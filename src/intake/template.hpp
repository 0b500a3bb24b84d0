#pragma once
// Start here: an empty study folder, ready to fill, and the same as sheets of paper for the boat.
//
//   auto made = write_template("my-study");   // or an Error: the folder holds something already
//
// All of it is made from the lists of study/columns.hpp and study/settings.hpp.

#include <filesystem>
#include <string>
#include <vector>

#include "base/error.hpp"

namespace backeddy::intake {

struct TemplateFile {
    std::string name; ///< inside the study folder
    std::string text;
};

/// study.toml with every setting as a remark at its default; the tables with their headers; README.md, which
/// explains each column; field-sheets.html. No file of `raw/`, which is an empty folder.
[[nodiscard]] std::vector<TemplateFile> template_files();

/// study.toml alone: valid TOML, in which nothing but the study's own section is set.
[[nodiscard]] std::string brief_template();

/// One self-contained page that prints on A4, black on white, no scripts: catch log, stays, calibrations,
/// clock checks, and what to keep in mind on deck.
[[nodiscard]] std::string field_sheets_html();

/// Writes them into `folder`, which is made when it is not there. Fails with bad_usage when it holds anything
/// (nothing is ever written over), with cannot_write when it cannot be made.
[[nodiscard]] Expected<void> write_template(const std::filesystem::path& folder);

} // namespace backeddy::intake
