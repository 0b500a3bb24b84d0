#include "condition/detail/plate_edge.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::condition::detail {

namespace {

bool is_outer(const Well& well, const PlateSettings& settings) {
    return well.row == 1 || well.row == settings.rows || well.column == 1 || well.column == settings.columns;
}

/// Sums over all groups of products of ln response and of being outer, each less its mean in the group.
struct Sums {
    double yy = 0.0;
    double xy = 0.0;
    double xx = 0.0;
    std::size_t freedom = 0; ///< wells less groups
};

void add(Sums& sums, EdgeEffect& effect, const Group& group, const ResponseVariance& variance,
         const PlateSettings& settings) {
    const auto n = static_cast<double>(group.wells.size());
    double log_mean = 0.0;
    double outer_share = 0.0;
    for (const auto& well : group.wells) {
        log_mean += std::log(well.response) / n;
        outer_share += (is_outer(well, settings) ? 1.0 : 0.0) / n;
    }
    // Var ln y is about var y / y^2.
    const double weight = std::exp(2.0 * log_mean) / variance.at(std::exp(log_mean));
    for (const auto& well : group.wells) {
        const double y = std::log(well.response) - log_mean;
        const double x = (is_outer(well, settings) ? 1.0 : 0.0) - outer_share;
        effect.residuals.push_back(
            {.row = well.row, .column = well.column, .is_outer = is_outer(well, settings), .residual = y});
        sums.yy += weight * y * y;
        sums.xy += weight * x * y;
        sums.xx += weight * x * x;
    }
    sums.freedom += group.wells.size() - 1;
}

} // namespace

EdgeEffect edge_effect(const std::vector<const Group*>& groups, const ResponseVariance& variance,
                       const PlateSettings& settings) {
    EdgeEffect effect;
    Sums sums;
    for (const auto* group : groups) {
        const bool has_logarithms =
            std::ranges::all_of(group->wells, [](const Well& well) { return well.response > 0.0; });
        if (group->wells.size() > 1 && has_logarithms) {
            add(sums, effect, *group, variance, settings);
        }
    }
    if (!(sums.xx > 0.0)) {
        effect.why_none = "cannot be judged: no replicates stand both at the edge and inside";
        return effect;
    }
    if (sums.freedom < 2) {
        effect.why_none = "cannot be judged: a single pair of replicates";
        return effect;
    }
    const double slope = sums.xy / sums.xx;
    const auto freedom = static_cast<double>(sums.freedom - 1);
    const double squares = std::max(0.0, sums.yy - (slope * sums.xy));
    auto estimate = stats::make_estimate("outer wells over inner wells, less 1", slope,
                                         std::sqrt(squares / freedom / sums.xx), freedom, settings.level);
    estimate.lower = std::expm1(estimate.lower);
    estimate.upper = std::expm1(estimate.upper);
    estimate.value = std::expm1(slope);
    estimate.se *= std::exp(slope);
    effect.difference = std::move(estimate);
    return effect;
}

} // namespace backeddy::condition::detail
