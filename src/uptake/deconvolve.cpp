#include "uptake/detail/deconvolve.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "base/lanes.hpp"
#include "base/random.hpp"

namespace backeddy::uptake::detail {

namespace {

// Where the true values may lie: the values themselves, or of a long night this many of their quantiles,
// since the work grows with the square of the number.
constexpr std::size_t most_points = 200;

std::vector<double> support_of(std::span<const double> values) {
    std::vector<double> sorted(values.begin(), values.end());
    std::sort(sorted.begin(), sorted.end());
    if (sorted.size() <= most_points) {
        return sorted;
    }
    std::vector<double> out(most_points);
    for (std::size_t j = 0; j < most_points; ++j) {
        out[j] = sorted[j * (sorted.size() - 1) / (most_points - 1)];
    }
    return out;
}

// Values whose likelihoods are worked through side by side, in lanes of two.
constexpr std::size_t rows = 8;
constexpr std::size_t pairs = rows / 2;

// Where the squared distance, in errors, is this much more than that of the nearest point, a point counts for
// nothing: its likelihood is below e^-70 = 4e-31 of the nearest's.
constexpr double out_of_reach = 140.0;

// Neighbouring values with the points in reach of any of them.
struct Block {
    std::size_t first_point = 0;
    std::size_t points = 0;
    std::size_t at = 0; ///< where its likelihoods begin: `pairs` lanes for each point
};

// Likelihoods of the values at the points, each value's relative to that at the point nearest to it.
struct Kernel {
    std::vector<Block> blocks;
    std::vector<Lanes> likelihood;
};

struct Reading {
    double value = 0.0;
    double error = 0.0;
};

// Squared distance in errors.
double squared(const Reading& reading, double point) {
    const double z = (reading.value - point) / reading.error;
    return z * z;
}

double nearest(const Reading& reading, std::span<const double> points) {
    const auto above = std::lower_bound(points.begin(), points.end(), reading.value);
    double least = std::numeric_limits<double>::infinity();
    if (above != points.end()) {
        least = squared(reading, *above);
    }
    if (above != points.begin()) {
        least = std::min(least, squared(reading, *(above - 1)));
    }
    return least;
}

void add_block(std::span<const Reading> readings, std::span<const double> points, Kernel& kernel) {
    std::array<double, rows> least{};
    std::size_t first = points.size();
    std::size_t end = 0;
    for (std::size_t r = 0; r < readings.size(); ++r) {
        const auto& reading = readings[r];
        least[r] = nearest(reading, points);
        const double reach = reading.error * std::sqrt(least[r] + out_of_reach);
        const auto from = std::lower_bound(points.begin(), points.end(), reading.value - reach);
        const auto to = std::upper_bound(points.begin(), points.end(), reading.value + reach);
        first = std::min(first, static_cast<std::size_t>(from - points.begin()));
        end = std::max(end, static_cast<std::size_t>(to - points.begin()));
    }
    kernel.blocks.push_back({.first_point = first, .points = end - first, .at = kernel.likelihood.size()});
    for (std::size_t j = first; j < end; ++j) {
        std::array<double, rows> half{};
        for (std::size_t r = 0; r < readings.size(); ++r) {
            half[r] = -0.5 * (squared(readings[r], points[j]) - least[r]);
        }
        for (std::size_t p = 0; p < pairs; ++p) {
            const Lanes both = exp_of_negative(Lanes{half[2 * p], half[(2 * p) + 1]});
            kernel.likelihood.push_back(Lanes{2 * p < readings.size() ? both[0] : 0.0,
                                              (2 * p) + 1 < readings.size() ? both[1] : 0.0});
        }
    }
}

Kernel kernel_of(std::vector<Reading> readings, std::span<const double> points) {
    std::sort(readings.begin(), readings.end(), [](const Reading& a, const Reading& b) {
        return a.value != b.value ? a.value < b.value : a.error < b.error;
    });
    Kernel out;
    for (std::size_t i = 0; i < readings.size(); i += rows) {
        add_block(std::span(readings).subspan(i, std::min(rows, readings.size() - i)), points, out);
    }
    return out;
}

// One step of EM for a block: what its values give to the points, all told.
void give(const Block& block, const Kernel& kernel, std::span<const double> weights, std::span<double> next) {
    const Lanes* const likelihood = &kernel.likelihood[block.at];
    const double* const weight = &weights[block.first_point];
    std::array<Lanes, pairs> sum{};
    for (std::size_t j = 0; j < block.points; ++j) {
        for (std::size_t p = 0; p < pairs; ++p) {
            sum[p] += weight[j] * likelihood[(j * pairs) + p];
        }
    }
    const Lanes none{};
    for (std::size_t p = 0; p < pairs; ++p) {
        sum[p] = sum[p] > none ? 1.0 / sum[p] : none; // a row without a value gives nothing
    }
    for (std::size_t j = 0; j < block.points; ++j) {
        Lanes shares = likelihood[j * pairs] * sum[0];
        for (std::size_t p = 1; p < pairs; ++p) {
            shares += likelihood[(j * pairs) + p] * sum[p];
        }
        next[block.first_point + j] += weight[j] * sum_of_lanes(shares);
    }
}

} // namespace

Spread deconvolved(std::span<const double> values, std::span<const double> errors, std::size_t steps) {
    Spread out;
    out.points = support_of(values);
    const std::size_t m = out.points.size();
    const auto n = static_cast<double>(values.size());
    out.weights.assign(m, 1.0 / static_cast<double>(m));
    if (std::all_of(errors.begin(), errors.end(), [](double e) { return e == 0.0; })) {
        return out;
    }
    // A spell without error beside others with one would be a spike; a ten-thousandth of the spread does the
    // same.
    const double least = 1e-4 * std::max(out.points.back() - out.points.front(), 1e-300);
    std::vector<Reading> readings;
    for (std::size_t i = 0; i < values.size(); ++i) {
        readings.push_back({.value = values[i], .error = std::max(errors[i], least)});
    }
    const Kernel kernel = kernel_of(std::move(readings), out.points);
    std::vector<double> next(m);
    for (std::size_t step = 0; step < steps; ++step) {
        std::fill(next.begin(), next.end(), 0.0);
        for (const auto& block : kernel.blocks) {
            give(block, kernel, out.weights, next);
        }
        for (std::size_t j = 0; j < m; ++j) {
            out.weights[j] = next[j] / n;
        }
    }
    return out;
}

namespace {

// Draws from a distribution on points: the point at which its running sum passes a uniform number, found
// from where the number's hundredth part of the way begins (Chen and Asau 1974, AIIE Trans 6:163).
class PointDraws {
  public:
    explicit PointDraws(std::span<const double> weights) : cumulative_(weights.size()) {
        std::partial_sum(weights.begin(), weights.end(), cumulative_.begin());
        std::size_t j = 0;
        for (std::size_t k = 0; k < guides; ++k) {
            while (j + 1 < cumulative_.size() && cumulative_[j] <= start_of(k)) {
                ++j;
            }
            guide_[k] = j;
        }
    }

    /// `uniform` in [0, 1).
    [[nodiscard]] std::size_t at(double uniform) const {
        const double place = uniform * cumulative_.back();
        std::size_t j = guide_[static_cast<std::size_t>(uniform * guides)];
        while (j > 0 && cumulative_[j - 1] > place) {
            --j; // the guide may be one too far by rounding
        }
        while (j + 1 < cumulative_.size() && cumulative_[j] <= place) {
            ++j;
        }
        return j;
    }

  private:
    static constexpr std::size_t guides = 1024;
    [[nodiscard]] double start_of(std::size_t k) const {
        return static_cast<double>(k) / guides * cumulative_.back();
    }

    std::vector<double> cumulative_;
    std::array<std::size_t, guides> guide_{};
};

// Sorts numbers into as many equal steps of their range as there are numbers, then within each step.
class NearSort {
  public:
    void operator()(std::vector<double>& values) {
        const auto [least, greatest] = std::minmax_element(values.begin(), values.end());
        const double low = *least;
        const double range = *greatest - low;
        if (!(range > 0.0) || !std::isfinite(range)) {
            std::sort(values.begin(), values.end());
            return;
        }
        const std::size_t steps = values.size();
        const double scale = static_cast<double>(steps - 1) / range;
        ends_.assign(steps + 1, 0);
        step_.resize(steps);
        for (std::size_t i = 0; i < steps; ++i) {
            step_[i] = static_cast<std::uint32_t>((values[i] - low) * scale);
            ++ends_[step_[i] + 1];
        }
        std::partial_sum(ends_.begin(), ends_.end(), ends_.begin());
        sorted_.resize(steps);
        for (std::size_t i = 0; i < steps; ++i) {
            sorted_[ends_[step_[i]]++] = values[i];
        }
        values.swap(sorted_);
        auto from = values.begin();
        for (std::size_t k = 0; k < steps; ++k) { // each end has become the one of its own step
            const auto to = values.begin() + ends_[k];
            std::sort(from, to); // a few values: by insertion
            from = to;
        }
    }

  private:
    std::vector<std::uint32_t> step_;
    std::vector<std::uint32_t> ends_;
    std::vector<double> sorted_;
};

} // namespace

std::vector<NoiseBias> noise_bias(const Spread& spread, std::span<const double> errors,
                                  const Statistics& statistics, std::size_t draws, std::uint64_t seed) {
    const PointDraws points(spread.weights);
    NearSort near_sort;
    std::vector<std::uint32_t> times(spread.points.size());
    std::vector<double> mean;
    std::vector<double> squares;
    std::vector<double> truth(errors.size());
    std::vector<double> noisy(errors.size());
    for (std::size_t draw = 0; draw < draws; ++draw) {
        Random random(seed, draw);
        std::fill(times.begin(), times.end(), 0U);
        for (std::size_t i = 0; i < errors.size(); ++i) {
            const std::size_t j = points.at(random.uniform());
            ++times[j];
            noisy[i] = spread.points[j] + (errors[i] * random.normal());
        }
        auto place = truth.begin();
        for (std::size_t j = 0; j < times.size(); ++j) {
            place = std::fill_n(place, times[j], spread.points[j]);
        }
        near_sort(noisy);
        const auto without = statistics(truth);
        const auto with = statistics(noisy);
        mean.resize(with.size());
        squares.resize(with.size());
        for (std::size_t k = 0; k < with.size(); ++k) {
            // Welford's update: mean and squared deviations in one pass.
            const double difference = with[k] - without[k];
            const double step = difference - mean[k];
            mean[k] += step / static_cast<double>(draw + 1);
            squares[k] += step * (difference - mean[k]);
        }
    }
    std::vector<NoiseBias> out(mean.size());
    for (std::size_t k = 0; k < out.size(); ++k) {
        out[k].bias = mean[k];
        out[k].bias_error =
            draws > 1 ? std::sqrt(squares[k] / static_cast<double>(draws - 1) / static_cast<double>(draws))
                      : 0.0;
    }
    return out;
}

} // namespace backeddy::uptake::detail
