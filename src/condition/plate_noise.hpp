#pragma once
// How the scatter of replicate wells grows with their response.

#include <cstddef>
#include <span>

#include "base/error.hpp"
#include "condition/response_variance.hpp"

namespace backeddy::condition {

/// Replicate wells of one content.
struct Replicates {
    double mean = 0.0;       ///< > 0
    double variance = 0.0;   ///< about their mean, n - 1 below
    std::size_t freedom = 0; ///< n - 1, above 0
};

struct ResponseNoise {
    ResponseVariance variance;
    std::size_t freedom = 0; ///< of all replicates together
};

/// variance = a + b mean + c mean^2, none below 0: what is always there, counting, and a share of the
/// response (the quadratic of Rodbard and others 1976, Clin Chem 22:350; without b that of Rocke and
/// Lorenzen 1995, Technometrics 37:176; memory). By greatest likelihood of the variances, each chi-squared
/// with its freedom about that sum, found by multiplications that keep the parts above 0 and never lessen
/// the likelihood (Zhou and others 2019, J Comput Graph Stat 28:350; memory). The means count as known, and
/// normal responses give the covariance of the parts that are not at 0, by the expected information. Any
/// number of variances may be 0, not all. Fails with out_of_range (a mean not above 0, a variance below 0, no
/// freedom), too_few (under 3 groups) or degenerate (fewer than three different means, or no scatter).
[[nodiscard]] Expected<ResponseNoise> fit_response_noise(std::span<const Replicates> groups);

} // namespace backeddy::condition
