#pragma once
// How many fish are enough: before the season, and from the season's own variances for the next.
//
//   const auto sd = paired_sd({.response = 400.0, .measurement = 225.0});       // of a fish's difference
//   const auto fish = n_for({.compared = Compared::within_fish, .effect = 30.0, .sd = *sd}, 0.8);
//   fish->n;                                                                    // whole pairs

#include <cstddef>
#include <cstdint>

#include "base/error.hpp"

namespace backeddy::stats {

enum class Compared : std::uint8_t {
    within_fish, ///< paired t: n pairs, sd of the differences (or one sample against a fixed value)
    two_groups,  ///< Student's t: n fish in each group, sd within a group
};
enum class Sides : std::uint8_t { one, two };
/// What a two-sided test's power counts.
enum class Rejections : std::uint8_t {
    right_way, ///< those in the direction of the true effect
    either,    ///< those in the wrong direction too (of note only where power is next to alpha)
};

/// A comparison of means. What is solved for may be left as it is.
struct MeansPlan {
    Compared compared = Compared::within_fish;
    double effect = 0.0;   ///< true difference of means; its sign does not matter
    double sd = 0.0;       ///< above 0, unit of the effect
    double n = 0.0;        ///< pairs, or fish in the first group; at least 2, need not be whole
    double n_second = 0.0; ///< fish in the second group; 0: as many as in the first
    double alpha = 0.05;
    Sides sides = Sides::two;
    Rejections rejections = Rejections::right_way;
};

struct SampleSize {
    double exact = 0.0; ///< at which the power is just what was asked; at least 2
    std::size_t n = 0;  ///< the next whole number: pairs, or fish in each group
    double power = 0.0; ///< with n
};

/// Probability that the test rejects: noncentral t with noncentrality effect / standard error, degrees of
/// freedom n - 1 or n + n_second - 2 (Cohen 1988, Statistical Power Analysis, ch. 2). Within 1e-8. All
/// functions here fail with bad_setting where a number is outside what it may be, and say which.
[[nodiscard]] Expected<double> power_of(const MeansPlan& plan);

/// Pairs, or fish in each of two equal groups, for a power in (alpha, 1). Fails besides with degenerate
/// (effect 0) and out_of_range (more than ten million).
[[nodiscard]] Expected<SampleSize> n_for(const MeansPlan& plan, double power);

/// The smallest true difference that is shown with that power; above 0.
[[nodiscard]] Expected<double> effect_for(const MeansPlan& plan, double power);

enum class SharesMethod : std::uint8_t {
    /// Pooled variance under no difference, each share's own otherwise (Fleiss 1981, Statistical Methods for
    /// Rates and Proportions, section 3.2, without continuity correction).
    normal,
    arcsine, ///< h = 2 asin sqrt(p1) - 2 asin sqrt(p2) (Cohen 1988, ch. 6)
};

/// A comparison of two shares, n fish in each group. What is solved for may be left as it is.
struct SharesPlan {
    double first = 0.0; ///< true shares, within (0, 1)
    double second = 0.0;
    double n = 0.0; ///< at least 2, need not be whole
    double alpha = 0.05;
    Sides sides = Sides::two;
    Rejections rejections = Rejections::right_way;
    SharesMethod method = SharesMethod::normal;
};

/// Of the chi-squared test without continuity correction, large-sample: with few fish see fisher_power().
[[nodiscard]] Expected<double> power_of(const SharesPlan& plan);
[[nodiscard]] Expected<SampleSize> n_for(const SharesPlan& plan, double power);
enum class Direction : std::uint8_t { up, down };
/// The second share nearest to the first, above or below it, that is told from it with that power. Fails
/// besides with out_of_range when no share on that side is.
[[nodiscard]] Expected<double> second_share_for(const SharesPlan& plan, double power, Direction direction);

/// Exact power of Fisher's two-sided test, summed over all outcomes; `n_first`, `n_second` 1 to 500. It saws:
/// one more fish can take a little away. (Bennett and Hsu 1960, Biometrika 47:393.)
[[nodiscard]] Expected<double> fisher_power(double first, double second, std::size_t n_first,
                                            std::size_t n_second, double alpha = 0.05);

/// What a mixed model says of the outcome's variances, all at least 0.
struct VarianceComponents {
    double cluster = 0.0;     ///< between days, boats or other whole lots of fish
    double fish = 0.0;        ///< between fish of one lot
    double response = 0.0;    ///< between fish, of the difference between their two conditions (random slope)
    double measurement = 0.0; ///< between measurements of one fish in one condition (residual)
};

/// sd of one fish's difference between two conditions, each the mean of `measurements`:
/// sqrt(response + 2 measurement / measurements). Fish and cluster cancel. For Compared::within_fish.
[[nodiscard]] Expected<double> paired_sd(const VarianceComponents& variances, double measurements = 1.0);
/// sd of one fish's mean of `measurements`: sqrt(fish + measurement / measurements), when each cluster has
/// fish of both groups, so that it cancels. For Compared::two_groups.
[[nodiscard]] Expected<double> fish_sd(const VarianceComponents& variances, double measurements = 1.0);
/// sd of the mean of a whole cluster of `fish` when clusters, not fish, are given to the groups:
/// sqrt(cluster + (fish + measurement / measurements) / fish). For Compared::two_groups with n counting
/// clusters.
[[nodiscard]] Expected<double> cluster_sd(const VarianceComponents& variances, double fish,
                                          double measurements = 1.0);

} // namespace backeddy::stats
