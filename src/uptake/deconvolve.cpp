#include "uptake/detail/deconvolve.hpp"

#include <algorithm>
#include <cmath>

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

} // namespace

Spread deconvolved(std::span<const double> values, std::span<const double> errors, std::size_t steps) {
    Spread out;
    out.points = support_of(values);
    const std::size_t m = out.points.size();
    const std::size_t n = values.size();
    out.weights.assign(m, 1.0 / static_cast<double>(m));
    if (std::all_of(errors.begin(), errors.end(), [](double e) { return e == 0.0; })) {
        return out;
    }
    // A spell without error beside others with one would be a spike; a ten-thousandth of the spread does the
    // same.
    const double least = 1e-4 * std::max(out.points.back() - out.points.front(), 1e-300);
    std::vector<double> likelihood(n * m);
    for (std::size_t i = 0; i < n; ++i) {
        const double error = std::max(errors[i], least);
        for (std::size_t j = 0; j < m; ++j) {
            const double z = (values[i] - out.points[j]) / error;
            likelihood[(i * m) + j] = std::exp(-0.5 * z * z);
        }
    }
    std::vector<double> next(m);
    for (std::size_t step = 0; step < steps; ++step) {
        std::fill(next.begin(), next.end(), 0.0);
        for (std::size_t i = 0; i < n; ++i) {
            const double* row = &likelihood[i * m];
            double sum = 0.0;
            for (std::size_t j = 0; j < m; ++j) {
                sum += out.weights[j] * row[j];
            }
            if (sum <= 0.0) {
                continue; // further than 38 errors from every point of a thinned support
            }
            const double share = 1.0 / (sum * static_cast<double>(n));
            for (std::size_t j = 0; j < m; ++j) {
                next[j] += out.weights[j] * row[j] * share;
            }
        }
        out.weights.swap(next);
    }
    return out;
}

std::vector<NoiseBias> noise_bias(const Spread& spread, std::span<const double> errors,
                                  const Statistics& statistics, std::size_t draws, std::uint64_t seed) {
    std::vector<double> cumulative(spread.weights.size());
    double sum = 0.0;
    for (std::size_t j = 0; j < cumulative.size(); ++j) {
        sum += spread.weights[j];
        cumulative[j] = sum;
    }
    std::vector<double> mean;
    std::vector<double> squares;
    std::vector<double> truth(errors.size());
    std::vector<double> noisy(errors.size());
    for (std::size_t draw = 0; draw < draws; ++draw) {
        Random random(seed, draw);
        for (std::size_t i = 0; i < errors.size(); ++i) {
            const auto found = std::upper_bound(cumulative.begin(), cumulative.end(), random.uniform() * sum);
            const auto j =
                std::min(static_cast<std::size_t>(found - cumulative.begin()), cumulative.size() - 1);
            truth[i] = spread.points[j];
            noisy[i] = truth[i] + (errors[i] * random.normal());
        }
        std::sort(truth.begin(), truth.end());
        std::sort(noisy.begin(), noisy.end());
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
