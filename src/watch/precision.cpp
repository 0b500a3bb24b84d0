#include "watch/precision.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::watch {

double slope_error(const ChamberPlan& chamber, double length_s) {
    const double a = length_s / 2.0;
    const double X = 2.0 * a * a * a / 3.0;
    const double step = chamber.display_step_mg_per_l;
    const double white =
        (chamber.noise.white_sd_mg_per_l * chamber.noise.white_sd_mg_per_l) + (step * step / 12.0);
    const double tau = chamber.noise.coloured_time_s;
    const double coloured = chamber.noise.coloured_sd_mg_per_l * chamber.noise.coloured_sd_mg_per_l;
    double I = 0.0;
    if (a > 0.05 * tau) {
        I = (4.0 * tau * a * a * a / 3.0) -
            (2.0 * tau * tau * (a + tau) * ((a - tau) + ((a + tau) * std::exp(-2.0 * a / tau))));
    }
    return std::sqrt((white * chamber.interval_s / X) + (coloured * std::max(0.0, I) / (X * X)));
}

namespace {

/// The shortest window with that error, by halving: the error falls as the window grows.
double window_for(const ChamberPlan& chamber, double wanted, double longest_s) {
    double low = 1.0;
    double high = longest_s;
    if (slope_error(chamber, high) > wanted) {
        return longest_s;
    }
    while (high - low > 0.5) {
        const double middle = (low + high) / 2.0;
        (slope_error(chamber, middle) > wanted ? low : high) = middle;
    }
    return high;
}

double oxygen_lasts_s(const Prospect& prospect) {
    constexpr double faster = 1.3; // a fish that stirs; common practice, no source
    return (prospect.level_mg_per_l - prospect.floor_mg_per_l) / (faster * *prospect.fall_mg_per_l_s);
}

} // namespace

double next_sealed_s(const CycleSettings& cycle, const ChamberPlan& chamber, const Prospect& prospect) {
    const bool known = prospect.fall_mg_per_l_s && *prospect.fall_mg_per_l_s > 0.0;
    double length = cycle.sealed_s;
    if (cycle.timing == Timing::precision && known) {
        const double wanted = cycle.wanted_error_share * *prospect.fall_mg_per_l_s;
        length = cycle.settle_s + window_for(chamber, wanted, cycle.longest_sealed_s);
        length = std::max(length, cycle.shortest_sealed_s);
        length = std::min(length, std::max(oxygen_lasts_s(prospect), cycle.settle_s + 60.0));
    }
    return std::min(length, cycle.longest_sealed_s);
}

} // namespace backeddy::watch
