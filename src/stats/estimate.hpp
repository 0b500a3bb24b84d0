#pragma once
// A number that a model found, with all that a sentence about it needs.

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace backeddy::stats {

struct Estimate {
    std::string name;
    double value = 0.0;
    double se = 0.0;
    double freedom = 0.0;   ///< degrees of freedom of its t; infinite for a normal
    double statistic = 0.0; ///< value / se
    double p = 0.0;         ///< two-sided, of the value being 0
    double lower = 0.0;     ///< of the interval
    double upper = 0.0;
};

/// With the interval value -+ t(level, freedom) se. `level` in (0, 1), freedom > 0 or infinite, se >= 0. Of
/// an se of 0 the statistic is infinite (0 for a value of 0, with p = 1).
[[nodiscard]] Estimate make_estimate(std::string name, double value, double se, double freedom,
                                     double level = 0.95);

/// Of hazards, odds or times: the exponential of a coefficient and of its limits.
struct Ratio {
    std::string name;
    double value = 0.0;
    double lower = 0.0;
    double upper = 0.0;
};
[[nodiscard]] Ratio ratio_of(const Estimate& logarithm);

/// The t that |T| exceeds with probability 1 - level; the normal's quantile at infinite freedom. Infinite
/// where it is too large for a double (freedom below about 0.005).
[[nodiscard]] double two_sided_quantile(double level, double freedom);
/// P(|T| > |t|); at infinite freedom of the normal.
[[nodiscard]] double two_sided_p(double t, double freedom);
/// P(F > f), numerator and denominator degrees of freedom > 0, the latter may be infinite; f >= 0.
[[nodiscard]] double f_upper(double f, double numerator, double denominator);
/// P(X > x) of a chi-squared, freedom > 0, x >= 0.
[[nodiscard]] double chi_squared_upper(double x, double freedom);

struct ChiSquaredTest {
    double chi_squared = 0.0;
    double freedom = 0.0;
    double p = 0.0;
};
/// With its p-value; `value` a little below 0 by rounding counts as 0 for it.
[[nodiscard]] ChiSquaredTest chi_squared_test(double value, double freedom);

/// Of one term of a model, given all others, or of "all" together.
struct TermChiSquared {
    std::string term;
    ChiSquaredTest test;
};

/// Whether some linear hypothesis about the coefficients holds: F = (L b)' (L V L')^-1 (L b) / rank.
struct TermTest {
    std::string term;
    double numerator = 0.0;   ///< degrees of freedom: rows of the hypothesis
    double denominator = 0.0; ///< degrees of freedom of the error
    double f = 0.0;
    double p = 0.0;
    double scaling = 1.0; ///< by which f was multiplied (Kenward and Roger 1997); already in f
};

/// The weighted sum of coefficients and its variance; `covariance` row by row.
struct Combination {
    double value = 0.0;
    double variance = 0.0;
};
[[nodiscard]] Combination combine(std::span<const double> weights, std::span<const double> coefficients,
                                  std::span<const double> covariance);
/// (L b)' (L V L')^-1 (L b) / rows, the rows of L independent of each other.
[[nodiscard]] double wald_f(const std::vector<std::vector<double>>& rows,
                            std::span<const double> coefficients, std::span<const double> covariance);

} // namespace backeddy::stats
