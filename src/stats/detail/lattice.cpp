#include "stats/detail/lattice.hpp"

#include <algorithm>

namespace backeddy::stats::detail {

namespace {

/// `step(x)` is P(x + 1) / P(x) and falls with x. Multiplied outward from the mode, so that rounding grows
/// with the distance only and nothing overflows.
template <typename Step>
Lattice lattice(std::size_t first, std::size_t last, const Step& step) {
    std::size_t low = first;
    std::size_t high = last;
    while (low < high) { // the first x whose successor is less likely
        const std::size_t middle = low + ((high - low) / 2);
        if (step(middle) < 1.0) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Lattice out{.first = first, .probability = std::vector<double>(last - first + 1, 0.0)};
    auto& p = out.probability;
    p[low - first] = 1.0;
    for (std::size_t x = low; x < last; ++x) {
        p[x + 1 - first] = p[x - first] * step(x);
    }
    for (std::size_t x = low; x > first; --x) {
        p[x - 1 - first] = p[x - first] / step(x - 1);
    }
    // Small ones first, from both ends.
    double below = 0.0;
    double above = 0.0;
    for (std::size_t x = first; x < low; ++x) {
        below += p[x - first];
    }
    for (std::size_t x = last; x > low; --x) {
        above += p[x - first];
    }
    const double sum = below + above + 1.0;
    for (double& value : p) {
        value /= sum;
    }
    return out;
}

} // namespace

double Lattice::mean() const {
    double sum = 0.0;
    for (std::size_t i = 0; i < probability.size(); ++i) {
        sum += static_cast<double>(i) * probability[i];
    }
    return static_cast<double>(first) + sum;
}

double Lattice::at_most(std::size_t x) const {
    double sum = 0.0;
    for (std::size_t i = 0; i < probability.size() && first + i <= x; ++i) {
        sum += probability[i];
    }
    return std::min(1.0, sum);
}

double Lattice::at_least(std::size_t x) const {
    double sum = 0.0;
    for (std::size_t i = probability.size(); i > 0 && first + i - 1 >= x; --i) {
        sum += probability[i - 1];
    }
    return std::min(1.0, sum);
}

Tails Lattice::tails(std::size_t x) const {
    double unlikely = 0.0;
    const double most = at(x) * (1.0 + 1e-7);
    for (const double p : probability) {
        unlikely += p <= most ? p : 0.0;
    }
    return {.two_sided = std::min(1.0, unlikely), .greater = at_least(x), .less = at_most(x)};
}

double Lattice::mid_p(std::size_t x) const {
    return std::min(1.0, (2.0 * std::min(at_most(x), at_least(x))) - at(x));
}

Lattice binomial_lattice(std::size_t n, double odds) {
    return lattice(
        0, n, [&](std::size_t x) { return static_cast<double>(n - x) / static_cast<double>(x + 1) * odds; });
}

Lattice hypergeometric_lattice(std::size_t marked, std::size_t drawn, std::size_t all, double odds) {
    const std::size_t unmarked = all - marked;
    return lattice(drawn > unmarked ? drawn - unmarked : 0, std::min(marked, drawn), [&](std::size_t x) {
        return static_cast<double>(marked - x) * static_cast<double>(drawn - x) /
               (static_cast<double>(x + 1) * static_cast<double>(unmarked + x + 1 - drawn)) * odds;
    });
}

} // namespace backeddy::stats::detail
