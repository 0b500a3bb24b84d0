#pragma once
// A study as read: the brief, its tables, and what is wrong with them.

#include <vector>

#include "study/brief.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// `stops`: no number may be made of it. `beware`: the run goes on and the report says so.
enum class Severity : std::uint8_t { stops, beware };

struct Complaint {
    Severity severity = Severity::stops;
    Error error;
};

struct Study {
    Brief brief;
    std::vector<Fish> fish;
    std::vector<Encounter> encounters;
    std::vector<Stay> stays;   ///< by `from`
    std::vector<Event> events; ///< by time
    std::vector<Assembly> assemblies;
    std::vector<Calibration> calibrations;
    std::vector<ClockCheck> clock_checks;
    std::vector<Decision> decisions;
};

} // namespace backeddy::study
