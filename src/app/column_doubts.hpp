#pragma once
// Columns of the study's own whose name something else has: a question that names it gets one of the two.

#include <vector>

#include "app/study.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// A warning for each own column of fish.csv or encounters.csv that holds something and has the name of a
/// column that the program fills, or stands in both tables: it says which of the two questions are told.
/// None for fight_s, air_s and handling_s: they are typed on purpose where no event tells them.
[[nodiscard]] std::vector<study::Complaint> column_doubts(const Study& study);

} // namespace backeddy::app
