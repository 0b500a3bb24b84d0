#pragma once
// What breathes in the chamber: a fish with its peak, recovery, rest, bouts and rhythm, and the microbes.
// Plain functions of time with integrals in closed form, so that the truth of a simulation is known and not
// itself estimated. All uptakes are positive mg O2 per hour; times are seconds since the simulation's zero.

#include <cstdint>
#include <limits>
#include <optional>
#include <vector>

#include "base/random.hpp"
#include "chamber/swing.hpp"

namespace backeddy::chamber {

/// One phase of an excess: held for `hold_s`, then falling as e^(-rate t). Several phases side by side give
/// one-phase, two-phase and plateau recoveries (fast part, plateau and slow part as found by Zhang et al.
/// 2018 J Fish Biol, abstract).
struct Phase {
    double amplitude_mg_per_h = 0.0;
    double hold_s = 0.0;
    double rate_per_h = 1.0; ///< above 0
};

/// What an event does to the excess of the events before it.
enum class Earlier : std::uint8_t {
    adds, ///< they run on beneath the new one
    ends, ///< the event starts anew: they stop at its moment
};

enum class ExcessKind : std::uint8_t {
    handling, ///< capture, chase, air, transfer, blood
    bout,     ///< the fish's own unrest
};

/// Uptake above rest that starts at `at_s`, rising as 1 - e^(-t / rise_s) (at once when rise_s is 0).
struct Excess {
    double at_s = 0.0;
    double rise_s = 0.0;
    std::vector<Phase> phases;
    ExcessKind kind = ExcessKind::handling;
    Earlier earlier = Earlier::adds;
};

struct Fish {
    double mass_kg = 1.0;
    double density_kg_per_l = 1.0;
    double resting_mg_per_h = 80.0; ///< mean of the day, at `reference_celsius`
    double rhythm_share = 0.0;      ///< resting * (1 + share * cos) with one day's period; 0 to below 1
    double rhythm_high_at_s = 0.0;
    double q10 = 1.0; ///< of all uptake; 1 leaves temperature out
    double reference_celsius = 13.0;
    std::vector<Excess> excesses;
    std::optional<double> dies_at_s;
    double fade_s = 120.0; ///< time constant with which uptake fades after death, above 0

    [[nodiscard]] double volume_l() const { return mass_kg / density_kg_per_l; }
};

/// A fish's uptake as a function of time, prepared for fast evaluation.
class Respiration {
  public:
    /// `temperature` in degC; read only when the fish's q10 is not 1.
    Respiration(Fish fish, Swing temperature);

    [[nodiscard]] const Fish& fish() const { return fish_; }
    /// mg/h at one moment.
    [[nodiscard]] double at(double t_s) const;
    /// mg/h of rest alone, rhythm and temperature included.
    [[nodiscard]] double resting_at(double t_s) const;
    /// mg/h above rest that handling caused; bouts left out.
    [[nodiscard]] double handling_excess_at(double t_s) const;
    /// mg taken up between two moments, to <= 1e-12 relative: closed form, or with a temperature effect
    /// Gauss-Legendre quadrature between the breaks.
    [[nodiscard]] double taken_mg(double from_s, double to_s) const;
    /// mg above rest between two moments, by the same ways.
    [[nodiscard]] double excess_mg(double from_s, double to_s) const;
    /// Moments at which the uptake or its rate of change jumps, ascending.
    [[nodiscard]] const std::vector<double>& breaks_s() const { return breaks_s_; }
    /// The last moment in [from_s, to_s] at which the excess of handling stands at or above `share` of rest,
    /// to 0.01 s; nothing when it still does at to_s, from_s when it never does.
    [[nodiscard]] std::optional<double> recovered_at_s(double from_s, double to_s, double share) const;

  private:
    [[nodiscard]] double temperature_factor(double t_s) const;
    [[nodiscard]] double living_at(double t_s) const;
    [[nodiscard]] double excess_at(double t_s) const;
    [[nodiscard]] double closed_form_mg(double from_s, double to_s) const;
    [[nodiscard]] double closed_form_rest_mg(double from_s, double to_s) const;
    template <typename Rate>
    [[nodiscard]] double quadrature_mg(double from_s, double to_s, const Rate& rate) const;

    Fish fish_;
    Swing temperature_;
    std::vector<double> end_s_; ///< per excess: when a later event ends it
    std::vector<double> breaks_s_;
};

/// How often and how strongly a fish stirs of its own accord.
struct Unrest {
    double bouts_per_h = 0.5;
    double amplitude_mg_per_h = 30.0; ///< mean; each bout's own is exponential about it
    double hold_s = 120.0;            ///< mean; exponential
    double rise_s = 20.0;
    double rate_per_h = 12.0;
};

/// Bouts of a Poisson process on [from_s, to_s), in order of time.
[[nodiscard]] std::vector<Excess> draw_bouts(Random& random, const Unrest& unrest, double from_s,
                                             double to_s);

/// How the microbes' uptake changes after a cleaning.
enum class Growth : std::uint8_t { steady, straight, exponential, sigmoid };

struct Microbes {
    Growth growth = Growth::steady;
    double start_mg_per_h = 0.0; ///< at since_s
    double since_s = 0.0;
    double slope_mg_per_h_per_h = 0.0;                                 ///< straight
    double rate_per_h = 0.0;                                           ///< exponential, sigmoid
    double ceiling_mg_per_h = std::numeric_limits<double>::infinity(); ///< sigmoid: what it levels off at

    /// mg/h; before since_s as at since_s.
    [[nodiscard]] double at(double t_s) const;
    /// mg between two moments, closed form.
    [[nodiscard]] double taken_mg(double from_s, double to_s) const;
};

} // namespace backeddy::chamber
