#pragma once
// What a group (fish, day, scorer) adds to every one of its rows' linear predictors.

#include <string>
#include <vector>

#include "stats/estimate.hpp"

namespace backeddy::stats {

/// One random intercept, normal between levels.
struct RandomIntercept {
    std::vector<std::string> levels;
    double sd = 0.0;           ///< between levels; 0 is said in remarks
    std::vector<double> modes; ///< by level: where its own intercept most probably is
    /// Of there being no spread between levels: twice the gain in log-likelihood against chi-squared of one
    /// degree of freedom, its p halved, since the true null lies on the boundary (Self and Liang 1987, J Am
    /// Stat Assoc 82:605, case 5).
    ChiSquaredTest none;
};

} // namespace backeddy::stats
