#pragma once
// Groups of different fish compared, by ranks where a normal distribution cannot be counted on, and by
// Welch's tests where spreads differ.
//
//   const auto test = mann_whitney(circle, treble);          // test->p.two_sided, test->superiority
//   const auto shift = shift_between(circle, treble);        // in the units of the values
//   const auto means = compare_means(circle, treble);        // Welch's t
//   const auto trend = jonckheere({short_fight, medium_fight, long_fight});

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"

namespace backeddy::stats {

using Groups = std::vector<std::vector<double>>;

struct MannWhitneyOptions {
    Continuity continuity = Continuity::corrected; ///< of the normal tails
    std::size_t exact_up_to = 100;                 ///< values in both groups together
};

struct MannWhitney {
    std::size_t n_first = 0;
    std::size_t n_second = 0;
    bool has_ties = false;
    double u = 0.0;           ///< pairs of one of each in which the first is higher, ties counting half (W)
    double superiority = 0.0; ///< u as a share of all pairs: 0.5 without an effect
    Tails p;                  ///< exact or normal; greater: the first group tends to be higher
    Tails normal;
    bool is_exact = false;
};

/// Mann and Whitney's test (1947, Ann Math Stat 18:50). Exact: all ways of dividing the mean ranks at hand,
/// ties and all, between the groups, to 1e-12; two-sided are all sums at least as far from the mean. Beyond
/// `exact_up_to` normal with the variance less what ties take (Lehmann 1975, Nonparametrics, ch. 1). Fails
/// with too_few (an empty group), out_of_range (not finite) or degenerate (all values alike).
[[nodiscard]] Expected<MannWhitney> mann_whitney(std::span<const double> first,
                                                 std::span<const double> second,
                                                 const MannWhitneyOptions& options = {});

/// First less second: the median of all differences between one of each (Hodges and Lehmann 1963, Ann Math
/// Stat 34:598), its interval from the k-th lowest to the k-th highest, k by Mann and Whitney's distribution
/// without ties (Lehmann 1975, ch. 2). Assumes that the groups' distributions differ by a shift only. With
/// ties the closed interval covers at least as often. Exact up to 100 values together; at most 10 million
/// differences. Fails with too_few (an empty group), out_of_range (not finite, too many) or
/// bad_setting (level).
[[nodiscard]] Expected<ShiftEstimate> shift_between(std::span<const double> first,
                                                    std::span<const double> second, double level = 0.95);

struct KruskalWallisOptions {
    std::size_t permuted_up_to = 60; ///< values in all groups together
    std::size_t draws = 9999;        ///< random divisions of the values at hand
    std::uint64_t seed = 1;
};

struct KruskalWallis {
    double h = 0.0; ///< corrected for ties
    double freedom = 0.0;
    double p = 0.0; ///< by permutation or chi-squared
    double chi_squared_p = 0.0;
    bool is_permuted = false;
};

/// Do the groups have the same place? (Kruskal and Wallis 1952, J Am Stat Assoc 47:583.) For few fish p is
/// the share of random divisions of the values between the groups with an H as large, the one seen among them
/// (Monte Carlo error sqrt(p (1 - p) / draws)); chi-squared never rejects with four groups of two, and does
/// so in 2 % instead of 5 % with three. Fails with too_few (under two groups, an empty group), out_of_range
/// (not finite) or degenerate (all values alike).
[[nodiscard]] Expected<KruskalWallis> kruskal_wallis(const Groups& groups,
                                                     const KruskalWallisOptions& options = {});

struct Jonckheere {
    double j = 0.0; ///< pairs of different groups in which the later is higher, ties counting half
    double mean = 0.0;
    double variance = 0.0; ///< corrected for ties
    double z = 0.0;
    Tails p; ///< normal, no continuity correction; greater: values rise from group to group
};

/// Do values rise or fall from group to group, in the order given? (Terpstra 1952, Indag Math 14:327;
/// Jonckheere 1954, Biometrika 41:133; variance with ties: Hollander and Wolfe 1999, Nonparametric
/// Statistical Methods, section 6.2.) Fails with too_few (under two groups, an empty group, under three
/// values), out_of_range (not finite) or degenerate (all values alike).
[[nodiscard]] Expected<Jonckheere> jonckheere(const Groups& groups);

/// Whether groups are taken to have a spread each of their own (Welch) or one in common (Student, Fisher).
enum class Spreads : std::uint8_t { own, common };

struct MeansCompared {
    Estimate difference; ///< mean of the first less mean of the second
    Tails p;
};

/// Welch's t with the degrees of freedom of Welch 1947 (Biometrika 34:28) and Satterthwaite 1946 (Biometrics
/// Bull 2:110), or Student's, which is liberal when the smaller group scatters more (19 % instead of 5 % at
/// six and three fish with spreads 1 to 4; Welch's 7 %, and 10 % at four and two). Fails with too_few (a
/// group with fewer than two values), out_of_range (not finite), degenerate (no spread in either group) or
/// bad_setting (level).
[[nodiscard]] Expected<MeansCompared> compare_means(std::span<const double> first,
                                                    std::span<const double> second,
                                                    Spreads spreads = Spreads::own, double level = 0.95);

struct OneWay {
    double f = 0.0;
    double numerator = 0.0; ///< degrees of freedom
    double denominator = 0.0;
    double p = 0.0;
};

/// Are all means the same? Welch's F for spreads of their own (1951, Biometrika 38:330), or Fisher's one-way
/// analysis of variance. Fails with too_few (under two groups, a group with fewer than two values),
/// out_of_range (not finite) or degenerate (a group without spread, whose mean would count as certain; in
/// common: no group with any).
[[nodiscard]] Expected<OneWay> one_way(const Groups& groups, Spreads spreads = Spreads::own);

} // namespace backeddy::stats
