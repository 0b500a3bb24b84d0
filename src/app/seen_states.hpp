#pragma once
// When each stay's chamber was flushed and sealed, for a person to look over before a run: which source said
// so, how many spells, and where the trace itself had to be asked, its boundaries with their errors.

#include <string>
#include <vector>

#include "app/chambers.hpp"
#include "app/raw_traces.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

struct SeenStates {
    /// For each of RawTraces::files, a line for each stay whose oxygen is in it.
    std::vector<std::vector<std::string>> by_file;
    /// Stays without readings or states, decisions that mean no sealed spell: warnings, as in a run.
    std::vector<study::Complaint> complaints;
};

[[nodiscard]] SeenStates see_states(const Study& study, const RawTraces& traces, const Chambers& chambers,
                                    Threads threads);

} // namespace backeddy::app
