#include "stats/detail/rank_sums.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include <boost/math/distributions/normal.hpp>

namespace backeddy::stats::detail {

namespace {

/// Room for what rounding leaves of a probability that is equal on paper.
constexpr double slack = 1e-12;

double normal_upper(double z) {
    return boost::math::cdf(boost::math::complement(boost::math::normal(), z));
}

} // namespace

Midranks midranks(std::span<const double> values, double rounding) {
    std::vector<std::size_t> order(values.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
    Midranks out;
    out.doubled.resize(values.size());
    for (std::size_t from = 0; from < order.size();) {
        std::size_t to = from + 1;
        while (to < order.size() && values[order[to]] - values[order[to - 1]] <= rounding) {
            ++to;
        }
        for (std::size_t i = from; i < to; ++i) {
            out.doubled[order[i]] = from + 1 + to; // twice the mean of from + 1 ... to
        }
        if (to - from > 1) {
            out.ties.push_back(to - from);
        }
        from = to;
    }
    return out;
}

std::vector<double> signed_rank_distribution(std::span<const std::size_t> doubled) {
    const std::size_t largest = std::accumulate(doubled.begin(), doubled.end(), std::size_t{0});
    std::vector<double> probability(largest + 1, 0.0);
    probability[0] = 1.0;
    std::size_t reached = 0;
    for (const std::size_t rank : doubled) {
        reached += rank;
        for (std::size_t sum = reached + 1; sum-- > 0;) {
            probability[sum] = 0.5 * (probability[sum] + (sum >= rank ? probability[sum - rank] : 0.0));
        }
    }
    return probability;
}

std::vector<double> rank_sum_distribution(std::span<const std::size_t> doubled, std::size_t drawn) {
    const std::size_t largest = std::accumulate(doubled.begin(), doubled.end(), std::size_t{0});
    // ways[k][sum]: choices of k among the ranks so far.
    std::vector<std::vector<double>> ways(drawn + 1, std::vector<double>(largest + 1, 0.0));
    ways[0][0] = 1.0;
    std::size_t reached = 0;
    for (std::size_t i = 0; i < doubled.size(); ++i) {
        const std::size_t rank = doubled[i];
        reached += rank;
        for (std::size_t k = std::min(drawn, i + 1); k > 0; --k) {
            for (std::size_t sum = rank; sum <= reached; ++sum) {
                ways[k][sum] += ways[k - 1][sum - rank];
            }
        }
    }
    const double all = std::accumulate(ways[drawn].begin(), ways[drawn].end(), 0.0);
    for (double& count : ways[drawn]) {
        count /= all;
    }
    return std::move(ways[drawn]);
}

Tails exact_tails(std::span<const double> probability, std::size_t observed) {
    double mean = 0.0;
    for (std::size_t s = 0; s < probability.size(); ++s) {
        mean += static_cast<double>(s) * probability[s];
    }
    // Sums are whole and their mean a multiple of 1/2 or rounded in its last digits: 1e-6 tells no two apart.
    const double distance = std::abs(static_cast<double>(observed) - mean) - 1e-6;
    Tails out{.two_sided = 0.0, .greater = 0.0, .less = 0.0};
    for (std::size_t s = 0; s < probability.size(); ++s) {
        const double p = probability[s];
        out.two_sided += std::abs(static_cast<double>(s) - mean) >= distance ? p : 0.0;
        out.greater += s >= observed ? p : 0.0;
        out.less += s <= observed ? p : 0.0;
    }
    return {.two_sided = std::min(1.0, out.two_sided),
            .greater = std::min(1.0, out.greater),
            .less = std::min(1.0, out.less)};
}

Tails normal_tails(double excess, double sd, double step) {
    const double inward = std::max(0.0, std::abs(excess) - step);
    return {.two_sided = std::min(1.0, 2.0 * normal_upper(inward / sd)),
            .greater = normal_upper((excess - step) / sd),
            .less = normal_upper(-(excess + step) / sd)};
}

std::size_t quantile_place(std::span<const double> probability, double p) {
    double sum = 0.0;
    for (std::size_t s = 0; s < probability.size(); ++s) {
        sum += probability[s];
        if (sum >= p * (1.0 - slack)) {
            return s;
        }
    }
    return probability.size() - 1;
}

} // namespace backeddy::stats::detail
