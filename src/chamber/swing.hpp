#pragma once
// What sways with tide and day: the water's temperature, the oxygen that the inflow brings.

#include <vector>

namespace backeddy::chamber {

/// Period of the principal lunar semidiurnal tide, s (M2: 12.4206 h).
inline constexpr double tide_period_s = 12.4206 * 3600.0;
inline constexpr double day_period_s = 24.0 * 3600.0;

/// amplitude * cos(2 pi (t - high_at_s) / period_s)
struct Wave {
    double amplitude = 0.0;
    double period_s = tide_period_s;
    double high_at_s = 0.0;
};

/// mean + trend + waves, in whatever unit `mean` has. Time in seconds since the simulation's zero.
struct Swing {
    double mean = 0.0;
    double trend_per_h = 0.0;
    std::vector<Wave> waves;

    [[nodiscard]] double at(double t_s) const;
};

} // namespace backeddy::chamber
