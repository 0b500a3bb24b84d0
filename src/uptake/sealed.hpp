#pragma once
// Start here for one sealed spell -> one slope: the line, errors that know the sensor, size of curvature, and
// what looks wrong (bubble, leak, step, frozen sensor, gap ...).
//
//   SealedView view{.sealed_from = spell.from, .times_ns = ..., .oxygen_mg_per_l = ...};
//   auto quick = quick_slope(view);                 // slope, ordinary error, n, r2: a few ns per reading
//   auto full = sealed_slope(view, {.noise = &noise});  // the same slope, bit for bit, with everything else
//
// A spell reaches here the same way from memory or from a stream (SpellAccumulator below): one function makes
// both slopes, so they are equal to the last bit.

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "fit/line.hpp"
#include "fit/line_errors.hpp"
#include "fit/noise.hpp"
#include "series/instant.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/role.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::uptake {

/// The used readings of one sealed spell (after settle), times ascending. Saturation and temperature may be
/// empty; else all have one length. Missing oxygen (NaN) is passed over.
struct SealedView {
    Instant sealed_from; ///< when the chamber closed
    std::span<const std::int64_t> times_ns;
    std::span<const double> oxygen_mg_per_l;
    std::span<const double> saturation_percent;
    std::span<const double> temperature_celsius;
    /// As in ChamberTrace; empty: readings repeat where their oxygen is equal.
    std::span<const std::uint8_t> repeats;
};

struct SlopeSettings {
    const fit::NoiseModel* noise = nullptr; ///< mg/L and seconds; nothing: slope_error is the ordinary one
    /// Above 0: the fit carries the first-order sensor's transient since `sealed_from` (fit::lagged_times).
    /// Used after capture and chase, where there is no time to wait it out.
    double modelled_lag_s = 0.0;
    /// Kept from spell to spell by one thread: the errors' part that spells read at the same times share.
    std::optional<fit::LineErrors>* kept_errors = nullptr;
};

/// Signs: a falling oxygen has a negative slope. Everything of `SpellUptake` that needs no volume.
struct SealedSlope {
    Instant sealed_from;
    Instant from;
    Instant to;
    std::size_t readings = 0; ///< finite ones
    std::size_t missing = 0;
    fit::Line line; ///< mg/L on seconds after `from` (with the lag's transient when modelled)

    double slope_mg_per_l_h = 0.0;
    double slope_error_ordinary = 0.0;
    double r_squared = 0.0;
    double residual_sd_mg_per_l = 0.0;
    double oxygen_start_mg_per_l = 0.0; ///< of the fitted line
    double oxygen_end_mg_per_l = 0.0;

    // What quick_slope leaves 0:
    double slope_error = 0.0; ///< under the noise model
    double slope_error_newey_west = 0.0;
    double effective_readings = 0.0;
    double curvature_share =
        0.0; ///< 0 with an infinite error when the slope is 0 or there are under four readings
    double curvature_share_error = 0.0;
    double saturation_start_percent =
        0.0; ///< of the fitted line, by the spell's mean ratio of the two columns; NaN: unknown
    double saturation_end_percent = 0.0;
    double temperature_mean_celsius = 0.0; ///< NaN: unknown
    double temperature_drift_c_per_h = 0.0;
};

/// Least squares on centred time. Within 1e-12 (relative to sd(y)/sd(x)) of the exact slope. Fails with
/// too_few (under three finite readings) or degenerate (all at one time).
[[nodiscard]] Expected<SealedSlope> quick_slope(const SealedView& view, const SlopeSettings& settings = {});

/// quick_slope and all the rest.
[[nodiscard]] Expected<SealedSlope> sealed_slope(const SealedView& view, const SlopeSettings& settings = {});

// ------------------------------------------------------------------------------------------------ signs and
// marks

/// Every limit can be set in the brief ([marks]); defaults from respirometry practice as named. "choice" =
/// ours.
struct MarkLimits {
    // Oxygen, per cent of air saturation. Floors: Clark and others 2013, J Exp Biol 216:2771 and Svendsen and
    // others 2016, J Fish Biol 88:26 advise to stay above about 80 % (from memory); starting floors: choice.
    double start_floor_rest_percent = 90.0;
    double start_floor_fast_percent = 85.0;
    double end_floor_rest_percent = 80.0;
    double end_floor_fast_percent = 80.0;

    double fast_relative_error = 0.05; ///< of the slope; above: doubtful (choice)
    /// A resting slope's error against the stay's median slope, so that a quiet fish is not thrown out for
    /// being quiet (choice).
    double rest_error_of_median = 0.10;
    double rest_curvature = 0.30; ///< |share| less 1.96 errors above this: doubtful (choice)
    double fast_curvature = 0.60; ///< uptake falls by itself after exercise, hence roomier (choice)
    double residual_factor = 2.0; ///< residual sd over the sensor's modelled noise; above: doubtful (choice)

    std::size_t few_readings = 30;     ///< fewer: doubtful (choice)
    std::size_t too_few_readings = 10; ///< fewer: unusable (choice)
    double missing_share = 0.10;       ///< readings missing; above: doubtful, above half: unusable (choice)
    double gap_steps = 3.0;            ///< a step of more than so many usual steps: doubtful (choice)

    double frozen_s = 60.0; ///< equal readings for so long, where they should have changed (choice)
    std::size_t frozen_readings = 20;
    double step_mg_per_l =
        0.05; ///< a jump of the residuals, at least this and `sign_errors` of its errors (choice)
    double rebound_mg_per_l = 0.05; ///< a rise above the lowest so far, likewise (choice)
    double sign_errors = 5.0;
    double plateau_share = 0.25;  ///< slope of the last third under this share of the first third's (choice)
    double warming_c_per_h = 1.0; ///< choice
    double background_share = 0.10; ///< of the fish's total uptake; above: doubtful (choice)
};

/// What looks wrong within the spell, as reasons with the word "step", "rebound", "plateau",
/// "falling_uptake", "gap", "frozen", "missing". Every text says how much.
[[nodiscard]] std::vector<Reason> sealed_signs(const SealedView& view, const SealedSlope& slope,
                                               const fit::NoiseModel* noise, StayRole role,
                                               const MarkLimits& limits);

/// What a judgement needs beside the slope itself.
struct MarkContext {
    StayRole role = StayRole::rest;
    const fit::NoiseModel* noise = nullptr;
    double median_slope_mg_per_l_h = 0.0; ///< of the stay's spells of this kind; 0: unknown
};

struct Judgement {
    Mark mark = Mark::good;
    std::vector<Reason> reasons;
};

/// r2 judges nothing: a slow fish in a large chamber has a low one and a sound slope.
[[nodiscard]] Judgement judge(const SealedView& view, const SealedSlope& slope, const MarkContext& context,
                              const MarkLimits& limits);

// ------------------------------------------------------------------------------------------------ streaming

struct AccumulatorSettings {
    Duration longest_step; ///< between two readings of one spell; see longest_step() in spell.hpp
    Duration settle;
    /// One spell's buffer is the only memory that grows. A spell of more rows is cut there, and the cut is
    /// counted.
    std::size_t most_rows = 1'000'000;
};

/// Takes a chamber's rows in any portions and hands out each finished sealed spell: the same rows as
/// cut_spells and settle give in memory. Views are valid during the call only.
class SpellAccumulator {
  public:
    using Sink = std::function<void(const SealedView&)>;
    SpellAccumulator(AccumulatorSettings settings, Sink sink);

    /// Rows of one portion; spans of equal length, or empty for saturation and temperature (always or never).
    struct Rows {
        std::span<const std::int64_t> times_ns;
        std::span<const double> oxygen_mg_per_l;
        std::span<const double> saturation_percent;
        std::span<const double> temperature_celsius;
        std::span<const ChamberState> state;
    };
    void feed(const Rows& rows);
    /// The end of the trace ends the last spell.
    void finish();
    [[nodiscard]] std::size_t cut_for_length() const { return cut_for_length_; }

  private:
    void close();
    void take(const Rows& rows, std::size_t first, std::size_t end);
    void emit(const Rows& rows, std::size_t first, std::size_t end);

    AccumulatorSettings settings_;
    Sink sink_;
    ChamberState state_ = ChamberState::unknown;
    std::int64_t last_ns_ = 0;
    bool any_ = false;
    Instant sealed_from_;
    std::vector<std::int64_t> times_;
    std::vector<double> oxygen_;
    std::vector<double> saturation_;
    std::vector<double> temperature_;
    std::size_t cut_for_length_ = 0;
};

} // namespace backeddy::uptake
