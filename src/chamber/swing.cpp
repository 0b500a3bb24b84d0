#include "chamber/swing.hpp"

#include <cmath>
#include <numbers>

namespace backeddy::chamber {

double Swing::at(double t_s) const {
    double value = mean + (trend_per_h * t_s / 3600.0);
    for (const auto& wave : waves) {
        value += wave.amplitude * std::cos(2.0 * std::numbers::pi * (t_s - wave.high_at_s) / wave.period_s);
    }
    return value;
}

} // namespace backeddy::chamber
