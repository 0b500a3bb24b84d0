#pragma once
// Start here: the oxygen balance of a chamber, stepped without approximation.
//
//   V dC/dt = F (C_in - C) - R_fish - R_microbes            (respirometry by mass balance; F = 0 when sealed)
//
// The water is a row of well-mixed cells: the flush enters the first and leaves the last, the loop pump
// carries the last back to the first. One cell is the mixed chamber of the closed forms; two are a chamber
// and its loop; many are plug flow. A trapped bubble is one more cell, a leak a small flush that never stops,
// a slow sensor one more first-order equation. All of it is one linear system x' = A x + B u(t), solved by
// its matrix exponential (variation of constants), the input integrated by four-point Gauss-Legendre
// quadrature between the breaks of u.
//
// This folder shares no code with what estimates uptake from readings: it is the other side of the test.

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::chamber {

/// Gas caught under the lid.
struct Bubble {
    /// The water that would hold as much oxygen at the same partial pressure, L: about 28 times the gas's
    /// volume in fresh water at 15 degC, 34 in the sea (one litre of air holds some 280 mg, one of water
    /// about 10 or 8).
    double equivalent_l = 0.0;
    double exchange_l_per_min = 0.0; ///< how fast it trades with the first cell
};

/// The body of water, the fish's volume already taken off.
struct Vessel {
    std::vector<double> cells_l{10.0}; ///< in order of flow, each above 0
    std::size_t fish_cell = 0;
    std::size_t sensor_cell = 0;
    double round_flow_l_per_min = 0.0; ///< the loop pump's; without it several cells never mix when sealed
    double leak_l_per_min = 0.0;       ///< trade of the first cell with the bath, sealed or not
    std::optional<Bubble> bubble;
    double sensor_lag_s = 0.0; ///< time constant; 0 for none

    [[nodiscard]] double water_l() const;
};

/// From `at_s` on the flush brings this much.
struct FlowChange {
    double at_s = 0.0;
    double flow_l_per_min = 0.0;
};

/// What drives the balance; each is smooth between `breaks_s` (ascending). An empty function is zero.
struct Forces {
    std::function<double(double)> fish_mg_per_h;
    std::function<double(double)> microbes_mg_per_h; ///< spread over the cells by volume
    std::function<double(double)> inflow_mg_per_l;
    std::vector<double> breaks_s;
};

/// Oxygen everywhere at one moment.
struct State {
    double at_s = 0.0;
    std::vector<double> cells_mg_per_l;
    double bubble_mg_per_l = 0.0; ///< of the water it would be in balance with
    double lagged_mg_per_l = 0.0; ///< what the sensor has reached

    /// mg in water and bubble.
    [[nodiscard]] double oxygen_mg(const Vessel& vessel) const;
    /// Mean of the water.
    [[nodiscard]] double mean_mg_per_l(const Vessel& vessel) const;
};

/// Everything at one level.
[[nodiscard]] State level_state(const Vessel& vessel, double at_s, double mg_per_l);

/// One row per asked moment.
struct Run {
    std::vector<double> mean_mg_per_l;   ///< of the whole water
    std::vector<double> sensed_mg_per_l; ///< at the sensor, lag included, without noise
    State end;
};

/// The chamber from `start` through the moments `times_s` (ascending, none before start.at_s; the last is the
/// end). `flows` ascending; before the first the chamber is sealed. Error of each step below 1e-10 of the
/// step's change; oxygen is conserved to rounding. Fails with out_of_range when a volume, flow, lag or time
/// is not what it must be, and when the water somewhere runs out of oxygen (linear uptake has no meaning
/// there).
[[nodiscard]] Expected<Run> run(const Vessel& vessel, const State& start, std::span<const FlowChange> flows,
                                const Forces& forces, std::span<const double> times_s);

/// Share of a mixed chamber's water replaced after `turnovers` = F t / V without a fish: 1 - e^(-turnovers)
/// (first-order wash-out of a mixed vessel; Steffensen 1989 Fish Physiol Biochem 6:49).
[[nodiscard]] double washed_share(double turnovers);
/// Minutes of flush for that share; 0 <= share < 1.
[[nodiscard]] double minutes_to_wash(double share, double water_l, double flow_l_per_min);
/// Oxygen that an endless flush settles to, mg/L: C_in - R / F.
[[nodiscard]] double flush_level_mg_per_l(double inflow_mg_per_l, double uptake_mg_per_h,
                                          double flow_l_per_min);
/// Oxygen of a mixed chamber after a flush of `minutes` with steady uptake, mg/L.
[[nodiscard]] double flushed_mg_per_l(double start_mg_per_l, double flush_level_mg_per_l, double turnovers);

} // namespace backeddy::chamber
