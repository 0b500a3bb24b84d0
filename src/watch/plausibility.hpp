#pragma once
// Whether a sensor can be believed: it speaks, moves, and says what water can be.

#include <cstdint>
#include <optional>

#include "watch/plan.hpp"
#include "watch/trend.hpp"

namespace backeddy::watch {

/// What a channel's values may be.
struct Bounds {
    double lowest = 0.0;
    double highest = 0.0;
    double jump = 0.0;     ///< a larger step from what was expected is not believed at once
    double memory_s = 8.0; ///< of the running level
};
[[nodiscard]] Bounds oxygen_bounds(const Plan& plan, const ChamberPlan& chamber, double full_mg_per_l);
[[nodiscard]] Bounds temperature_bounds(const Plan& plan, const ChamberPlan& chamber);

/// One channel, all that is remembered of it.
struct SensorTrack {
    FadingLine line;                  ///< of believed readings
    std::optional<double> believed_s; ///< when the last one came
    std::optional<double> spoke_s;    ///< when anything came
    double watched_from_s = 0.0;      ///< silence counts from here when nothing ever came
    double value = 0.0;               ///< the last believed reading
    double changed_s = 0.0;           ///< when that value first stood
    double counted_s = 0.0;           ///< up to when stillness was counted
    double owed_mg_per_l = 0.0;       ///< by how much the value ought to have changed since it stands
    double beyond_s = 0.0;            ///< stood so long after that was a display step
    int odd = 0;                      ///< odd readings in a row
    double odd_value = 0.0;
    double odd_since_s = 0.0;
    double odd_seen_s = 0.0; ///< when the last odd reading came
    double jumped_by = 0.0;  ///< a new level was accepted at the last reading: by so much
};

/// Takes in one reading; `value` may be nothing or no number. Odd readings (out of bounds, or a jump) are not
/// believed until `believed_after` of them in a row agree within the jump; those out of bounds never.
void take(SensorTrack& track, const SensorSettings& settings, const Bounds& bounds, double at_s,
          std::optional<double> value);

/// Seconds without any number / without a believed one.
[[nodiscard]] double silent_for_s(const SensorTrack& track, double now_s);
[[nodiscard]] double unbelieved_for_s(const SensorTrack& track, double now_s);
/// Odd readings have stood for `implausible_after_s`.
[[nodiscard]] bool is_implausible(const SensorTrack& track, const SensorSettings& settings, double now_s);

/// Counts, after a reading was taken in, how long its value stands still though the water moves by
/// `change_per_s` (0 or more; 0 where nothing is known): only time beyond what one display step explains.
void count_stillness(SensorTrack& track, const ChamberPlan& chamber, double at_s, double change_per_s);
/// A sensor whose noise is over a display step, or that has none, cannot stand still by rights.
[[nodiscard]] bool moves_by_itself(const ChamberPlan& chamber);
/// Seconds for which it has stood still beyond what can be: at all, for one that moves by itself; else as
/// counted, until its value changes.
[[nodiscard]] double frozen_for_s(const SensorTrack& track, const ChamberPlan& chamber);
/// Long enough to be held for frozen: `frozen_unsure_after_s` for one that moves by itself, else
/// `frozen_after_s`.
[[nodiscard]] bool is_frozen(const SensorTrack& track, const ChamberPlan& chamber,
                             const SensorSettings& settings);

/// The pump changes and with it the slope: what the line remembers says nothing any more.
void bend(SensorTrack& track);

} // namespace backeddy::watch
