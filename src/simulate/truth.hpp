#pragma once
// What a simulated study knows of itself: true peaks, rests, excesses, states, volumes, sensors, clocks and
// what was planted. Written beside the study, never read by the program's estimators.

#include <cstdint>
#include <filesystem>
#include <optional>

#include "base/error.hpp"
#include "simulate/season.hpp"

namespace backeddy::simulate {

/// The best minute that a perfect estimator could find: the highest 60-s mean inside one sealed spell after
/// its settle. Nothing when no spell is that long.
struct BestMinute {
    double from_s = 0.0;
    double mg_per_h = 0.0;
};
[[nodiscard]] std::optional<BestMinute> best_minute(const SimulationPlan& plan, const Season& season,
                                                    const Stay& stay);

/// When a sealed spell's settle is over by the recommended defaults: mixing + 3 lags after capture and chase;
/// mixing
/// + 5 lags, at least 60 s, else.
[[nodiscard]] double settle_s(const SimulationPlan& plan, const Stay& stay);

/// Writes truth/*.csv, truth/README.md and truth/simulation.toml into `folder`.
[[nodiscard]] Expected<void> write_truth(const SimulationPlan& plan, const Season& season, std::uint64_t seed,
                                         const std::filesystem::path& folder);

} // namespace backeddy::simulate
