#pragma once
// How the scatter of replicate wells grows with their response.

#include <cstddef>
#include <span>

#include "base/error.hpp"

namespace backeddy::condition {

/// Replicate wells of one content.
struct Replicates {
    double mean = 0.0;       ///< > 0
    double variance = 0.0;   ///< about their mean, n - 1 below
    std::size_t freedom = 0; ///< n - 1, above 0
};

/// variance = scale^2 mean^power.
struct VariancePower {
    double power = 0.0;
    double power_se = 0.0;
    double scale = 0.0;      ///< > 0; at power 2 the CV
    std::size_t freedom = 0; ///< of all replicates together

    [[nodiscard]] double sd(double mean) const;
};

/// Greatest likelihood of the variances, each chi-squared with its freedom about scale^2 mean^power: a gamma
/// regression with logarithmic link (Raab 1981, Appl Stat 30:32; Davidian and Carroll 1987, J Am Stat Assoc
/// 82:1079; memory). The means count as known, and normal responses give the power's error:
/// sqrt(2 / sum of freedom (ln mean - their mean)^2). Any number of variances may be 0, not all. Fails with
/// out_of_range (a mean not above 0, a variance below 0, no freedom), too_few (under 3 groups) or degenerate
/// (all means or all but one alike, or too little scatter to follow).
[[nodiscard]] Expected<VariancePower> fit_variance_power(std::span<const Replicates> groups);

} // namespace backeddy::condition
