#pragma once
// How noisy one oxygen sensor is: estimated from blanks and long spells together and used in the error of
// every slope it gave.

#include <cstddef>
#include <span>
#include <string>

#include "base/error.hpp"
#include "fit/noise.hpp"
#include "uptake/sealed.hpp"

namespace backeddy::uptake {

struct SensorNoise {
    std::string sensor;
    fit::NoiseModel model; ///< mg/L and seconds
    std::size_t blanks = 0;
    std::size_t spells = 0; ///< long spells with a fish
    std::size_t readings = 0;
    bool is_slow_as_series = false; ///< noise and drift could not be told apart
    std::string from;               ///< "2 blanks and 41 long spells, pooled"
};

/// A stretch that may serve: its readings and what was in the chamber.
struct NoiseStretch {
    SealedView view;
    StayRole role = StayRole::rest;
};

struct NoiseSettings {
    Duration shortest = Duration::minutes(4.0); ///< shorter fish spells do not serve (choice)
    std::size_t least_readings = 30;
};

/// Each stretch is freed of a second-degree trend (uptake may change), what is left is pooled by restricted
/// likelihood (fit::estimate_noise). Fails with too_few when nothing serves.
[[nodiscard]] Expected<SensorNoise> sensor_noise(std::string sensor, std::span<const NoiseStretch> stretches,
                                                 const NoiseSettings& settings = {});

} // namespace backeddy::uptake
