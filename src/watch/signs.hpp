#pragma once
// Each cause of an alarm, looked for: one small function per cause, from plain facts to a sign.

#include "watch/output.hpp"
#include "watch/state.hpp"

namespace backeddy::watch {

/// What is looked at for one chamber.
struct ChamberFacts {
    Now now;
    const Plan* plan = nullptr;
    const ChamberPlan* chamber = nullptr;
    const CycleSettings* cycle = nullptr;
    std::optional<double> level_mg_per_l; ///< believed now
    std::optional<double> slope_mg_per_l_s;
    double full_mg_per_l = 10.0;
    double inflow_mg_per_l = 10.0;
    double inflow_error_mg_per_l = 0.1; ///< standard uncertainty: small once measured or learnt
    double uptake_mg_per_h = 0.0;
    std::optional<double> celsius;

    [[nodiscard]] double percent(double mg_per_l) const { return 100.0 * mg_per_l / full_mg_per_l; }
};

/// A sign with what was found, in words (empty where the sign is not `there`).
struct Found {
    Sign sign = Sign::gone;
    std::string words;
};

/// The sign of one cause at one chamber. Causes of the station give `gone` here.
[[nodiscard]] Found look(Cause cause, const ChamberState& state, const ChamberFacts& facts);

/// Causes that are off by what the chamber is used for: restless and still in the first hours; and all that
/// says nothing without a fish. Never one that puts a fish at risk while a fish is in.
[[nodiscard]] bool is_off_by_design(Cause cause, const Stay& stay, const ChamberFacts& facts);

/// Judges a finished spell against those before it.
void judge_spell(ChamberState& state, const ChamberFacts& facts, const SpellTrack& track,
                 const std::optional<Spell>& spell);

/// Judges the running flush: sets Cycle::pump_is_failing when the pump does less than its share, takes it
/// back when it does. Windows of one turnover follow each other, so that a pump that dies in mid-flush is
/// seen too.
void judge_flush(ChamberState& state, const ChamberFacts& facts);

/// What a flush that ends now says of the inflow: trusted by half, and never far from what is believed.
/// Nothing is learnt of a failing pump.
void learn_inflow(ChamberState& state, const Cycle& flush, const ChamberFacts& facts);

/// Standard deviation of the running level, mg/L.
[[nodiscard]] double level_error(const Plan& plan, const ChamberPlan& chamber);

} // namespace backeddy::watch
