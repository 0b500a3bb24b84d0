#pragma once
// Whether two ways of measuring the same thing may stand in for each other; whether two scorers score alike.
//
//   const auto limits = limits_of_agreement(by_slope, by_smoother);
//   limits->lower.value, limits->lower.interval;        // 95 % of differences lie above it; how sure
//   limits->trend;                                      // does the difference grow with the size?

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "base/error.hpp"
#include "stats/estimate.hpp"
#include "stats/interval.hpp"

namespace backeddy::stats {

/// How the interval of a limit of agreement is found.
enum class LimitInterval : std::uint8_t {
    /// Noncentral t: a limit is a quantile of a normal distribution (Carkeet 2015, Optom Vis Sci 92:e71).
    exact,
    /// t of n - 1 times sd sqrt(1/n + z^2 / (2 (n - 1))) (Bland and Altman 1999, Stat Methods Med Res 8:135,
    /// section 3.2): equal arms; too short outward under some 50 pairs.
    approximate,
    /// t of n - 1 times sd sqrt(3/n) (Bland and Altman 1986, Lancet 327:307).
    simple,
};

struct AgreementOptions {
    double level = 0.95; ///< of every interval
    /// Limits are bias -+ this times sd: 1.96, the normal's, for 95 % of differences.
    double multiplier = 1.959963984540054;
    LimitInterval limit_interval = LimitInterval::exact;
};

struct Limit {
    double value = 0.0;
    Interval interval;
};

/// Does the difference change with the size of what is measured?
struct AgreementTrend {
    Estimate slope; ///< of the difference on the mean of the pair
    double intercept = 0.0;
};
struct SpreadTrend {
    double correlation =
        0.0; ///< of the difference's size with the mean: differences scatter more in large ones
    double p = 0.0;
};

struct LimitsOfAgreement {
    std::size_t n = 0;
    Estimate bias; ///< mean of first - second
    double sd = 0.0;
    Limit lower;
    Limit upper;
    LimitInterval limit_interval = LimitInterval::exact;
    /// Where there is one the limits hold only on average: compare logarithms, or follow the trend (Bland and
    /// Altman 1999, section 3). Nothing when all means are alike.
    std::optional<AgreementTrend> trend;
    std::optional<SpreadTrend> spread; ///< nothing when all means or all sizes are alike
};

/// Limits of agreement of first and second by the same pairs (Bland and Altman 1986, 1999), differences taken
/// as normal. Fails with too_few (under three pairs), bad_row (unequal lengths), out_of_range (not finite),
/// degenerate (all differences alike) or bad_setting (level, multiplier not above 0).
[[nodiscard]] Expected<LimitsOfAgreement> limits_of_agreement(std::span<const double> first,
                                                              std::span<const double> second,
                                                              const AgreementOptions& options = {});

struct Concordance {
    std::size_t n = 0;
    double value = 0.0; ///< 1 on the line of equality; variances with divisor n
    double se = 0.0;    ///< of the value itself
    Interval interval;  ///< by the inverse hyperbolic tangent
    double correlation = 0.0;
    double bias_correction = 0.0; ///< C_b: value / correlation
    double scale_shift = 0.0;     ///< sd of first / sd of second
    double location_shift = 0.0;  ///< (mean of first - mean of second) / sqrt(product of the sds)
};

/// Lin's concordance correlation (1989, Biometrics 45:255) with the variance as corrected in 2000 (Biometrics
/// 56:324), n - 2. Large-sample: a 95 % interval covered 92 % at 8 pairs, 94 % at 24. Fails with too_few
/// (under four pairs), bad_row (unequal lengths), out_of_range (not finite), degenerate (one of the two does
/// not vary, or both are the same throughout) or bad_setting (level).
[[nodiscard]] Expected<Concordance> concordance(std::span<const double> first, std::span<const double> second,
                                                double level = 0.95);

/// What a disagreement by some steps of the scale is worth, 1 for none.
enum class KappaWeights : std::uint8_t {
    none,      ///< any disagreement is 0
    linear,    ///< 1 - steps / most steps (Cicchetti and Allison 1971, Am J EEG Technol 11:101)
    quadratic, ///< 1 - (steps / most steps)^2 (Fleiss and Cohen 1973, Educ Psychol Meas 33:613)
};

struct KappaOptions {
    KappaWeights weights = KappaWeights::quadratic;
    double level = 0.95;
};

struct Kappa {
    std::size_t n = 0;
    double value = 0.0;
    double agreement = 0.0; ///< weighted, seen
    double expected = 0.0;  ///< weighted, of scorers who score independently
    double se = 0.0;
    double se_of_none = 0.0; ///< if there were no agreement beyond chance
    double p = 0.0;          ///< two-sided, of none
    /// value -+ normal quantile times se, within -1 and 1. Nothing when all agree: the large-sample error is
    /// then 0, which no number of fish justifies.
    std::optional<Interval> interval;
};

/// Cohen's weighted kappa (1968, Psychol Bull 70:213) of two scorers of the same subjects, with the errors of
/// Fleiss, Cohen and Everitt (1969, Psychol Bull 72:323). Scores are places on a scale of
/// `categories` steps, from 0. Large-sample: a 95 % interval covered 90 % at 24 subjects, 93 % at 60. Fails
/// with too_few (under two subjects or two categories), bad_row (unequal lengths), out_of_range (a score not
/// on the scale) or degenerate (both gave one and the same score throughout).
[[nodiscard]] Expected<Kappa> weighted_kappa(std::span<const std::size_t> first,
                                             std::span<const std::size_t> second, std::size_t categories,
                                             const KappaOptions& options = {});

} // namespace backeddy::stats
