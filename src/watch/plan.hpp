#pragma once
// What the watch has to know of the station: its chambers, their water, pumps and sensors.

#include <optional>
#include <string>
#include <vector>

#include "watch/settings.hpp"

namespace backeddy::watch {

/// How noisy a sensor is (fit::NoiseModel in plain numbers): white, and first-order autoregressive.
struct SensorNoise {
    double white_sd_mg_per_l = 0.01;
    double coloured_sd_mg_per_l = 0.0;
    double coloured_time_s = 10.0; ///< above 0
};

struct ChamberPlan {
    std::string name;
    double water_l = 10.0;              ///< chamber and loop, without a fish; above 0
    double flow_l_per_min = 10.0;       ///< the flush pump's; above 0
    double sensor_lag_s = 6.0;          ///< time constant, 0 or more
    double mixing_s = 10.0;             ///< until a change shows at the sensor; 0 or more
    double interval_s = 1.0;            ///< between readings; above 0
    double display_step_mg_per_l = 0.0; ///< 0 for none
    SensorNoise noise;
    bool has_temperature = true; ///< a channel of its own; otherwise `temperature_celsius` is believed
    double temperature_celsius = 12.0;
};

struct Plan {
    std::vector<ChamberPlan> chambers;
    double salinity = 0.0;       ///< practical
    double pressure_kpa = 101.3; ///< at the station
    Settings settings;
};

/// Fish 1 kg/L: what a provisional volume may be wrong by is far under what control needs.
[[nodiscard]] double water_beside_fish_l(const ChamberPlan& chamber, std::optional<double> mass_kg);
/// 100 % air saturation, mg/L.
[[nodiscard]] double full_mg_per_l(const Plan& plan, double celsius);
/// Seconds in which the pump brings the water volume once.
[[nodiscard]] double turnover_s(const ChamberPlan& chamber, std::optional<double> mass_kg);
/// Sensor lag, mixing and two readings: how long a change takes to be seen.
[[nodiscard]] double seen_after_s(const ChamberPlan& chamber);

} // namespace backeddy::watch
