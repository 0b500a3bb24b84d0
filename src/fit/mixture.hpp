#pragma once
// Mixtures of one to four normal distributions, for the lowest hump of a sample.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/error.hpp"

namespace backeddy::fit {

enum class Spreads : std::uint8_t {
    unequal, ///< each component its own standard deviation
    equal,   ///< one for all
};

struct NormalComponent {
    double weight = 0.0;
    double mean = 0.0;
    double sd = 0.0; ///< maximum likelihood (divisor n_k)
};

struct NormalMixture {
    Spreads spreads = Spreads::unequal;
    std::vector<NormalComponent> components; ///< by ascending mean
    double log_likelihood = 0.0;
    double bic =
        0.0; ///< -2 log_likelihood + parameters log n: lower is better (Schwarz 1978, Ann Stat 6:461)
    std::size_t parameters = 0;

    /// Which component a value most likely belongs to.
    [[nodiscard]] std::size_t component_of(double value) const;
};

struct MixtureOptions {
    std::size_t starts = 60;
    std::uint64_t seed = 1;
    /// No component may be narrower than this share of the sample's standard deviation: with unequal spreads
    /// the likelihood is unbounded as one collapses onto a value or a tie. Fits that reach it are not
    /// answers. [choice]
    double least_sd_share = 0.04;
    /// Nor hold less than this share of the values, or fewer than two of them. [choice]
    double least_weight = 0.0;
};

/// The best mixture of `g` normals (1 to 4) by the EM algorithm (Dempster, Laird and Rubin 1977, J R Stat Soc
/// B 39:1) from many starts: quantile bands, then random centres by `seed`. Each start runs a few steps on
/// the sample thinned to a few hundred bins, the best few go on there, and the best is polished on all values
/// until the log-likelihood's gain is below 1e-12 of it. Same seed, same bits. Fails with too_few (fewer than
/// 3 g values, or g not 1-4), out_of_range (not finite), degenerate (all equal, or every start collapsed; the
/// text says which).
[[nodiscard]] Expected<NormalMixture> fit_mixture(std::span<const double> values, std::size_t g,
                                                  Spreads spreads, const MixtureOptions& options = {});

/// Fits of 1 to `most` components, equal and unequal, and the one of lowest BIC. Fits that fail are passed
/// over.
struct MixtureChoice {
    NormalMixture best;
    std::vector<NormalMixture> all; ///< in order of g, unequal before equal; g = 1 once
    double bic_gap = 0.0;           ///< second lowest BIC less lowest
};
[[nodiscard]] Expected<MixtureChoice> choose_mixture(std::span<const double> values, std::size_t most = 4,
                                                     const MixtureOptions& options = {});

/// The components fitted to a resample of a mixture's values, in the order of the mixture's own; `times`: how
/// often each of them, ascending, came up. Nothing when a component is left without any value. May be called
/// from many threads.
using MixtureRefit =
    std::function<std::optional<std::vector<NormalComponent>>(std::span<const std::uint32_t> times)>;

/// Refits of `mixture`, which was fitted to `ascending` (not all equal), for its bootstrap: the maximum of
/// likelihood that EM climbs to from the mixture, with its spreads (equal or not). A component that would
/// collapse is held at a quarter of the mixture's narrowest standard deviation (choice). Of more than 375
/// values, 250 bins of neighbours stand for them, each with its own count, mean and squares; what is lost is
/// how the components' shares change within a bin, under 1 % of the spread between draws.
[[nodiscard]] MixtureRefit refit_of(std::span<const double> ascending, const NormalMixture& mixture);

/// The component with the lowest mean that holds at least `least_share` of the values (by weight), and the
/// coefficient of variation of the values classified into it, per cent, with standard deviation by n - 1
/// (Chabot, Steffensen and Farrell 2016, J Fish Biol 88:81; from memory).
struct LowestNormal {
    double mean = 0.0;
    double sd = 0.0;
    double weight = 0.0;
    std::size_t values = 0; ///< classified into it
    double cv_percent = 0.0;
};
/// Nothing when no component holds enough or fewer than two values fall into it.
[[nodiscard]] std::optional<LowestNormal>
lowest_normal(const NormalMixture& mixture, std::span<const double> values, double least_share = 0.1);

} // namespace backeddy::fit
