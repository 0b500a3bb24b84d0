#pragma once
// Decays of an excess above a baseline in one or two phases: y = baseline + sum of amplitude_i exp(-rate_i
// t).

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

/// A value and its standard error.
struct WithError {
    double value = 0.0;
    double se = 0.0;
};

struct Phase {
    double amplitude = 0.0;
    double rate = 0.0; ///< per unit of t, > 0; half-life log(2) / rate
};

struct Decay {
    std::vector<Phase> phases; ///< fastest first
    double baseline = 0.0;
    bool is_baseline_fitted = false;
    /// Of the parameters in the order baseline (if fitted), amplitude and rate of each phase; row by row.
    std::vector<double> covariance;
    double residual_squares = 0.0; ///< weighted
    double residual_sd = 0.0;
    std::size_t n = 0;
    std::size_t freedom = 0;
    double log_likelihood = 0.0; ///< normal, at the maximum-likelihood variance
    double aicc =
        0.0; ///< -2 log L + 2 K + 2 K (K + 1)/(n - K - 1), K counting the variance (Hurvich and Tsai 1989)

    [[nodiscard]] std::size_t parameters() const {
        return (2 * phases.size()) + (is_baseline_fitted ? 1 : 0);
    }
    [[nodiscard]] double at(double t) const;
    [[nodiscard]] double baseline_se() const; ///< 0 when not fitted
    [[nodiscard]] double amplitude_se(std::size_t phase) const;
    [[nodiscard]] double rate_se(std::size_t phase) const;
};

enum class Amplitudes : std::uint8_t {
    positive, ///< an excess that only falls
    any,
};

struct DecayOptions {
    std::size_t phases = 1;         ///< 1 or 2
    std::optional<double> baseline; ///< held at this value; nothing: fitted
    Amplitudes amplitudes = Amplitudes::positive;
    /// One per value, proportional to 1 / variance, > 0; empty: all alike.
    std::span<const double> weights;
    /// One per phase, > 0: where the descent begins, for data like those fitted before; empty: the best of a
    /// grid.
    std::vector<double> start_rates;
};

/// Least squares from the best of a grid of rates, for which amplitudes and baseline are linear; then
/// Levenberg-Marquardt (nonlinear.hpp). Times in any order, zero where amplitudes are meant; rates between a
/// hundredth of the inverse span and a hundred times the inverse of the shortest interval. Fails as
/// fit_nonlinear: too_few (values not more than parameters), degenerate (two phases that the values cannot
/// tell apart), not_converged; out_of_range for phases not 1 or 2 or what is not finite.
[[nodiscard]] Expected<Decay> fit_decay(std::span<const double> t, std::span<const double> y,
                                        const DecayOptions& options = {});

struct DecayChoice {
    Decay best;
    std::optional<Decay> one;
    std::optional<Decay> two;
    double aicc_gain =
        0.0; ///< AICc of one phase less that of two; above 0 two are better. 0 unless both were fitted
};

/// One and two phases, the lower AICc of those that could be fitted (`options.phases` is not read).
[[nodiscard]] Expected<DecayChoice> choose_decay(std::span<const double> t, std::span<const double> y,
                                                 const DecayOptions& options = {});

/// The curve at t, first-order error from the covariance (JCGM 100:2008, 5.2.2).
[[nodiscard]] WithError value_at(const Decay& decay, double t);
/// Area of the excess above the baseline from `from` to `to`.
[[nodiscard]] WithError excess_area(const Decay& decay, double from, double to);
/// The same from 0 for ever: the sum of amplitude / rate.
[[nodiscard]] WithError excess_area(const Decay& decay);
/// When the curve was last at `level`, above which it does not return; nothing if it is never above it after
/// t = 0, or the level does not exceed the baseline.
[[nodiscard]] std::optional<WithError> time_to_level(const Decay& decay, double level);

} // namespace backeddy::fit
