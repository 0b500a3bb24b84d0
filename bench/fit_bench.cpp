// Google Benchmark over the two heavy estimators of resting uptake and the search over windows, computation
// alone. Each asserts its answer.

#include <array>
#include <vector>

#include <benchmark/benchmark.h>

#include "base/random.hpp"
#include "fit/bootstrap.hpp"
#include "fit/mixture.hpp"
#include "fit/windows.hpp"

namespace {

using namespace backeddy;

// A fish that rests, moves and darts: serially correlated rates, mg/kg/h.
std::vector<double> rates(std::uint64_t fish, std::size_t count) {
    constexpr std::array<double, 3> level{80.0, 116.0, 184.0};
    constexpr std::array<double, 3> spread{4.0, 9.3, 22.0};
    Random random(20260614, fish);
    std::vector<double> values;
    std::size_t way = 0;
    double deviation = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        if (random.uniform() < 0.15) {
            const double u = random.uniform();
            way = u < 0.5 ? 0 : (u < 0.85 ? 1 : 2);
        }
        deviation = (0.5 * deviation) + (0.87 * random.normal());
        values.push_back(level.at(way) + (spread.at(way) * deviation));
    }
    return values;
}

// 8 fish x 1,000 rates x 2,000 draws in blocks of 12, the 0.2 quantile. Goal: 30 ms.
void block_bootstrap_of_eight_fish(benchmark::State& state) {
    std::vector<std::vector<double>> fish;
    for (std::uint64_t i = 0; i < 8; ++i) {
        fish.push_back(rates(i, 1000));
    }
    for (auto _ : state) {
        for (const auto& values : fish) {
            const auto answer = fit::block_bootstrap_quantile(
                values, 0.2,
                {.draws = 2000, .block = 12, .threads = {.count = static_cast<unsigned>(state.range(0))}});
            if (!answer || answer->lower > answer->estimate || answer->upper < answer->estimate ||
                answer->se <= 0.0) {
                state.SkipWithError("the interval does not hold the estimate");
                break;
            }
        }
    }
}
BENCHMARK(block_bootstrap_of_eight_fish)
    ->ArgName("threads")
    ->Arg(1)
    ->Arg(2)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime();

// Three normals with spreads of their own, 1,000 values, 200 starts. Goal: 100 ms.
void mixture_of_three_from_200_starts(benchmark::State& state) {
    const auto values = rates(3, 1000);
    for (auto _ : state) {
        const auto answer = fit::fit_mixture(values, 3, fit::Spreads::unequal, {.starts = 200});
        if (!answer || answer->components.size() != 3 || answer->components[0].mean < 70.0 ||
            answer->components[0].mean > 90.0) {
            state.SkipWithError("the lowest component is not where it was put");
            break;
        }
    }
}
BENCHMARK(mixture_of_three_from_200_starts)->Unit(benchmark::kMillisecond)->UseRealTime();

// The steepest of all windows of a long spell, 30 and 3,000 readings long: the cost of a reading does not
// depend on the length.
void steepest_window_of_200000_readings(benchmark::State& state) {
    std::vector<double> x(200'000);
    std::vector<double> y(x.size());
    Random random(9);
    for (std::size_t i = 0; i < x.size(); ++i) {
        x[i] = static_cast<double>(i);
        y[i] = random.normal();
    }
    const auto length = static_cast<double>(state.range(0));
    for (auto _ : state) {
        const auto answer = fit::steepest_window(x, y, {.length = length}, fit::Steepest::falling);
        if (!answer || answer->n() != static_cast<std::size_t>(state.range(0)) + 1) {
            state.SkipWithError("not a whole window");
            break;
        }
    }
}
BENCHMARK(steepest_window_of_200000_readings)
    ->ArgName("length")
    ->Arg(30)
    ->Arg(3000)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime();

} // namespace

BENCHMARK_MAIN();
