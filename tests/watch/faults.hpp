#pragma once
// The faults that the watch has to catch, each with the alarm that shall come and the time it may take.

#include <optional>
#include <ostream>
#include <string>
#include <vector>

#include "watch/simulated_room.hpp"

namespace backeddy::watch::test {

struct SeededCase {
    std::string name;
    bool on_boat = false;         ///< a tube after capture, else a shore chamber at rest
    std::vector<Fault> faults;    ///< times count from the fault's moment
    std::vector<Cause> caught_by; ///< any of these
    double within_s = 60.0;
    double within_turnovers = 0.0; ///< of the pump, instead of within_s
    bool while_flushing = false;   ///< the fault comes late in a flush; else while sealed
    double display_step_mg_per_l = 0.001;
    bool keeps_the_floor = true; ///< oxygen stays above the floor less 2 %: the flush still works

    friend std::ostream& operator<<(std::ostream& out, const SeededCase& seeded) {
        return out << seeded.name;
    }
};

[[nodiscard]] std::vector<SeededCase> seeded_cases();

struct Caught {
    std::optional<double> caught_after_s;
    double within_s = 0.0;
    std::vector<std::string> raised;
    double lowest_percent = 100.0;
};

/// Plays one fault in a night of its own.
[[nodiscard]] Caught play(const SeededCase& seeded, std::uint64_t seed, const Settings& settings = {});

} // namespace backeddy::watch::test
