#pragma once
// Intervals for statistics of values that resemble their neighbours: the moving-block bootstrap (Kunsch 1989,
// Ann Stat 17:1217). Draws are numbered, each with random numbers of its own, so that the answer is the same
// for any number of threads.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "fit/quantile.hpp"

namespace backeddy::fit {

struct BootstrapOptions {
    std::size_t draws = 2000;
    std::size_t block = 12; ///< neighbouring values that stay together; 1 is the ordinary bootstrap
    std::uint64_t seed = 1;
    Threads threads;
};

/// What the draws say. Percentile intervals (Efron 1979, Ann Stat 7:1; type 7 quantiles of the draws).
struct BootstrapResult {
    double estimate = 0.0;  ///< of the values themselves
    double mean = 0.0;      ///< of the draws
    double se = 0.0;        ///< standard deviation of the draws (n - 1)
    double lower = 0.0;     ///< 2.5 %
    double upper = 0.0;     ///< 97.5 %
    std::size_t failed = 0; ///< draws in which the statistic was not finite; left out of the rest
};

using Statistic = std::function<double(std::span<const double>)>;

/// The statistic over `draws` resamples of the same number of values, made of blocks that begin anywhere
/// blocks fit; the last is cut off. A block longer than the series is the series, which varies not at all:
/// refused. The statistic may return NaN where it has no answer. Fails with too_few (fewer than two blocks'
/// worth of values, or under two draws left), out_of_range (not finite).
[[nodiscard]] Expected<BootstrapResult> block_bootstrap(std::span<const double> values,
                                                        const Statistic& statistic,
                                                        const BootstrapOptions& options = {});

/// A draw told by how often each of the ascending values came up in it: what depends on order alone is read
/// off without sorting.
class CountedSample {
  public:
    /// Of values in any order, finite; no draw yet.
    explicit CountedSample(std::span<const double> values);

    void clear();
    /// Value number `i`, in the order given to the constructor, came up once more.
    void add(std::size_t i) { ++times_[rank_[i]]; }
    /// After the last add(), before anything is read.
    void close();

    [[nodiscard]] std::span<const double> ascending() const { return sorted_; }
    [[nodiscard]] std::span<const std::uint32_t> times() const { return times_; } ///< of each ascending value
    [[nodiscard]] double quantile(const QuantilePlace& place) const;
    /// Mean of `used` order statistics after the `skip` lowest; both within the draw's size, `used` above 0.
    [[nodiscard]] double mean_of_lowest(std::size_t skip, std::size_t used) const;

  private:
    struct Step {
        std::size_t rank = 0;
        std::size_t below = 0; ///< how much of the draw lies under that rank
    };
    [[nodiscard]] Step step_to(std::size_t order) const;

    std::vector<double> sorted_;
    std::vector<std::uint32_t> rank_;
    std::vector<std::uint32_t> times_;
    std::vector<std::uint32_t> coarse_; ///< times_ summed over 32 ranks, to step quickly
};

/// Writes its statistics of one draw; NaN where one has no answer.
using CountedStatistics = std::function<void(const CountedSample& draw, std::span<double> out)>;

/// `count` statistics of the same draws as block_bootstrap's, all in one pass; the result's order is that of
/// the statistics.
[[nodiscard]] Expected<std::vector<BootstrapResult>>
block_bootstrap_counted(std::span<const double> values, std::size_t count,
                        const CountedStatistics& statistics, const BootstrapOptions& options = {});

/// The same for one quantile. Bit for bit what block_bootstrap gives with quantile(., p, type).
[[nodiscard]] Expected<BootstrapResult> block_bootstrap_quantile(std::span<const double> values, double p,
                                                                 const BootstrapOptions& options = {},
                                                                 QuantileType type = QuantileType::gumbel);

/// All draws of the statistic (NaN where it had no answer), in the order of their numbers; for callers that
/// combine them.
[[nodiscard]] Expected<std::vector<double>> block_bootstrap_draws(std::span<const double> values,
                                                                  const Statistic& statistic,
                                                                  const BootstrapOptions& options = {});

} // namespace backeddy::fit
