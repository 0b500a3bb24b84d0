#pragma once
// Complaints that only follow from another: of what refers to a table, a brief or a trace that could not be
// read.

#include <cstddef>
#include <string>
#include <vector>

#include "app/raw_traces.hpp"
#include "app/study.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// Takes them out and says how many there were. Their causes stay, so what stops a run still does.
std::size_t drop_followers(std::vector<study::Complaint>& complaints, const Study& study,
                           const RawTraces& traces);

/// "3 more that follow from what could not be read are not shown"; empty for none.
[[nodiscard]] std::string followers_text(std::size_t count);

} // namespace backeddy::app
