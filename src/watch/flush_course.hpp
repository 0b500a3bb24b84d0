#pragma once
// What a flush should do to the water, and how far it does.
//
//   working pump:  C(t) = C_reach + (C_0 - C_reach) e^(-F t / V),  C_reach = C_in - R / F
//   dead pump:     C(t) = C_0 - R t / V
//
// (mass balance of a mixed chamber; wash-out after Steffensen 1989, Fish Physiol Biochem 6:49). The measured
// level stands between the two: its share of the way from the dead to the working one is the pump's.

#include <optional>

namespace backeddy::watch {

struct FlushCourse {
    double from_s = 0.0;
    double start_mg_per_l = 0.0;
    double inflow_mg_per_l = 0.0;
    double reach_mg_per_l = 0.0;  ///< what it settles to with this fish
    double fall_mg_per_l_s = 0.0; ///< the fish's, pump dead
    double turnover_s = 60.0;     ///< V / F, above 0

    [[nodiscard]] double working_at(double t_s) const;
    [[nodiscard]] double dead_at(double t_s) const;
    /// `share` of the way from the start to the reach.
    [[nodiscard]] double target(double share) const;
};

/// mg/L, s: uptake in mg/h, water in L.
[[nodiscard]] FlushCourse flush_course(double from_s, double start_mg_per_l, double inflow_mg_per_l,
                                       double uptake_mg_per_h, double water_l, double turnover_s);

/// Share of the pump's work at a moment, for a reading that runs `lag_s` behind; nothing while working and
/// dead differ by less than `least_difference`.
[[nodiscard]] std::optional<double> pump_share(const FlushCourse& course, double t_s, double lag_s,
                                               double level_mg_per_l, double least_difference);

/// Inflow oxygen that explains the level reached; nothing before 60 % of the way.
[[nodiscard]] std::optional<double> explained_inflow(const FlushCourse& course, double t_s,
                                                     double level_mg_per_l);

} // namespace backeddy::watch
