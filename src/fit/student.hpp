#pragma once
// Quantiles of Student's t: how wide an interval about a mean of few values has to be.

namespace backeddy::fit {

/// The t that |T| exceeds with probability 1 - `level`, T of `degrees_of_freedom` (> 0); `level` in (0, 1).
/// 2.0687 for 95 % and 23 degrees of freedom. By Boost.Math, tested against the NIST/SEMATECH e-Handbook,
/// 1.3.6.7.2.
[[nodiscard]] double two_sided_t(double level, double degrees_of_freedom);

} // namespace backeddy::fit
