#include "uptake/detail/picking.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "base/random.hpp"
#include "fit/windows.hpp"

namespace backeddy::uptake::detail {

namespace {

// Noise at the run's own times; the factors that depend on times alone are made once.
class NoiseAtTimes {
  public:
    NoiseAtTimes(const fit::NoiseModel& noise, std::span<const double> seconds) : noise_(noise) {
        keep_.assign(seconds.size(), 0.0);
        for (std::size_t i = 1; i < seconds.size() && noise.is_coloured(); ++i) {
            keep_[i] = std::exp(-(seconds[i] - seconds[i - 1]) / noise.correlation_time);
        }
    }
    void add(std::span<const double> course, std::vector<double>& out, Random& random) const {
        out.resize(course.size());
        double state = 0.0;
        for (std::size_t i = 0; i < course.size(); ++i) {
            if (noise_.is_coloured()) {
                state = (keep_[i] * state) +
                        (noise_.coloured_sd * std::sqrt(1.0 - (keep_[i] * keep_[i])) * random.normal());
            }
            out[i] = course[i] + state + (noise_.white_sd * random.normal());
        }
    }

  private:
    fit::NoiseModel noise_;
    std::vector<double> keep_;
};

// Size of the steepest fall, or nothing when no window fits.
std::optional<double> steepest_fall(std::span<const double> seconds, std::span<const double> oxygen,
                                    double window_s) {
    const auto found = fit::steepest_window(seconds, oxygen, {.length = window_s, .least_readings = 3},
                                            fit::Steepest::falling);
    return found ? std::optional(-found->slope) : std::nullopt;
}

} // namespace

std::vector<double> smooth_course(const SearchedRun& run) {
    std::vector<double> out(run.seconds.size(), 0.0);
    const auto line = fit::fit_line(run.seconds, run.oxygen);
    if (!line) {
        return out;
    }
    double bend = 0.0;
    if (const auto curved = fit::modelled_curvature(run.noise, *line, run.seconds, run.oxygen, run.seconds)) {
        if (curved->bend != 0.0) {
            const double doubt = curved->bend_se / curved->bend;
            bend = curved->bend * std::max(0.0, 1.0 - (doubt * doubt));
        }
    }
    // As the fit's bend: the square of the time about its mean, made orthogonal to the line, which keeps the
    // line's slope.
    std::vector<double> square(run.seconds.size());
    for (std::size_t i = 0; i < square.size(); ++i) {
        const double away = run.seconds[i] - line->x_mean;
        square[i] = away * away;
    }
    const auto tilt = fit::fit_line(run.seconds, square);
    for (std::size_t i = 0; i < out.size(); ++i) {
        const double orthogonal = tilt ? square[i] - tilt->at(run.seconds[i]) : 0.0;
        out[i] = line->at(run.seconds[i]) + (bend * orthogonal);
    }
    return out;
}

Picking picking_bias(std::span<const SearchedRun> runs, double window_s, std::size_t draws,
                     std::uint64_t seed) {
    struct Course {
        std::span<const double> seconds;
        std::vector<double> oxygen;
        NoiseAtTimes noise;
    };
    std::vector<Course> courses;
    double truth = -1e300;
    for (const auto& run : runs) {
        auto oxygen = smooth_course(run);
        if (const auto steepest = steepest_fall(run.seconds, oxygen, window_s)) {
            truth = std::max(truth, *steepest);
            courses.push_back({run.seconds, std::move(oxygen), NoiseAtTimes(run.noise, run.seconds)});
        }
    }
    Picking out;
    if (courses.empty() || draws < 2) {
        return out;
    }
    double squares = 0.0;
    std::vector<double> noisy;
    for (std::size_t draw = 0; draw < draws; ++draw) {
        Random random(seed, draw);
        double steepest = -1e300;
        for (const auto& course : courses) {
            course.noise.add(course.oxygen, noisy, random);
            steepest = std::max(steepest, steepest_fall(course.seconds, noisy, window_s).value_or(-1e300));
        }
        const double away = steepest - truth;
        const double step = away - out.bias;
        out.bias += step / static_cast<double>(draw + 1);
        squares += step * (away - out.bias);
    }
    out.spread = std::sqrt(squares / static_cast<double>(draws - 1));
    out.bias_error = out.spread / std::sqrt(static_cast<double>(draws));
    return out;
}

} // namespace backeddy::uptake::detail
