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

CountedSample::CountedSample(std::span<const double> values)
    : sorted_(values.size()), rank_(values.size()), times_(values.size()), coarse_((values.size() / 32) + 1) {
    std::vector<std::uint32_t> order(values.size());
    std::iota(order.begin(), order.end(), 0U);
    std::sort(order.begin(), order.end(),
              [&](std::uint32_t a, std::uint32_t b) { return values[a] < values[b]; });
    for (std::uint32_t r = 0; r < order.size(); ++r) {
        sorted_[r] = values[order[r]];
        rank_[order[r]] = r;
    }
}

void CountedSample::clear() {
    std::fill(times_.begin(), times_.end(), 0U);
    std::fill(coarse_.begin(), coarse_.end(), 0U);
}

void CountedSample::close() {
    for (std::size_t r = 0; r < times_.size(); ++r) {
        coarse_[r / 32] += times_[r];
    }
}

CountedSample::Step CountedSample::step_to(std::size_t order) const {
    Step out;
    std::size_t group = 0;
    while (out.below + coarse_[group] <= order) {
        out.below += coarse_[group++];
    }
    out.rank = group * 32;
    while (out.below + times_[out.rank] <= order) {
        out.below += times_[out.rank++];
    }
    return out;
}

double CountedSample::quantile(const QuantilePlace& place) const {
    auto at = step_to(place.lower);
    const double low = sorted_[at.rank];
    while (at.below + times_[at.rank] <= place.upper) {
        at.below += times_[at.rank++];
    }
    const double high = sorted_[at.rank];
    return place.weight == 0.0 ? low : place.weight == 1.0 ? high : low + (place.weight * (high - low));
}

double CountedSample::mean_of_lowest(std::size_t skip, std::size_t used) const {
    auto at = step_to(skip);
    const double least = sorted_[at.rank];
    double sum = 0.0; // of differences from the first, to keep digits
    for (std::size_t order = skip; order < skip + used; ++order) {
        while (at.below + times_[at.rank] <= order) {
            at.below += times_[at.rank++];
        }
        sum += sorted_[at.rank] - least;
    }
    return least + (sum / static_cast<double>(used));
}

Expected<std::vector<BootstrapResult>> block_bootstrap_counted(std::span<const double> values,
                                                               std::size_t count,
                                                               const CountedStatistics& statistics,
                                                               const BootstrapOptions& options) {
    if (auto fine = check(values, options); !fine) {
        return fail(std::move(fine).error());
    }
    const std::size_t n = values.size();
    const CountedSample empty(values);
    std::vector<double> answers(options.draws * count);
    for_each_lot(options, [&](std::size_t from, std::size_t to) {
        CountedSample sample = empty;
        for (std::size_t draw = from; draw < to; ++draw) {
            sample.clear();
            for_each_block(n, draw, options, [&](std::size_t first, std::size_t block) {
                for (std::size_t i = first; i < first + block; ++i) {
                    sample.add(i);
                }
            });
            sample.close();
            statistics(sample, std::span(answers).subspan(draw * count, count));
        }
    });
    CountedSample whole = empty;
    for (std::size_t i = 0; i < n; ++i) {
        whole.add(i);
    }
    whole.close();
    std::vector<double> estimates(count);
    statistics(whole, estimates);
    std::vector<BootstrapResult> out;
    std::vector<double> draws(options.draws);
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t draw = 0; draw < options.draws; ++draw) {
            draws[draw] = answers[(draw * count) + k];
        }
        auto one = summary(estimates[k], draws);
        if (!one) {
            return fail(std::move(one).error());
        }
        out.push_back(*one);
    }
    return out;
}

Expected<BootstrapResult> block_bootstrap_quantile(std::span<const double> values, double p,
                                                   const BootstrapOptions& options, QuantileType type) {
    if (const auto possible = quantile(values, p, type); !possible) {
        return fail(possible.error());
    }
    const auto place = quantile_place(values.size(), p, type);
    auto out = block_bootstrap_counted(
        values, 1,
        [&](const CountedSample& draw, std::span<double> answer) { answer[0] = draw.quantile(place); },
        options);
    if (!out) {
        return fail(std::move(out).error());
    }
    return out->front();
}

} // namespace backeddy::fit
