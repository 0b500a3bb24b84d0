#pragma once
// Start here for peak uptake: the steepest window inside one sealed spell after an event, never across a
// flush or a gap and never carried back before the seal; how much of it is luck of the search; and the plain
// value beside it.
//
// "Peak after capture" and "peak after chase" are peaks *in recovery*: the names say so.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "fit/noise.hpp"
#include "series/instant.hpp"
#include "uptake/rate.hpp"
#include "uptake/stay_uptake.hpp"

namespace backeddy::uptake {

enum class PeakEvent : std::uint8_t { capture, chase, handling };
/// "peak after capture", "peak after chase", "peak after handling".
[[nodiscard]] std::string peak_name(PeakEvent event);

struct PeakSettings {
    Duration window = Duration::seconds(60.0);
    std::vector<double> curve_windows_s{30, 45, 60, 90, 120, 150, 180, 240, 300};
    double largest_relative_error = 0.05;   ///< of the window's slope; above: doubtful
    double saturation_floor_percent = 80.0; ///< at the window's end; below: marked (uptake may be limited)
    std::size_t least_readings = 30;        ///< per window; fewer: marked
    double gap_factor = 2.5; ///< a step longer than so many usual steps is a gap; no window crosses it
    std::size_t draws = 400; ///< simulated traces for the selection bias
    std::uint64_t seed = 1;
};

/// One sealed spell with its readings. Pointers and views must outlive the call.
struct PeakSpell {
    const SealedSpell* spell = nullptr; ///< answer, water volume, scale
    SealedView readings;                ///< of readings_of(): the rows used, after settle
    fit::NoiseModel noise;       ///< of the sensor; without variance the window's ordinary error serves
    double modelled_lag_s = 0.0; ///< above 0: the chosen window's fit carries the sensor's transient
};

struct PeakInput {
    PeakEvent event = PeakEvent::capture;
    Instant at;                 ///< of the event (its end: back in water, end of chase)
    Duration clock_uncertainty; ///< standard uncertainty of the time between event and readings
    std::optional<Duration> air;
    std::vector<PeakSpell> spells;   ///< ascending in time; those of the stay's role, unusable ones included
    std::optional<Measured> mass_kg; ///< contribution "mass:<fish>"
    std::string stay;
};

/// One point of the curve against window length. Bias terms in mg/h, signed as "this much too high".
struct PeakCurvePoint {
    double window_s = 0.0;
    std::size_t readings = 0;
    double raw_mg_per_h = 0.0;
    double error_mg_per_h = 0.0;   ///< of the slope alone
    double picking_mg_per_h = 0.0; ///< selection bias, simulated
    /// What averaging over the window hides of the uptake at the window's start (negative); nothing until
    /// add_averaging().
    std::optional<double> averaging_mg_per_h;
    double corrected_mg_per_h = 0.0; ///< raw - picking
    double start_after_event_s = 0.0;
    double relative_error = 0.0;
    double saturation_end_percent = 0.0;
    std::string reason; ///< why there is no value (then all else is 0), or empty
    [[nodiscard]] bool has_value() const { return reason.empty(); }
};

struct PeakUptake {
    std::string name;
    PeakEvent event = PeakEvent::capture;
    Instant event_at;
    std::size_t spell = 0; ///< index into the spells given
    Instant window_from;
    Instant window_to;
    std::size_t readings = 0;

    Duration delay_to_seal;      ///< event to the first seal
    Duration start_after_event;  ///< event to the window's first reading
    Duration clock_uncertainty;  ///< standard uncertainty of the three
    std::optional<Duration> air; ///< as the caller's events say

    double slope_mg_per_l_h = 0.0;
    double slope_error = 0.0;    ///< by the sensor's noise model
    double relative_error = 0.0; ///< slope_error / |slope|
    UptakeRate raw;              ///< of the steepest window
    UptakeRate corrected;        ///< less the selection bias; its uncertainty includes that of the correction
    double selection_bias_mg_per_h = 0.0;       ///< >= 0
    double selection_bias_error_mg_per_h = 0.0; ///< Monte Carlo error
    /// The same if uptake were steady throughout: an upper bound (fit/selection).
    double selection_bias_at_most_mg_per_h = 0.0;
    UptakeRate whole_spell; ///< mean over the first sealed spell: no search has touched it
    std::size_t whole_spell_index = 0;

    double temperature_celsius = 0.0; ///< mean over the window
    double saturation_start_percent = 0.0;
    double saturation_end_percent = 0.0;
    std::vector<PeakCurvePoint> curve;
    Mark mark = Mark::good;
    std::vector<Reason> reasons; ///< "slope_error", "low_oxygen", "few_readings", "first_spell_unusable" ...
};

/// The peak of one event. Fails in words when no usable spell after the event holds a whole window.
[[nodiscard]] Expected<PeakUptake> peak_uptake(const PeakInput& input, const PeakSettings& settings = {});

/// Once recovery has been fitted: fills the curve's averaging terms from how fast the excess falls and to
/// what.
void add_averaging(PeakUptake& peak, double decay_per_h, double baseline_mg_per_h);

/// Share of the uptake at the event that the mean over a window of `window_h`, begun `delay_h` after it,
/// still shows, when the uptake decays to nothing at `decay_per_h`: e^(-k d) (1 - e^(-k w))/(k w). Closed
/// form. k, w >= 0; k w = 0 gives e^(-k d).
[[nodiscard]] double averaging_share(double decay_per_h, double window_h, double delay_h = 0.0);
/// The same for the least-squares slope over the window (readings evenly spread and many): with a = k w,
/// e^(-k d) (12/a^3) (a/2 - 1 + e^(-a) (1 + a/2)). Closed form.
[[nodiscard]] double regression_share(double decay_per_h, double window_h, double delay_h = 0.0);

} // namespace backeddy::uptake
