#pragma once
// Flush and sealed: when a chamber goes from one to the other. Interlocks come first, then hands, then the
// timetable or the wanted precision. Whatever is not known leads to flush.

#include <optional>
#include <string>

#include "watch/flush_course.hpp"
#include "watch/output.hpp"
#include "watch/plan.hpp"
#include "watch/stay.hpp"

namespace backeddy::watch {

/// A hold or a flush by hand. It ends by itself.
struct ByHand {
    Phase phase = Phase::flush;
    double until_s = 0.0;
};

/// Where one chamber's cycle stands. Times are steady seconds.
struct Cycle {
    Phase phase = Phase::flush;
    Why why = Why::started;
    double since_s = 0.0;
    double planned_s = 0.0; ///< length; of a flush: at the latest
    std::optional<ByHand> hand;
    std::optional<double> clear_since_s; ///< no interlock since
    bool must_clear = true;              ///< an interlock led here: it must be clear for a while
    std::optional<FlushCourse> course;   ///< of a flush, once a level is known
    std::optional<FlushCourse> window;   ///< the last turnover of it, by which the pump is judged
    int weak_windows = 0;                ///< in a row in which the pump did nothing, near the end of the way
    bool below_start_floor = false;
    bool pump_is_failing = false; ///< judged elsewhere: such a flush is not ended by the clock
};

/// What the cycle has to know at this step.
struct CycleFacts {
    double now_s = 0.0;
    const Stay* stay = nullptr;
    const CycleSettings* settings = nullptr;
    const FlushSettings* flush = nullptr;
    const ChamberPlan* chamber = nullptr;
    double clear_for_s = 0.0;
    std::optional<Why> interlock;
    std::optional<double> level_mg_per_l; ///< nothing when no sensor is to be believed
    double full_mg_per_l = 10.0;
    double inflow_mg_per_l = 10.0;
    double uptake_mg_per_h = 0.0; ///< expected of the fish now

    [[nodiscard]] double mg_per_l(double percent) const { return percent / 100.0 * full_mg_per_l; }
    [[nodiscard]] double water_l() const { return water_beside_fish_l(*chamber, stay->mass_kg); }
    [[nodiscard]] double turnover_s() const { return watch::turnover_s(*chamber, stay->mass_kg); }
};

/// One step of the cycle: what began, or nothing. In a chamber that is not in use, under an interlock, and
/// beyond the longest sealed time the answer is always flush.
std::optional<PhaseBegan> advance(Cycle& cycle, const CycleFacts& facts);

/// What came of a hand's order.
struct HandResult {
    std::string refused; ///< why it was not done; empty: done
    std::optional<PhaseBegan> began;
};
/// Hands. A hold is cut to the longest sealed time, a flush to a day.
[[nodiscard]] HandResult hold(Cycle& cycle, const CycleFacts& facts, double minutes);
[[nodiscard]] HandResult flush_by_hand(Cycle& cycle, const CycleFacts& facts, double minutes);

/// Seconds to the next change as far as it is known: the end of the sealed spell or of a hand's order, the
/// predicted end of the flush; nothing when only an interlock's end or an empty chamber's use can say.
[[nodiscard]] std::optional<double> next_change_s(const Cycle& cycle, const CycleFacts& facts);

} // namespace backeddy::watch
