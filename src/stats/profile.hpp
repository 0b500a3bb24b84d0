#pragma once
// Intervals of a mixed model's variances and coefficients by profile likelihood.

#include <string>
#include <vector>

#include "base/error.hpp"
#include "stats/mixed.hpp"

namespace backeddy::stats {

/// The values that the likelihood ratio does not refuse. Not symmetric, and an interval for a standard
/// deviation that begins at 0 says that 0 is not refused.
struct ProfileInterval {
    std::string name;
    double value = 0.0; ///< at maximum likelihood, which for a variance is below REML's
    double lower = 0.0; ///< 0 for a standard deviation, -1 for a correlation, when nothing above is refused
    double upper = 0.0; ///< infinite, or 1, the same
};

struct ProfileIntervals {
    /// By group: standard deviation between levels, or of intercepts, correlation, of slopes (in the slope's
    /// own unit); then the residual standard deviation.
    std::vector<ProfileInterval> variances;
    std::vector<ProfileInterval> coefficients; ///< by the design's columns
};

/// Limits at which twice the loss in the maximum likelihood over all other parameters is the chi-squared
/// quantile of one degree of freedom (Bates et al. 2015, J Stat Softw 67(1), 5.1), good to about 1e-5 of
/// their distance from the estimate. Some hundred fits. Fails as fit_mixed() does.
[[nodiscard]] Expected<ProfileIntervals> profile_intervals(const MixedModel& model, double level = 0.95);

} // namespace backeddy::stats
