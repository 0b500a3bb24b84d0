#pragma once
// Mixed models where formulas are not to be trusted: refits of outcomes that the fitted model might have
// given.

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats {

struct MixedBootstrapOptions {
    std::size_t draws = 2000;
    std::uint64_t seed = 1;
    double level = 0.95;
    Threads threads;
};

struct BootstrapCoefficient {
    std::string name;
    double value = 0.0; ///< the fit's
    double se = 0.0;    ///< standard deviation of the draws
    double p = 0.0;     ///< two-sided, of the value being 0: share of draws with a larger |t|
    double lower = 0.0;
    double upper = 0.0;
};

struct BootstrapSd {
    std::string group; ///< empty: the residual
    std::string slope_of;
    double value = 0.0;
    double lower = 0.0;
    double upper = 0.0;
    double at_zero = 0.0; ///< share of draws in which it was estimated as 0
};

struct MixedBootstrap {
    std::vector<BootstrapCoefficient> coefficients; ///< by the design's columns
    std::vector<BootstrapSd> sds;                   ///< by group: intercepts, slopes; then the residual
    std::size_t draws = 0;
    std::size_t failed = 0; ///< draws that could not be fitted; left out of the rest
};

/// Parametric bootstrap under the fit's own criterion. Coefficients: t = (draw - value) / the draw's own se,
/// whose quantiles make the interval (studentised; Davison and Hinkley 1997, Bootstrap Methods, 5.2), and p =
/// (1 + draws with |t| at least the fit's) / (1 + draws) (their 4.2). Standard deviations: percentiles, which
/// are too low where few levels are. Draws are numbered, each with random numbers of its own: the same for
/// any number of threads. Fails with too_few (fewer than 20 draws, or half of them could not be fitted) or
/// out_of_range (the level).
[[nodiscard]] Expected<MixedBootstrap> bootstrap_mixed(const MixedModel& model, const MixedFit& fit,
                                                       const MixedBootstrapOptions& options = {});

} // namespace backeddy::stats
