#pragma once
// The answer of one sealed spell: what peak, rest and recovery are made of.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "quantity/measured.hpp"
#include "series/instant.hpp"

namespace backeddy::uptake {

/// What quality control says of a sealed spell.
enum class Mark : std::uint8_t { good, doubtful, unusable };

/// Why, in words a reviewer can read, and a short fixed word a program can count ("gap", "bubble",
/// "low_oxygen", "excluded_by_hand").
struct Reason {
    std::string word;
    std::string text;

    friend bool operator==(const Reason&, const Reason&) = default;
};

/// Signs: slopes are negative numbers, uptakes positive.
struct SpellUptake {
    Instant sealed_from; ///< when the chamber closed
    Instant from;        ///< first reading used (after settle)
    Instant to;          ///< last reading used
    std::size_t readings = 0;

    double slope_mg_per_l_h = 0.0;
    double slope_error = 0.0; ///< by the sensor's noise model, mg/L/h
    double slope_error_ordinary = 0.0;
    double slope_error_newey_west = 0.0;
    double effective_readings = 0.0;
    double r_squared = 0.0;
    double residual_sd_mg_per_l = 0.0;
    double curvature_share = 0.0;       ///< change of slope over the window as a share of the slope
    double curvature_share_error = 0.0; ///< its standard error

    double oxygen_start_mg_per_l = 0.0; ///< of the fitted line, at `from` and `to`
    double oxygen_end_mg_per_l = 0.0;
    double saturation_start_percent = 0.0;
    double saturation_end_percent = 0.0;
    double temperature_mean_celsius = 0.0;
    double temperature_drift_c_per_h = 0.0;

    Measured total_mg_per_h;                    ///< -slope times the water's volume
    Measured background_mg_per_h;               ///< what microbes took in the same chamber
    Measured uptake_mg_per_h;                   ///< whole animal: total less background
    std::optional<Measured> uptake_mg_per_kg_h; ///< nothing until the fish is weighed

    Mark mark = Mark::good;
    std::vector<Reason> reasons;

    [[nodiscard]] Instant middle() const {
        return from + Duration::nanoseconds((to - from).nanoseconds() / 2);
    }
    [[nodiscard]] bool is_usable() const { return mark != Mark::unusable; }
};

} // namespace backeddy::uptake
