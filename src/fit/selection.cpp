#include "fit/selection.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include <fmt/format.h>

#include "base/random.hpp"

namespace backeddy::fit {

namespace {

/// Draws the noise at fixed times; the factors that depend on times alone are made once.
class NoiseMaker {
  public:
    NoiseMaker(const NoiseModel& noise, std::span<const double> times)
        : noise_(noise), keep_(times.size(), 0.0) {
        for (std::size_t i = 1; i < times.size(); ++i) {
            keep_[i] =
                noise.is_coloured() ? std::exp(-(times[i] - times[i - 1]) / noise.correlation_time) : 0.0;
        }
    }

    void fill(std::vector<double>& out, Random& random) const {
        double state = 0.0;
        for (std::size_t i = 0; i < keep_.size(); ++i) {
            if (noise_.is_coloured()) {
                state = (keep_[i] * state) +
                        (noise_.coloured_sd * std::sqrt(1.0 - (keep_[i] * keep_[i])) * random.normal());
            }
            out[i] = state + (noise_.white_sd * random.normal());
        }
    }

  private:
    NoiseModel noise_;
    std::vector<double> keep_;
};

} // namespace

Expected<SelectionBias> selection_bias(const NoiseModel& noise, std::span<const double> times,
                                       const WindowOptions& window, const SelectionOptions& options) {
    if (options.runs < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} simulated runs", options.runs),
                     .expected = "at least two"});
    }
    const auto windows = sliding_lines(times, times, window); // finds what is wrong with the times, once
    if (!windows) {
        return fail(windows.error());
    }
    SelectionBias out{.windows = windows->size()};
    if (!(noise.variance() > 0.0)) {
        return out;
    }
    double squares = 0.0;
    for (const auto& one : *windows) {
        const auto part = times.subspan(one.first, one.n());
        const auto slope = modelled_slope(noise, part);
        squares += slope ? slope->slope_se * slope->slope_se : 0.0;
    }
    out.window_se = std::sqrt(squares / static_cast<double>(windows->size()));

    const NoiseMaker maker(noise, times);
    // Noise has no direction: its steepest rise and its steepest fall are draws of the same quantity.
    std::vector<double> rises(options.runs);
    std::vector<double> falls(options.runs);
    parallel_for(options.runs, options.threads, [&](std::size_t run) {
        Random random(options.seed, run);
        std::vector<double> readings(times.size());
        maker.fill(readings, random);
        const auto up = steepest_window(times, readings, window, Steepest::rising);
        const auto down = steepest_window(times, readings, window, Steepest::falling);
        rises[run] = up ? up->slope : 0.0;
        falls[run] = down ? -down->slope : 0.0;
    });
    const auto n = static_cast<double>(options.runs);
    double sum = 0.0;
    for (std::size_t i = 0; i < options.runs; ++i) {
        sum += 0.5 * (rises[i] + falls[i]);
    }
    out.bias = sum / n;
    double of_pairs = 0.0;
    double of_each = 0.0;
    for (std::size_t i = 0; i < options.runs; ++i) {
        const double up = rises[i] - out.bias;
        const double down = falls[i] - out.bias;
        of_pairs += 0.25 * (up + down) * (up + down);
        of_each += 0.5 * ((up * up) + (down * down));
    }
    out.bias_se = std::sqrt(of_pairs / (n - 1.0) / n);
    out.spread = std::sqrt(of_each / (n - 1.0));
    out.in_standard_errors = out.bias / out.window_se;
    return out;
}

double expected_largest_normal(std::size_t m) {
    if (m <= 1) {
        return 0.0;
    }
    // E = integral of P(max > x) over x > 0 less that of P(max < x) over x < 0; the trapezoid rule converges
    // exponentially for functions this smooth that vanish at both ends.
    const auto k = static_cast<double>(m);
    const double step = 1.0 / 64.0;
    double sum = 0.0;
    for (int i = -12 * 64; i <= 12 * 64; ++i) {
        const double x = i * step;
        const double below = 0.5 * std::erfc(-x / std::numbers::sqrt2);
        const double density = std::exp(-0.5 * x * x) / std::sqrt(2.0 * std::numbers::pi);
        sum += x * k * density * std::pow(below, k - 1.0);
    }
    return sum * step;
}

} // namespace backeddy::fit
