#include "watch/trend.hpp"

#include <cmath>

namespace backeddy::watch {

void RunningLine::add(double t_s, double y) {
    if (n_ == 0) {
        from_s_ = t_s;
    }
    to_s_ = t_s;
    ++n_;
    const double dt = t_s - mean_t_;
    mean_t_ += dt / static_cast<double>(n_);
    const double dy = y - mean_y_;
    mean_y_ += dy / static_cast<double>(n_);
    tt_ += dt * (t_s - mean_t_);
    ty_ += dt * (y - mean_y_);
}

std::optional<double> RunningLine::slope() const {
    if (n_ < 3 || !(tt_ > 0.0)) {
        return std::nullopt;
    }
    return ty_ / tt_;
}

std::optional<double> RunningLine::at(double t_s) const {
    const auto b = slope();
    if (!b) {
        return std::nullopt;
    }
    return mean_y_ + (*b * (t_s - mean_t_));
}

void FadingLine::add(double t_s, double y, double memory_s) {
    const double d = n_ == 0 ? 0.0 : t_s - t_s_;
    // All older readings move d into the past, then fade.
    wtt_ += (-2.0 * d * wt_) + (d * d * w_);
    wty_ -= d * wy_;
    wt_ -= d * w_;
    const double fade = std::exp(-d / memory_s);
    for (double* sum : {&w_, &wt_, &wtt_, &wy_, &wty_}) {
        *sum *= fade;
    }
    w_ += 1.0;
    wy_ += y;
    t_s_ = t_s;
    ++n_;
}

std::optional<double> FadingLine::slope() const {
    const double spread = (w_ * wtt_) - (wt_ * wt_);
    if (n_ < 4 || !(spread > 1e-9 * w_ * w_)) {
        return std::nullopt;
    }
    return ((w_ * wty_) - (wt_ * wy_)) / spread;
}

std::optional<double> FadingLine::at(double t_s) const {
    if (n_ == 0) {
        return std::nullopt;
    }
    const double b = slope().value_or(0.0);
    return ((wy_ - (b * wt_)) / w_) + (b * (t_s - t_s_));
}

} // namespace backeddy::watch
