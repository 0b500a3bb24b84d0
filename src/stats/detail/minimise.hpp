#pragma once
// A smooth function of a few numbers, brought to its lowest.

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "base/error.hpp"

namespace backeddy::stats::detail {

using Function = std::function<double(std::span<const double>)>;

struct Bounds {
    std::vector<double> lower; ///< -infinity where there is none
    std::vector<double> upper;
};

struct Minimum {
    std::vector<double> at;
    double value = 0.0;
    std::size_t evaluations = 0;
    bool is_polished = false; ///< Newton's last step was small, and taken
};

/// Powell's BOBYQA (2009, Cambridge NA2009/06) through NLopt, from `start` with the given first steps, until
/// the trust region is smaller than `tolerance` in every number. Fails with not_converged.
[[nodiscard]] Expected<Minimum> minimise(const Function& function, std::vector<double> start,
                                         const Bounds& bounds, double step, double tolerance);

/// Newton's steps from near a minimum, derivatives by differences of fourth order; numbers at a bound stay
/// there (and so those whose bounds are one). Ends after a step under 3e-5 (what is left is about its
/// square), or one that gains nothing, and never leaves the bounds or goes up.
[[nodiscard]] Minimum polish(const Function& function, Minimum from, const Bounds& bounds);

} // namespace backeddy::stats::detail
