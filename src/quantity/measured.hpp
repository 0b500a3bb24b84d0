#pragma once
// Start here: a number that knows how unsure it is, and why.

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace backeddy {

/// What one named source does to a value: the signed change of the value when the source is one standard
/// uncertainty high, in the value's own unit.
struct Contribution {
    std::string source;
    double effect = 0.0;

    friend bool operator==(const Contribution&, const Contribution&) = default;
};

/// A value with its contributions to uncertainty by named source (JCGM 100:2008, 5.1.2: the products c_i
/// u(x_i), kept apart and with their signs). Different names are independent; a shared name is the same
/// random quantity, so that differences and ratios of two values cancel what they share, and only that (JCGM
/// 100:2008, 5.2.2 and F.1.2.3).
///
/// First-order propagation: sound while each relative uncertainty is small (under about 30 %) or the formula
/// is linear; where that fails the callers simulate instead (JCGM 101:2008).
class Measured {
  public:
    Measured() = default;
    /// Without uncertainty.
    explicit Measured(double value) : value_(value) {}
    /// One source. `standard_uncertainty` >= 0 and finite; 0 adds no contribution.
    Measured(double value, double standard_uncertainty, std::string source);
    /// Contributions in any order; equal sources are added.
    Measured(double value, std::vector<Contribution> contributions);

    [[nodiscard]] double value() const { return value_; }
    /// Sorted by source, no source twice.
    [[nodiscard]] std::span<const Contribution> contributions() const { return contributions_; }
    /// Root sum of squares of the contributions.
    [[nodiscard]] double standard_uncertainty() const;
    [[nodiscard]] double variance() const;
    /// Share of the variance that comes from `source`, 0 to 1; 0 when there is no uncertainty at all.
    [[nodiscard]] double share(std::string_view source) const;

    /// The same uncertainty, another value: what a correction known exactly does.
    [[nodiscard]] Measured shifted(double by) const;
    /// A further independent source.
    [[nodiscard]] Measured with(double standard_uncertainty, std::string source) const;

    friend Measured operator+(const Measured& a, const Measured& b);
    friend Measured operator-(const Measured& a, const Measured& b);
    friend Measured operator*(const Measured& a, const Measured& b);
    /// b must not be 0.
    friend Measured operator/(const Measured& a, const Measured& b);
    friend Measured operator*(const Measured& a, double k);
    friend Measured operator*(double k, const Measured& a) { return a * k; }
    friend Measured operator/(const Measured& a, double k) { return a * (1.0 / k); }
    friend Measured operator-(const Measured& a) { return a * -1.0; }
    friend bool operator==(const Measured&, const Measured&) = default;

  private:
    double value_ = 0.0;
    std::vector<Contribution> contributions_;
};

/// Covariance through shared sources: the sum over them of the products of their effects.
[[nodiscard]] double covariance(const Measured& a, const Measured& b);

/// `value` = f(inputs) with partial derivatives `slopes` (same length): contributions are the slope times the
/// input's.
[[nodiscard]] Measured propagated(double value, std::span<const Measured> inputs,
                                  std::span<const double> slopes);

/// Natural logarithm; value must be above 0.
[[nodiscard]] Measured log(const Measured& a);
[[nodiscard]] Measured exp(const Measured& a);

} // namespace backeddy
