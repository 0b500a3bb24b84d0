#pragma once
// Two values of each fish: by how much they differ, and how sure one can be. Pairs must be complete; who was
// left out for a missing partner is for the caller to list.
//
//   const auto pairs = differences_of(after_capture, after_chase);   // first less second
//   const auto t = paired_t(*pairs);                                 // t->difference.lower, t->effect_size
//   const auto ranks = signed_rank(*pairs);                          // ranks->p.two_sided

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"

namespace backeddy::stats {

/// One a pair. Differences of decimal numbers are not exact in binary: 8.2 - 8.8 and 13.2 - 13.8 part in the
/// sixteenth digit and are the same number, and so are 0.3 - 0.1 - 0.2 and 0.
struct Differences {
    std::vector<double> values;
    double rounding = 0.0; ///< differences (and their sizes) at most this far apart are the same number
};

/// First less second, `rounding` being four units in the last place of the largest value. Fails with bad_row
/// (unequal lengths) or out_of_range (a value is not finite: names the pair).
[[nodiscard]] Expected<Differences> differences_of(std::span<const double> first,
                                                   std::span<const double> second);

struct PairedT {
    std::size_t n = 0;
    double sd = 0.0; ///< of the differences, n - 1
    Estimate difference;
    Tails p;
    double effect_size = 0.0; ///< d_z = mean / sd of the differences (Cohen 1988, eq. 2.3.5)
    Interval effect_size_interval;
};

/// Mean difference with Student's t, n - 1 degrees of freedom; d_z's interval from the noncentral t, exact
/// for normal differences: noncentralities at which the t seen stands at either end, over sqrt(n) (Cumming
/// and Finch 2001, Educ Psychol Meas 61:532).
/// Within 1e-7 of the interval. Fails with too_few (under two pairs), out_of_range (not finite), degenerate
/// (all differences alike) or bad_setting (level).
[[nodiscard]] Expected<PairedT> paired_t(const Differences& pairs, double level = 0.95);

/// How the error of a weighted mean is taken from how the pairs scatter about it. Rates at which a true
/// difference of 0 is rejected at 5 %, uncertainties spread over 0.2 to 1.5, sd between pairs 0 to 3.
enum class WeightedError : std::uint8_t {
    /// Hartung and Knapp's factor is not let below 1: never surer than the stated uncertainties allow (Rover,
    /// Knapp and Friede 2015, BMC Med Res Methodol 15:99). 1 to 6 % at 5 to 24 pairs; conservative when the
    /// pairs do not differ but by their errors.
    at_least_as_stated,
    /// The factor as it comes: for equal uncertainties exactly the paired t. For unequal ones liberal, up to
    /// 7
    /// to 9 % at 5 to 12 pairs, since the weights follow the same scatter.
    as_scattered,
};

struct WeightedOptions {
    double level = 0.95;
    WeightedError error = WeightedError::at_least_as_stated;
};

struct WeightedDifference {
    std::size_t n = 0;
    Estimate difference; ///< its t has n - 1 degrees of freedom
    Tails p;
    double between_sd = 0.0; ///< of the true differences between pairs; 0 when scatter needs none
    Interval between_sd_interval;
    double scatter = 0.0;        ///< Cochran's Q: squares about the mean weighted by 1 / uncertainty^2
    double scatter_p = 0.0;      ///< of a Q so large with no true differences between pairs
    double error_factor = 0.0;   ///< Hartung and Knapp's q, before it is held at 1
    std::vector<double> weights; ///< of each pair, sum 1
};

/// Mean difference of pairs that were not measured equally well: difference i = mean + true deviation
/// (normal, sd between pairs) + error (normal, its standard uncertainty given, as JCGM 100 combines it: what
/// both values of the pair share has cancelled). The variance between pairs by restricted maximum likelihood
/// (Viechtbauer 2005, J Educ Behav Stat 30:261), the highest of its maxima; preferred to DerSimonian
/// and Laird's moments, which fall short with few unequal pairs (Langan et al. 2019, Res Synth Methods
/// 10:83). Weights 1 / (uncertainty^2 + between^2). Standard error sqrt(q / sum of weights), q = sum w (d -
/// mean)^2 / (n - 1), with t of n - 1 (Hartung and Knapp 2001, Stat Med 20:3875; Sidik and Jonkman 2002, Stat
/// Med 21:3153). Interval of the sd between pairs by Q profile (Viechtbauer 2007, Stat Med 26:37). Fails with
/// too_few (under two pairs), bad_row (another number of uncertainties), out_of_range (not finite; an
/// uncertainty not above 0), degenerate (all differences alike), bad_setting (level).
[[nodiscard]] Expected<WeightedDifference> weighted_difference(const Differences& pairs,
                                                               std::span<const double> uncertainties,
                                                               const WeightedOptions& options = {});

/// What becomes of differences that are 0 in the signed-rank test.
enum class Zeros : std::uint8_t {
    dropped, ///< before ranking (Wilcoxon 1945)
    ranked,  ///< with the others, then their ranks are left out (Pratt 1959, J Am Stat Assoc 54:655)
};

struct SignedRankOptions {
    Zeros zeros = Zeros::dropped;
    Continuity continuity = Continuity::corrected; ///< of the normal tails
    std::size_t exact_up_to = 200;                 ///< differences that are not 0
};

struct SignedRank {
    std::size_t n = 0; ///< differences that are not 0
    std::size_t zeros = 0;
    bool has_ties = false;     ///< among the sizes of the differences that are not 0
    double sum_positive = 0.0; ///< of the ranks of the positive differences (V, W+)
    Tails p;                   ///< exact or normal
    Tails normal;
    bool is_exact = false;
};

/// Wilcoxon's signed-rank test (Wilcoxon 1945, Biometrics Bull 1:80). Exact: the distribution over all 2^n
/// signs of the mean ranks at hand, ties and all, to 1e-12; beyond `exact_up_to` normal with the variance of
/// these ranks, sum r^2 / 4 (Lehmann 1975, Nonparametrics, ch. 3). Fails with too_few (no pair),
/// out_of_range (not finite) or degenerate (all differences are 0).
[[nodiscard]] Expected<SignedRank> signed_rank(const Differences& pairs,
                                               const SignedRankOptions& options = {});

/// Hodges and Lehmann's estimate: the median of the means of any two differences, each with itself too (1963,
/// Ann Math Stat 34:598); its interval from the k-th lowest to the k-th highest of these, k by the
/// signed-rank distribution without ties (Lehmann 1975, ch. 4). Assumes that differences are symmetric about
/// their median. With ties the closed interval covers at least as often. Exact up to 200 pairs, at most
/// 4,000. Under six pairs the whole span is given and its level_reached is under 95 %. Fails with too_few
/// (under two pairs), out_of_range (not finite, more than 4,000) or bad_setting (level).
[[nodiscard]] Expected<ShiftEstimate> hodges_lehmann(const Differences& pairs, double level = 0.95);

struct SignTest {
    std::size_t positive = 0;
    std::size_t negative = 0;
    std::size_t zeros = 0; ///< left out
    Tails p;
};

/// Exact: binomial with 1/2. Fails with too_few (no pair), out_of_range (not finite) or degenerate (all
/// differences are 0).
[[nodiscard]] Expected<SignTest> sign_test(const Differences& pairs);

enum class BootstrapKind : std::uint8_t {
    /// The mean's t in each draw: widest and nearest to its level at small n (Hall 1988, Ann
    /// Stat 16:927).
    studentised,
    /// Quantiles of the draws' means, moved for bias and skewness (Efron 1987, J Am Stat Assoc 82:171, BCa).
    accelerated,
    percentile, ///< quantiles of the draws' means (Efron 1979, Ann Stat 7:1): 89 % at 8 pairs, 93 % at 24
};

struct PairedBootstrapOptions {
    BootstrapKind kind = BootstrapKind::studentised;
    double level = 0.95;
    std::size_t draws = 9999;
    std::uint64_t seed = 1;
    Threads threads;
};

struct PairedBootstrap {
    double estimate = 0.0; ///< mean difference
    double se = 0.0;       ///< of the draws' means
    Interval interval;
    std::size_t failed = 0; ///< draws without an answer: one pair over and over has no spread to divide by
};

/// Interval of the mean difference without a normal distribution, over `draws` samples of pairs with
/// replacement (fit/bootstrap.hpp: numbered draws, the same for any number of threads). Fails with too_few
/// (under four pairs: too few different samples; under 100 draws), out_of_range, degenerate (all differences
/// alike) or bad_setting (level).
[[nodiscard]] Expected<PairedBootstrap> paired_bootstrap(const Differences& pairs,
                                                         const PairedBootstrapOptions& options = {});

} // namespace backeddy::stats
