#include "watch/plan.hpp"

#include <algorithm>

#include "water/oxygen.hpp"

namespace backeddy::watch {

double water_beside_fish_l(const ChamberPlan& chamber, std::optional<double> mass_kg) {
    return std::max(chamber.water_l - mass_kg.value_or(0.0), 0.1 * chamber.water_l);
}

double full_mg_per_l(const Plan& plan, double celsius) {
    return water::saturation_mg_per_l(std::clamp(celsius, 0.0, 40.0), plan.salinity, plan.pressure_kpa);
}

double turnover_s(const ChamberPlan& chamber, std::optional<double> mass_kg) {
    return water_beside_fish_l(chamber, mass_kg) / chamber.flow_l_per_min * 60.0;
}

double seen_after_s(const ChamberPlan& chamber) {
    return chamber.sensor_lag_s + chamber.mixing_s + (2.0 * chamber.interval_s);
}

} // namespace backeddy::watch
