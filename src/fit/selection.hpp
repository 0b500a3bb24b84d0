#pragma once
// By how much the steepest of many windows flatters itself: even where nothing changes, the largest of noisy
// slopes is too large. Answered by simulating the noise at the very times of the readings and searching as
// the data were searched.

#include <cstddef>
#include <cstdint>
#include <span>

#include "base/error.hpp"
#include "base/parallel.hpp"
#include "fit/noise.hpp"
#include "fit/windows.hpp"

namespace backeddy::fit {

struct SelectionOptions {
    std::size_t runs = 400;
    std::uint64_t seed = 1;
    Threads threads;
};

/// All in the unit of a slope and as sizes: how far beyond the truth the steepest window's slope reaches on
/// average, when the true slope is the same throughout. That is an upper bound where it is not: a real peak
/// is picked for its own sake.
struct SelectionBias {
    double bias = 0.0;    ///< mean of the largest slope of pure noise, >= 0
    double bias_se = 0.0; ///< of that mean, from the number of runs
    double spread = 0.0;  ///< standard deviation of the largest slope: the error of the steepest slope itself
    double window_se = 0.0; ///< root mean square slope of one window
    double in_standard_errors =
        0.0; ///< bias / window_se; 0.56, 1.16, 1.54, 2.32 for 2, 5, 10, 60 independent windows
    std::size_t windows = 0;
};

/// The bias of steepest_window(times, readings, window, .) under the noise. Times ascending. Same for falling
/// and rising. Fails as steepest_window, and too_few for fewer than two runs; 0 throughout when the noise is
/// 0.
[[nodiscard]] Expected<SelectionBias> selection_bias(const NoiseModel& noise, std::span<const double> times,
                                                     const WindowOptions& window,
                                                     const SelectionOptions& options = {});

/// Expected largest of m >= 1 independent standard normals (Tippett 1925, Biometrika 17:364), by quadrature
/// to 1e-9: what independent windows would give.
[[nodiscard]] double expected_largest_normal(std::size_t m);

} // namespace backeddy::fit
