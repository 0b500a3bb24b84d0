#pragma once
// What measurement noise does to a low estimator, from the values' own standard errors. Not for use outside
// this folder.

#include <cstdint>
#include <functional>
#include <span>
#include <vector>

namespace backeddy::uptake::detail {

/// A distribution on points.
struct Spread {
    std::vector<double> points;  ///< ascending
    std::vector<double> weights; ///< sum 1
};

/// The distribution of the true values behind noisy ones, by nonparametric maximum likelihood with normal
/// errors of known size (Kiefer and Wolfowitz 1956, Ann Math Stat 27:887), on the values themselves as
/// support, by `steps` steps of EM from equal weights (Laird 1978, J Am Stat Assoc 73:805). Without noise it
/// is the sample; under nothing but noise it draws together to nearly one point. Stopping at a hundred steps
/// keeps it smooth: more of them leave a little less of the bias under noise alone and overshoot where true
/// values vary (our simulations; choice). Values finite, errors >= 0, equal lengths, not empty.
[[nodiscard]] Spread deconvolved(std::span<const double> values, std::span<const double> errors,
                                 std::size_t steps = 100);

struct NoiseBias {
    double bias = 0.0;
    double bias_error = 0.0; ///< Monte Carlo standard error
};

/// For each of several statistics, computed together from ascending values: mean of statistic(true + noise)
/// less statistic(true), over `draws` samples of true values from `spread` with noise of the given sizes.
using Statistics = std::function<std::vector<double>(std::span<const double> ascending)>;
[[nodiscard]] std::vector<NoiseBias> noise_bias(const Spread& spread, std::span<const double> errors,
                                                const Statistics& statistics, std::size_t draws,
                                                std::uint64_t seed);

} // namespace backeddy::uptake::detail
