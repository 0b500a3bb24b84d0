#pragma once
// Start here for recovery: how much oxygen beyond the resting need (the excess, EPOC) and how long, after
// capture or chase, by the data alone and by a fitted decay; in the boat hour, after transfer, and in all.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "series/instant.hpp"
#include "uptake/rate.hpp"
#include "uptake/resting.hpp"

namespace backeddy::uptake {

// ---- closed forms (M(t) = B + A e^(-kt); integrals of the exponentials above B) ----

/// (A/k)(1 - e^(-k T)); A in mg/h, k in 1/h, T in h; T infinite gives A/k. k > 0.
[[nodiscard]] double excess_one_phase(double amplitude, double rate_per_h, double until_h);
/// Sum of two such.
[[nodiscard]] double excess_two_phase(double amplitude_1, double rate_1, double amplitude_2, double rate_2,
                                      double until_h);
/// ln(A/delta)/k: when the excess has fallen to `above_baseline` (> 0); 0 when it starts below.
[[nodiscard]] double time_to_level(double amplitude, double rate_per_h, double above_baseline);
/// ln 2 / k.
[[nodiscard]] double half_time(double rate_per_h);

// ---- input ----

enum class TimeZero : std::uint8_t { hook_up, landed, back_in_water, sealed, chase_end, air_end };

struct HandlingEvent {
    Instant at;
    std::string what; ///< "blood", "transfer" ...
};

struct RecoverySettings {
    TimeZero time_zero =
        TimeZero::back_in_water; ///< for the record; `RecoveryInput::time_zero` is the moment
    std::size_t consecutive = 2; ///< spells at or below the baseline that count as recovered
    std::vector<double> shares_above_resting{0.10, 0.20}; ///< SMR + 10 % and + 20 % beside the routine median
    std::size_t least_for_two_phases = 10;                ///< spells; fewer: one phase only
    std::size_t least_for_fit = 5;
    /// The asymptote is free when the last third of the fitted span lies within this share of the resting
    /// value above it; else it is fixed there, since asymptote and rate would trade off.
    double flat_share = 0.15;
    /// Rest itself swings over the day by this share either side of its mean (24 h, no telling when it is
    /// highest): what a level measured at other hours may be off by where uptake meets it. Our choice; 0 for
    /// a fish whose rest is known to keep still.
    double daily_swing_share = 0.05;
    double q10 = 2.4; ///< what another temperature where uptake meets the level makes of it ([adjust] q10)
};

struct RecoveryInput {
    Instant time_zero;
    /// Standard uncertainty of the time between time zero and the readings: of the event as written down, and
    /// of the logger's clock. A source of its own of every excess that begins at time zero; it widens the
    /// limits of the hours.
    Duration time_zero_uncertainty;
    std::span<const SpellUptake> tube;  ///< spells after capture (or chase) in the tube, ascending
    std::optional<Instant> tube_until;  ///< end of that stay; the last reading when absent
    std::span<const SpellUptake> after; ///< after transfer, ascending; empty when there is none
    std::optional<Instant> after_from;  ///< start of that stay; its first seal when absent
    std::vector<HandlingEvent> events;  ///< that may start it anew, in time order (blood, transfer ...)
    std::optional<UptakeRate> peak;     ///< held back to time zero; the first spell's value when absent
    std::optional<UptakeRate> resting;  ///< SMR or what stands for it
    std::string resting_name;
    std::optional<RoutineUptake> routine; ///< hour-matched baseline
    std::string fish;                     ///< names the uncertainties that belong to this recovery alone
};

// ---- answer ----

/// An integral of uptake above a baseline.
struct Excess {
    OxygenAmount amount;
    double from_h = 0.0;
    double to_h = 0.0;         ///< hours after time zero
    bool met_baseline = false; ///< two spells in a row at or below it inside the stay
    /// A lower bound: the last stay ended before the baseline was met, or the baseline is one that the fish
    /// cannot be said to have come back to (too high, or made of the very values that meet it). Of the boat
    /// hour, which is what it is, only where the baseline is too high.
    bool at_least = false;
    double held_back_share = 0.0; ///< of the amount that rests on holding the peak back to time zero
    double bridged_share = 0.0;   ///< of the amount that lies in gaps between the stays
};

enum class BaselineKind : std::uint8_t { routine_hour_matched, resting_plus };

/// When, by one way of computing, with the limits of a 95 % interval of the moment at which the excess of
/// handling has come down to the baseline's share of rest, time zero's own uncertainty included. They are no
/// mirror image of one another: an excess that falls ever more slowly may have come down a little earlier or
/// much later.
struct RecoveryTime {
    std::optional<double> hours;     ///< after time zero; nothing when not recovered
    double at_least_h = 0.0;         ///< recovery took no less, also when there are no hours
    std::optional<double> at_most_h; ///< nothing: the spells set no upper limit
    std::string limits_from;         ///< what the limits are made of, with its sizes
    std::string reason;              ///< why there are no hours, or what to know of them
};

struct BaselineRecovery {
    BaselineKind kind = BaselineKind::routine_hour_matched;
    std::string name;              ///< "own overnight median, hour-matched", "SMR + 10 %"
    double level_mg_per_h = 0.0;   ///< mean over the span when it varies with the hour
    bool whole_night_used = false; ///< at least one moment had no median of its own hour
    std::optional<Excess> tube;    ///< in the boat hour, whatever its length
    std::optional<Excess> after_transfer;
    std::optional<Excess> capture_plus_handling;
    RecoveryTime by_data;
    RecoveryTime by_fit;
    std::optional<OxygenAmount> fitted_excess; ///< of the chosen fit, above this baseline, to its crossing
    bool fitted_excess_at_least = false;
};

/// The time in which the excess falls to half of what it is at time zero, in hours, with what makes it
/// unsure.
struct HalfTime {
    Measured hours;
    /// 95 %, on the log scale; `high` is infinite where the spells, moved by one standard uncertainty of some
    /// source, do not come down to half.
    Interval interval;
};

enum class DecayShape : std::uint8_t { one_phase, two_phase };
enum class DecaySpan : std::uint8_t {
    through_events,      ///< one decay through everything: the plain fit
    events_allowed_for,  ///< each event adds an excess of its own that decays at the same (slow) rate
    ended_at_first_event ///< only what came before the first event
};

struct DecayFit {
    DecaySpan span = DecaySpan::through_events;
    DecayShape shape = DecayShape::one_phase;
    std::size_t spells = 0;
    double baseline_mg_per_h = 0.0;
    bool baseline_fixed = false;
    std::vector<double> amplitudes_mg_per_h; ///< fast first
    std::vector<double> rates_per_h;         ///< fast first
    std::vector<double> rate_errors_per_h;
    std::vector<double> event_amplitudes_mg_per_h; ///< events_allowed_for: one per event inside the span
    double residual_sd_mg_per_h = 0.0;
    double aicc = 0.0;
    std::optional<double> aicc_other_shape; ///< of the shape not chosen
    /// Of the whole excess (one phase: ln 2 / k), events left out. Its own error is that of the fit's
    /// parameters (JCGM 100:2008, 5.2.2), the shared sources' by fitting once more, time zero's by the
    /// derivative (0 in one phase, which halves at any moment in the same time); its interval's factor is
    /// Student's t by the effective degrees of freedom (JCGM 100:2008, G.4.1).
    HalfTime half_time;
    OxygenAmount excess_all; ///< above the fitted asymptote, to infinity, from time zero
    OxygenAmount excess_first_hour;
    bool at_least = false;     ///< amounts and half-time: the spells end before rest (levels_too_high below)
    double beyond_share = 0.0; ///< of excess_all that lies beyond the last spell: extrapolated
    /// What the curve still has above its asymptote over the values that count as rest, on average: by so
    /// much their levels may be too high. 0 where those values come before time zero.
    double left_in_rest_mg_per_h = 0.0;
    double left_in_rest_error_mg_per_h = 0.0; ///< standard error by the fit
    std::vector<double> at_h;                 ///< a curve for drawing
    std::vector<double> curve_mg_per_h;
};

struct Recovery {
    std::vector<BaselineRecovery> baselines; ///< the routine median first (headline), then resting + shares
    std::optional<DecayFit> fit;             ///< the plain one
    std::vector<DecayFit> sensitivity; ///< the same with events allowed for, and ended at the first event
    /// First fall to half of the first excess above the headline baseline, straight between spells. What each
    /// source does to it: half of what it moves between the source one standard uncertainty high and low.
    std::optional<HalfTime> half_time_by_data;
    std::optional<double>
        recovered_share_at_tube_end; ///< (peak - MO2)/(peak - resting) at the tube's last spell
    /// The resting stay's levels are too high (see the reasons): excess and times are lower bounds, the
    /// recovered share an upper one.
    bool levels_too_high = false;
    std::size_t spells = 0;
    std::vector<Reason> reasons;
};

/// Error when there is no usable spell after time zero, or neither a routine nor a resting level to measure
/// from. What cannot be computed inside (no fit, no crossing) is absent with a reason; the rest goes on.
[[nodiscard]] Expected<Recovery> recovery(const RecoveryInput& input, const RecoverySettings& settings = {});

} // namespace backeddy::uptake
