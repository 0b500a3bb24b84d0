#include "uptake/sensor_noise.hpp"

#include <cmath>
#include <utility>
#include <vector>

namespace backeddy::uptake {

namespace {

struct Series {
    std::vector<double> seconds;
    std::vector<double> oxygen;
};

Series series_of(const SealedView& view) {
    Series out;
    for (std::size_t i = 0; i < view.times_ns.size(); ++i) {
        // The likelihood wants ascending times: of two readings at one moment the first serves.
        const double t = static_cast<double>(view.times_ns[i] - view.times_ns[0]) / 1e9;
        if (std::isfinite(view.oxygen_mg_per_l[i]) && (out.seconds.empty() || t > out.seconds.back())) {
            out.seconds.push_back(t);
            out.oxygen.push_back(view.oxygen_mg_per_l[i]);
        }
    }
    return out;
}

Duration lasts(const SealedView& view) {
    return view.times_ns.empty() ? Duration()
                                 : Duration::nanoseconds(view.times_ns.back() - view.times_ns.front());
}

std::string counted(std::size_t n, const std::string& one) {
    return std::to_string(n) + " " + one + (n == 1 ? "" : "s");
}

std::string origin(const SensorNoise& noise) {
    if (noise.blanks == 0) {
        return counted(noise.spells, "long spell") + ", pooled";
    }
    if (noise.spells == 0) {
        return counted(noise.blanks, "blank spell") + ", pooled";
    }
    return counted(noise.blanks, "blank spell") + " and " + counted(noise.spells, "long spell") + ", pooled";
}

} // namespace

Expected<SensorNoise> sensor_noise(std::string sensor, std::span<const NoiseStretch> stretches,
                                   const NoiseSettings& settings) {
    SensorNoise out{.sensor = std::move(sensor)};
    std::vector<Series> kept;
    const auto keep = [&](bool fast) {
        for (const NoiseStretch& stretch : stretches) {
            if (is_fast(stretch.role) != fast) {
                continue;
            }
            const bool is_blank = stretch.role == StayRole::blank;
            if (!is_blank && lasts(stretch.view) < settings.shortest) {
                continue;
            }
            Series series = series_of(stretch.view);
            if (series.seconds.size() < settings.least_readings) {
                continue;
            }
            kept.push_back(std::move(series));
            ++(is_blank ? out.blanks : out.spells);
        }
    };
    keep(false);
    if (kept.empty()) {
        keep(true);
    }
    std::vector<fit::NoiseSeries> series;
    series.reserve(kept.size());
    for (const Series& one : kept) {
        series.push_back({.times = one.seconds, .values = one.oxygen});
    }
    const auto estimate = fit::estimate_noise(series);
    if (!estimate) {
        return fail(Error(estimate.error()).within("noise of sensor " + out.sensor));
    }
    out.model = estimate->model;
    out.readings = estimate->readings;
    out.is_slow_as_series = estimate->is_slow_as_series;
    out.from = origin(out);
    return out;
}

} // namespace backeddy::uptake
