#include "watch/flush_course.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::watch {

double FlushCourse::working_at(double t_s) const {
    return reach_mg_per_l +
           ((start_mg_per_l - reach_mg_per_l) * std::exp(-std::max(0.0, t_s - from_s) / turnover_s));
}

double FlushCourse::dead_at(double t_s) const {
    return start_mg_per_l - (fall_mg_per_l_s * std::max(0.0, t_s - from_s));
}

double FlushCourse::target(double share) const {
    return start_mg_per_l + (share * (reach_mg_per_l - start_mg_per_l));
}

FlushCourse flush_course(double from_s, double start_mg_per_l, double inflow_mg_per_l, double uptake_mg_per_h,
                         double water_l, double turnover_s) {
    const double fall = uptake_mg_per_h / water_l / 3600.0;
    return {.from_s = from_s,
            .start_mg_per_l = start_mg_per_l,
            .inflow_mg_per_l = inflow_mg_per_l,
            .reach_mg_per_l = inflow_mg_per_l - (fall * turnover_s), // R / F = (R / V) (V / F)
            .fall_mg_per_l_s = fall,
            .turnover_s = turnover_s};
}

std::optional<double> pump_share(const FlushCourse& course, double t_s, double lag_s, double level_mg_per_l,
                                 double least_difference) {
    const double seen_s = t_s - lag_s;
    const double dead = course.dead_at(seen_s);
    const double difference = course.working_at(seen_s) - dead;
    if (difference < least_difference || difference <= 0.0) {
        return std::nullopt;
    }
    return (level_mg_per_l - dead) / difference;
}

std::optional<double> explained_inflow(const FlushCourse& course, double t_s, double level_mg_per_l) {
    const double left = std::exp(-(t_s - course.from_s) / course.turnover_s);
    if (left > 0.4) {
        return std::nullopt;
    }
    const double reach = (level_mg_per_l - (course.start_mg_per_l * left)) / (1.0 - left);
    return reach + (course.fall_mg_per_l_s * course.turnover_s);
}

} // namespace backeddy::watch
