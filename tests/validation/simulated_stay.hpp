#pragma once
// One stay out of the chamber's physics, in memory: what the estimators are told, and the truth.
//
// Drawn anew for each stay (u: the standard uncertainty that the estimators are told; the error is normal
// with that sd): chamber volume (u 0.5 %), weighing (u 5 g), density (u 0.01 kg/L), sensor gain (spread 2 %)
// and zero (0.3 % of air saturation) known through two calibration points (u 0.5 and 0.2 % of air
// saturation), thermometer (u 0.1 degC), salinity (u 0.5), pressure (u 0.3 kPa), sensor lag (10 %, not told),
// mass 0.5-2 kg, chamber to fish volume 10-20 after capture and 25-50 at rest, temperature 8-18 degC drifting
// up to 0.15 degC/h, resting level 50-110 mg/kg/h, peak 3-7 times rest with a fast and a slow phase, bouts at
// rest, microbes 1-5 % of rest growing by 2-10 % an hour, blanks before and after, sensor noise of the
// scenario.

#include <cstdint>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "chamber/respiration.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::validation {

/// A row of scenarios.csv.
struct Scenario {
    uptake::StayRole role = uptake::StayRole::rest;
    double sealed_s = 600.0;
    double interval_s = 1.0;
    std::string noise;
    double white_sd = 0.0; ///< mg/L
    double coloured_sd = 0.0;
    double coloured_time_s = 1.0;
    std::uint64_t stays = 0;
    std::uint64_t seed = 0;
};

[[nodiscard]] Expected<std::vector<Scenario>> read_scenarios(const std::string& path);

struct SimulatedStay {
    // What the estimators are told.
    uptake::ChamberTrace trace;
    struct Part {
        uptake::StayRole role = uptake::StayRole::blank;
        std::size_t first_row = 0;
        std::size_t end_row = 0;
    };
    std::vector<Part> parts; ///< blank before, the fish, blank after
    uptake::ChamberPhysics chamber;
    uptake::OxygenBudget oxygen;
    uptake::FishBody fish;

    // The truth.
    chamber::Respiration respiration{chamber::Fish{}, chamber::Swing{}};
    Instant zero; ///< of the respiration's seconds

    /// Mean uptake of the fish between two moments, mg/kg/h.
    [[nodiscard]] double true_mg_per_kg_h(Instant from, Instant to) const;
    /// The same weighted as the slope of a least-squares line weighs the moments of its window, by 6 u (1 -
    /// u), u from 0 to 1 (closed form: the slope's kernel integrated once). Equal to the mean when uptake is
    /// steady or changes straight in time.
    [[nodiscard]] double line_weighted_mg_per_kg_h(Instant from, Instant to) const;
};

[[nodiscard]] Expected<SimulatedStay> simulate_stay(const Scenario& scenario, std::uint64_t number);

} // namespace backeddy::validation
