#pragma once
// The sheets of a fish's condition as people would have kept them, the plate readers' files, and the truth of
// both. Only what the plan has a section for is written.

#include <cstdint>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "simulate/assay.hpp"

namespace backeddy::simulate {

using NamedText = std::pair<std::string, std::string>; ///< file below the study folder, its text

/// The wells of each [[plate]].
using AssayPlates = std::vector<std::vector<AssayWell>>;
[[nodiscard]] AssayPlates assay_plates(const SimulationPlan& plan, const Season& season,
                                       const Condition& condition, std::uint64_t seed);

/// blood.csv, samples.csv, plates.csv, wells.csv, fins.csv, body.csv, reflexes.csv, fates.csv, and the
/// exports below raw/plates.
[[nodiscard]] std::vector<NamedText> condition_files(const SimulationPlan& plan, const Season& season,
                                                     const Condition& condition, const AssayPlates& plates);

/// truth/blood.csv, meters.csv, plates.csv, wells.csv, fins.csv, body.csv, reflexes.csv and fates.csv.
[[nodiscard]] std::vector<NamedText> condition_truth(const SimulationPlan& plan, const Season& season,
                                                     const Condition& condition, const AssayPlates& plates);

/// What the study's brief says of them.
[[nodiscard]] std::string condition_brief(const SimulationPlan& plan, const Condition& condition);

} // namespace backeddy::simulate
