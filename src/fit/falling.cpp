#include "fit/falling.hpp"

#include <algorithm>
#include <cstddef>

#include "fit/quantile.hpp"

namespace backeddy::fit {

namespace {

struct Pool {
    std::vector<double> sorted;
    double median = 0.0;
};

} // namespace

std::vector<double> falling_medians(std::span<const double> values) {
    std::vector<Pool> pools;
    for (const double value : values) {
        pools.push_back({.sorted = {value}, .median = value});
        while (pools.size() > 1 && pools[pools.size() - 2].median < pools.back().median) {
            auto& into = pools[pools.size() - 2];
            const auto middle = static_cast<std::ptrdiff_t>(into.sorted.size());
            into.sorted.insert(into.sorted.end(), pools.back().sorted.begin(), pools.back().sorted.end());
            std::inplace_merge(into.sorted.begin(), into.sorted.begin() + middle, into.sorted.end());
            into.median = quantile_of_sorted(into.sorted, 0.5);
            pools.pop_back();
        }
    }
    std::vector<double> out;
    out.reserve(values.size());
    for (const auto& pool : pools) {
        out.insert(out.end(), pool.sorted.size(), pool.median);
    }
    return out;
}

} // namespace backeddy::fit
