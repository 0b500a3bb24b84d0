#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

#include "base/random.hpp"
#include "fit/mixture.hpp"

namespace backeddy::fit {
namespace {

struct Drawn {
    std::vector<double> ascending;
    NormalMixture mixture;
};

Drawn drawn(std::size_t n, Spreads spreads, std::uint64_t seed) {
    Random random(seed);
    Drawn out;
    for (std::size_t i = 0; i < n; ++i) {
        const double u = random.uniform();
        const double x = random.normal();
        out.ascending.push_back(u < 0.3 ? 50.0 + (2.0 * x) : u < 0.8 ? 62.0 + (5.0 * x) : 95.0 + (20.0 * x));
    }
    std::sort(out.ascending.begin(), out.ascending.end());
    out.mixture = fit_mixture(out.ascending, 3, spreads).value();
    return out;
}

std::vector<std::uint32_t> resample(std::size_t n, std::uint64_t draw) {
    Random random(77, draw);
    std::vector<std::uint32_t> out(n, 0);
    for (std::size_t i = 0; i < n; ++i) {
        ++out[random.below(n)];
    }
    return out;
}

// The EM algorithm as it is written (Dempster, Laird and Rubin 1977, J R Stat Soc B 39:1), value by value,
// until its steps are nothing.
std::vector<NormalComponent> plain_em(const Drawn& fit, const std::vector<std::uint32_t>& times) {
    auto components = fit.mixture.components;
    const std::size_t g = components.size();
    for (int step = 0; step < 20'000; ++step) {
        std::vector<double> count(g, 0.0);
        std::vector<double> sum(g, 0.0);
        std::vector<double> squares(g, 0.0);
        double total = 0.0;
        for (std::size_t i = 0; i < times.size(); ++i) {
            std::vector<double> part(g);
            double all = 0.0;
            for (std::size_t k = 0; k < g; ++k) {
                const double z = (fit.ascending[i] - components[k].mean) / components[k].sd;
                part[k] = components[k].weight / components[k].sd * std::exp(-0.5 * z * z);
                all += part[k];
            }
            for (std::size_t k = 0; k < g; ++k) {
                const double share = times[i] * part[k] / all;
                const double off = fit.ascending[i] - fit.mixture.components[k].mean;
                count[k] += share;
                sum[k] += share * off;
                squares[k] += share * off * off;
            }
            total += times[i];
        }
        double pooled = 0.0;
        double moved = 0.0;
        for (std::size_t k = 0; k < g; ++k) {
            const double off = sum[k] / count[k];
            const double mean = fit.mixture.components[k].mean + off;
            moved = std::max(moved, std::abs(mean - components[k].mean));
            components[k] = {.weight = count[k] / total,
                             .mean = mean,
                             .sd = std::sqrt((squares[k] / count[k]) - (off * off))};
            pooled += squares[k] - (count[k] * off * off);
        }
        if (fit.mixture.spreads == Spreads::equal) {
            for (auto& component : components) {
                component.sd = std::sqrt(pooled / total);
            }
        }
        if (moved < 1e-9) {
            break;
        }
    }
    return components;
}

TEST(MixtureRefit, reaches_what_em_reaches_in_the_end) {
    for (const auto spreads : {Spreads::unequal, Spreads::equal}) {
        const auto fit = drawn(200, spreads, 3);
        const auto refit = refit_of(fit.ascending, fit.mixture);
        for (std::uint64_t draw = 0; draw < 15; ++draw) {
            const auto times = resample(fit.ascending.size(), draw);
            const auto got = refit(times);
            ASSERT_TRUE(got);
            const auto plain = plain_em(fit, times);
            for (std::size_t k = 0; k < plain.size(); ++k) {
                // The leap that ends a refit is 1e-5 of the sample's standard deviation, here about 20.
                EXPECT_NEAR((*got)[k].mean, plain[k].mean, 1e-3) << "draw " << draw << ", component " << k;
                EXPECT_NEAR((*got)[k].sd, plain[k].sd, 1e-3) << "draw " << draw << ", component " << k;
                EXPECT_NEAR((*got)[k].weight, plain[k].weight, 1e-4)
                    << "draw " << draw << ", component " << k;
            }
        }
    }
}

TEST(MixtureRefit, bins_of_neighbours_change_the_spread_between_draws_by_less_than_a_hundredth) {
    const auto fit = drawn(1200, Spreads::unequal, 4);
    const auto refit = refit_of(fit.ascending, fit.mixture);
    constexpr std::uint64_t draws = 40;
    std::vector<double> binned;
    std::vector<double> plain;
    for (std::uint64_t draw = 0; draw < draws; ++draw) {
        const auto times = resample(fit.ascending.size(), draw);
        const auto got = refit(times);
        ASSERT_TRUE(got);
        binned.push_back(got->front().mean);
        plain.push_back(plain_em(fit, times).front().mean);
    }
    const auto sd = [](const std::vector<double>& values) {
        double mean = 0.0;
        for (const double v : values) {
            mean += v / static_cast<double>(values.size());
        }
        double squares = 0.0;
        for (const double v : values) {
            squares += (v - mean) * (v - mean);
        }
        return std::sqrt(squares / static_cast<double>(values.size() - 1));
    };
    EXPECT_GT(sd(plain), 0.05);
    EXPECT_NEAR(sd(binned), sd(plain), 0.01 * sd(plain));
}

TEST(MixtureRefit, of_the_values_themselves_is_the_mixture) {
    const auto fit = drawn(300, Spreads::unequal, 5);
    const auto got = refit_of(fit.ascending, fit.mixture)(std::vector<std::uint32_t>(300, 1));
    ASSERT_TRUE(got);
    for (std::size_t k = 0; k < got->size(); ++k) {
        EXPECT_NEAR((*got)[k].mean, fit.mixture.components[k].mean, 1e-4);
        EXPECT_NEAR((*got)[k].sd, fit.mixture.components[k].sd, 1e-4);
    }
}

TEST(MixtureRefit, a_component_left_with_one_value_is_held_from_collapse) {
    std::vector<double> values;
    for (int i = 0; i < 60; ++i) {
        values.push_back(50.0 + (0.1 * i));
    }
    for (int i = 0; i < 4; ++i) {
        values.push_back(90.0 + (0.5 * i));
    }
    const auto mixture = fit_mixture(values, 2, Spreads::unequal).value();
    std::vector<std::uint32_t> times(values.size(), 1);
    times[60] = 4; // the same value four times, and its neighbours not at all
    times[61] = times[62] = times[63] = 0;
    const auto got = refit_of(values, mixture)(times);
    ASSERT_TRUE(got);
    const double narrowest = std::min(mixture.components[0].sd, mixture.components[1].sd);
    EXPECT_NEAR(got->back().sd, 0.25 * narrowest, 1e-9);
    EXPECT_NEAR(got->back().mean, 90.0, 1e-6);
}

} // namespace
} // namespace backeddy::fit
