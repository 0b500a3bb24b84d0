#pragma once
// Student's t with a shifted mean: intervals of effect sizes and of limits of agreement, and power.

namespace backeddy::stats::detail {

/// P(T <= t) and P(T > t), freedom > 0. By Boost.Math for a noncentrality within +-1000, beyond by
/// integration (to 1e-12).
[[nodiscard]] double noncentral_t_lower(double t, double freedom, double noncentrality);
[[nodiscard]] double noncentral_t_upper(double t, double freedom, double noncentrality);
/// The t that is exceeded with probability 1 - p.
[[nodiscard]] double noncentral_t_quantile(double p, double freedom, double noncentrality);
/// The noncentrality at which P(T <= t) is p.
[[nodiscard]] double noncentrality_of(double t, double freedom, double p);

} // namespace backeddy::stats::detail
