#pragma once
// Whether the fish that the others' deaths are held against are there.

#include <vector>

#include "app/study.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// A warning where [fates] control names a group that no fish is of: nothing is corrected then.
[[nodiscard]] std::vector<study::Complaint> control_doubts(const Study& study);

} // namespace backeddy::app
