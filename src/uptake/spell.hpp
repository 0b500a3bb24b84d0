#pragma once
// Runs of state -> spells of rows; what part of a sealed spell is set aside while water mixes and the sensor
// catches up.

#include <span>
#include <vector>

#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/role.hpp"
#include "uptake/states.hpp"

namespace backeddy::uptake {

/// How long a fresh sealed spell is set aside: mixing time + a multiple of the sensor's time constant, and at
/// least `least`. A mixed first-order sensor's slope is right to e^-3 = 5 % at 3 time constants (0.6 % for a
/// line over the next six) and to 0.7 % at 5 (closed form; choice of respirometry practice in this program).
struct SettleRule {
    double lag_multiple = 5.0;
    Duration least = Duration::seconds(60.0);
};

struct SettleSettings {
    SettleRule fast{.lag_multiple = 3.0, .least = Duration()};
    SettleRule resting{.lag_multiple = 5.0, .least = Duration::seconds(60.0)};
};

[[nodiscard]] Duration settle_time(StayRole role, double mixing_s, double sensor_lag_s,
                                   const SettleSettings& settings = {});

/// A step between readings longer than this is a gap that no slope crosses: `factor` usual steps, at least
/// `least`.
[[nodiscard]] Duration longest_step(double median_interval_s, double factor = 5.0,
                                    Duration least = Duration::seconds(10.0));

/// Spells of rows [first_row, end_row): unbroken runs of one state, cut wherever two successive readings are
/// further apart than `longest` and at each of `cuts` (role and stay boundaries, events); ascending.
/// `from` is the run's own where the spell begins with it, else its first row's time; `to` likewise, and the
/// last row's time where readings stopped more than `longest` before the run's end. Runs without rows give
/// nothing.
[[nodiscard]] std::vector<Spell> cut_spells(std::span<const std::int64_t> times_ns, std::size_t first_row,
                                            std::size_t end_row, std::span<const StateRun> runs,
                                            Duration longest, std::span<const Instant> cuts = {});

} // namespace backeddy::uptake
