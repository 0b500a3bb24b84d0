#pragma once
// The tables beside results.json: comma-separated, UTF-8, a header line whose names carry their units.
//
// Numbers are written with the shortest digits that read back exactly; a missing one is an empty cell. Text
// that a spreadsheet would take for a formula (it begins with = + - @, a tab or a carriage return) gets a
// leading apostrophe.

#include <string>
#include <string_view>

#include "report/results.hpp"

namespace backeddy::report {

/// A row per sealed spell, blanks included (their fish is empty).
[[nodiscard]] std::string spell_table(const Results& results);
/// A row per stay, blanks included.
[[nodiscard]] std::string stay_table(const Results& results);
/// A row per fish with all metrics, their standard uncertainties and 95 % intervals, and why one is missing.
[[nodiscard]] std::string fish_table(const Results& results);

/// A row per rig and step from bite to landing, then its misses, losses and landed species.
[[nodiscard]] std::string catch_table(const Results& results);

/// A row per effect of each finding, with its 95 % interval and the same with human exclusions undone; a
/// question without an answer has one row that says why.
[[nodiscard]] std::string findings_table(const Results& results);

/// A row per fish of its condition: the first value of each analyte after the event, its fins, reflexes,
/// handling and fate. The header has a column for each analyte and handling time of the study.
[[nodiscard]] std::string condition_table(const Results& results);
/// A row per analyte of each draw of blood, with the road back to tube, plate and wells; a draw of which
/// nothing was measured has a row without an analyte.
[[nodiscard]] std::string blood_table(const Results& results);
/// A row per standard, blank, control, sample and spiked sample of each plate, and below one in several
/// dilutions a row for each of these; a plate that could not be worked out has one row that says why.
[[nodiscard]] std::string plate_table(const Results& results);

/// One cell of text: neutralised as above, quoted where it must be (RFC 4180).
[[nodiscard]] std::string text_cell(std::string_view text);

} // namespace backeddy::report
