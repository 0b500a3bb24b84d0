#pragma once
// A sum whose error does not grow with its length.

#include <cmath>

namespace backeddy::fit::detail {

/// Neumaier's compensated sum (1974, Z Angew Math Mech 54:39): error about one rounding of the sum of
/// absolute terms squared times machine epsilon squared, plus one rounding of the result.
class Sum {
  public:
    void add(double v) {
        const double next = total_ + v;
        lost_ += std::abs(total_) >= std::abs(v) ? (total_ - next) + v : (v - next) + total_;
        total_ = next;
    }
    [[nodiscard]] double value() const { return total_ + lost_; }

  private:
    double total_ = 0.0;
    double lost_ = 0.0;
};

} // namespace backeddy::fit::detail
