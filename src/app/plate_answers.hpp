#pragma once
// The assay plates of plates.csv: their files read, joined with wells.csv and evaluated.

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "app/study.hpp"
#include "condition/plate.hpp"
#include "intake/plate_file.hpp"
#include "report/results.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

struct PlateAnswer {
    study::PlateRow row;
    std::optional<report::Input> input;           ///< nothing: there is no file to read
    std::optional<intake::PlateReading> reading;  ///< nothing: it could not be read
    std::vector<condition::Well> wells;           ///< with their responses, by place
    std::optional<condition::PlateResult> result; ///< concentrations in the plate's unit
    std::string unanswered;                       ///< why there is no result; else empty
};

struct PlateAnswers {
    std::vector<PlateAnswer> list;            ///< in the order of plates.csv
    std::vector<study::Complaint> complaints; ///< all of them warnings: the rest runs on
};

/// Reads, joins and evaluates. A plate that cannot be read or evaluated says why and is told; wells that are
/// not in its file are left out and told.
[[nodiscard]] PlateAnswers answer_plates(const std::filesystem::path& folder, const Study& study);

} // namespace backeddy::app
