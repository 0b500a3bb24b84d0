#pragma once
// Straight lines by running sums: one over a whole spell, one that forgets. No sample is kept.

#include <cstddef>
#include <optional>

namespace backeddy::watch {

/// Least squares over all readings since it began; sums are updated about the running means (Welford 1962,
/// Technometrics 4:419), so that long spells lose no digits.
class RunningLine {
  public:
    void add(double t_s, double y);
    [[nodiscard]] std::size_t readings() const { return n_; }
    /// Per second; nothing under three readings or without two moments.
    [[nodiscard]] std::optional<double> slope() const;
    [[nodiscard]] std::optional<double> at(double t_s) const;
    [[nodiscard]] double from_s() const { return from_s_; }
    [[nodiscard]] double to_s() const { return to_s_; }

  private:
    std::size_t n_ = 0;
    double mean_t_ = 0.0;
    double mean_y_ = 0.0;
    double tt_ = 0.0;
    double ty_ = 0.0;
    double from_s_ = 0.0;
    double to_s_ = 0.0;
};

/// A line whose readings count e^(-age / memory): level and slope of now, without the lag of a mean.
class FadingLine {
  public:
    void restart() { *this = FadingLine(); }
    /// Times ascending; equal times are averaged. `memory_s` above 0.
    void add(double t_s, double y, double memory_s);
    [[nodiscard]] std::size_t readings() const { return n_; }
    [[nodiscard]] double at_s() const { return t_s_; }
    /// Level at a moment; nothing before the first reading. Without a slope: the mean.
    [[nodiscard]] std::optional<double> at(double t_s) const;
    /// Per second; nothing under four readings.
    [[nodiscard]] std::optional<double> slope() const;

  private:
    std::size_t n_ = 0;
    double t_s_ = 0.0; ///< of the newest reading: sums count times from here
    double w_ = 0.0;
    double wt_ = 0.0;
    double wtt_ = 0.0;
    double wy_ = 0.0;
    double wty_ = 0.0;
};

} // namespace backeddy::watch
