#include "fit/bootstrap.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <fmt/format.h>

#include "base/random.hpp"
#include "fit/detail/sum.hpp"

namespace backeddy::fit {

namespace {

/// Draws are done in lots, so that a thread's scratch memory serves many of them.
constexpr std::size_t lot = 64;

Expected<void> check(std::span<const double> values, const BootstrapOptions& options) {
    if (options.block == 0 || values.size() < 2 * options.block || options.draws < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} values, blocks of {}, {} draws", values.size(), options.block,
                                          options.draws),
                     .expected = "values for at least two blocks, and at least two draws",
                     .remedy = "choose shorter blocks"});
    }
    if (!std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); })) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "a missing or infinite value",
                     .expected = "finite values only"});
    }
    return {};
}

/// Calls take(first, count) for each block of draw number `draw`.
template <typename Take>
void for_each_block(std::size_t n, std::size_t draw, const BootstrapOptions& options, const Take& take) {
    Random random(options.seed, draw);
    const std::size_t starts = n - options.block + 1;
    for (std::size_t filled = 0; filled < n; filled += options.block) {
        take(static_cast<std::size_t>(random.below(starts)), std::min(options.block, n - filled));
    }
}

template <typename DoLot>
void for_each_lot(const BootstrapOptions& options, const DoLot& do_lot) {
    parallel_for((options.draws + lot - 1) / lot, options.threads,
                 [&](std::size_t i) { do_lot(i * lot, std::min(options.draws, (i + 1) * lot)); });
}

Expected<BootstrapResult> summary(double estimate, std::vector<double> draws) {
    const auto kept = std::remove_if(draws.begin(), draws.end(), [](double v) { return !std::isfinite(v); });
    BootstrapResult out{.estimate = estimate, .failed = static_cast<std::size_t>(draws.end() - kept)};
    draws.erase(kept, draws.end());
    if (draws.size() < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} draws in which the statistic had an answer", draws.size()),
                     .expected = "at least two"});
    }
    std::sort(draws.begin(), draws.end());
    const auto n = static_cast<double>(draws.size());
    detail::Sum sum;
    for (const double v : draws) {
        sum.add(v);
    }
    out.mean = sum.value() / n;
    detail::Sum squares;
    for (const double v : draws) {
        squares.add((v - out.mean) * (v - out.mean));
    }
    out.se = std::sqrt(squares.value() / (n - 1.0));
    out.lower = quantile_of_sorted(draws, 0.025);
    out.upper = quantile_of_sorted(draws, 0.975);
    return out;
}

} // namespace

Expected<std::vector<double>> block_bootstrap_draws(std::span<const double> values,
                                                    const Statistic& statistic,
                                                    const BootstrapOptions& options) {
    if (auto fine = check(values, options); !fine) {
        return fail(std::move(fine).error());
    }
    std::vector<double> draws(options.draws);
    for_each_lot(options, [&](std::size_t from, std::size_t to) {
        std::vector<double> sample(values.size());
        for (std::size_t draw = from; draw < to; ++draw) {
            auto place = sample.begin();
            for_each_block(values.size(), draw, options, [&](std::size_t first, std::size_t count) {
                place = std::copy_n(values.begin() + static_cast<std::ptrdiff_t>(first), count, place);
            });
            draws[draw] = statistic(sample);
        }
    });
    return draws;
}

Expected<BootstrapResult> block_bootstrap(std::span<const double> values, const Statistic& statistic,
                                          const BootstrapOptions& options) {
    auto draws = block_bootstrap_draws(values, statistic, options);
    if (!draws) {
        return fail(std::move(draws).error());
    }
    return summary(statistic(values), *std::move(draws));
}

Expected<BootstrapResult> block_bootstrap_quantile(std::span<const double> values, double p,
                                                   const BootstrapOptions& options, QuantileType type) {
    if (auto fine = check(values, options); !fine) {
        return fail(std::move(fine).error());
    }
    const auto estimate = quantile(values, p, type);
    if (!estimate) {
        return fail(estimate.error());
    }
    const std::size_t n = values.size();
    std::vector<std::uint32_t> order(n);
    std::iota(order.begin(), order.end(), 0U);
    std::sort(order.begin(), order.end(),
              [&](std::uint32_t a, std::uint32_t b) { return values[a] < values[b]; });
    std::vector<double> sorted(n);
    std::vector<std::uint32_t> rank(n);
    for (std::uint32_t r = 0; r < n; ++r) {
        sorted[r] = values[order[r]];
        rank[order[r]] = r;
    }
    const auto place = quantile_place(n, p, type);
    std::vector<double> draws(options.draws);
    for_each_lot(options, [&](std::size_t from, std::size_t to) {
        // How often each rank came up, and the same summed over 32 ranks at a time, to step quickly.
        std::vector<std::uint32_t> seen(n);
        std::vector<std::uint32_t> coarse((n / 32) + 1);
        for (std::size_t draw = from; draw < to; ++draw) {
            std::fill(seen.begin(), seen.end(), 0U);
            std::fill(coarse.begin(), coarse.end(), 0U);
            for_each_block(n, draw, options, [&](std::size_t first, std::size_t count) {
                for (std::size_t i = first; i < first + count; ++i) {
                    ++seen[rank[i]];
                }
            });
            for (std::size_t r = 0; r < n; ++r) {
                coarse[r / 32] += seen[r];
            }
            std::size_t below = 0;
            std::size_t group = 0;
            while (below + coarse[group] <= place.lower) {
                below += coarse[group++];
            }
            std::size_t r = group * 32;
            while (below + seen[r] <= place.lower) {
                below += seen[r++];
            }
            const double low = sorted[r];
            while (below + seen[r] <= place.upper) {
                below += seen[r++];
            }
            const double high = sorted[r];
            draws[draw] = place.weight == 0.0   ? low
                          : place.weight == 1.0 ? high
                                                : low + (place.weight * (high - low));
        }
    });
    return summary(*estimate, std::move(draws));
}

} // namespace backeddy::fit
