#pragma once
// A chamber whose truth is known: one mixed volume, a flush of given flow, a fish of given uptake, a
// first-order sensor with white and first-order autoregressive noise. Integrated in small steps, so that it
// shares no formula with what it tests.

#include <cmath>
#include <functional>
#include <optional>
#include <vector>

#include "base/random.hpp"
#include "uptake/chamber_trace.hpp"
#include "uptake/states.hpp"

namespace backeddy::test {

struct KnownChamber {
    double water_l = 9.0;
    double flow_l_per_min = 4.0;
    double inflow_mg_per_l = 10.0;
    double start_mg_per_l = 9.8;
    double lag_s = 0.0;
    double sample_s = 1.0;
    double white_sd = 0.01;
    double coloured_sd = 0.0;
    double correlation_s = 15.0;
    double reading_step = 0.0;
    std::function<double(double)> uptake_mg_per_h = [](double) { return 100.0; }; ///< of seconds
};

inline const Instant known_start = Instant::unix_nanoseconds(1'780'000'000'000'000'000);

/// `is_flushed(seconds)` says what the pump does. Oxygen at 15 degC, saturation as 10.084 mg/L = 100 %.
inline uptake::ChamberTrace simulate(const KnownChamber& chamber, double length_s,
                                     const std::function<bool(double)>& is_flushed, std::uint64_t seed) {
    Random random(seed);
    uptake::ChamberTrace trace{.assembly = "tube 1", .sensor = "probe 1"};
    constexpr double h = 0.05;
    double c = chamber.start_mg_per_l;
    double shown = c;
    double colour = chamber.coloured_sd * random.normal();
    const double phi = std::exp(-chamber.sample_s / chamber.correlation_s);
    double next_sample = 0.0;
    for (long i = 0;; ++i) {
        const double t = static_cast<double>(i) * h;
        if (t > length_s + 1e-9) {
            break;
        }
        if (t + 1e-9 >= next_sample) {
            double reading = shown + colour + (chamber.white_sd * random.normal());
            if (chamber.reading_step > 0.0) {
                reading = std::round(reading / chamber.reading_step) * chamber.reading_step;
            }
            trace.times_ns.push_back((known_start + Duration::seconds(next_sample)).unix_nanoseconds());
            trace.oxygen_mg_per_l.push_back(reading);
            trace.saturation_percent.push_back(100.0 * reading / 10.084);
            trace.temperature_celsius.push_back(15.0);
            trace.state.push_back(is_flushed(next_sample) ? uptake::ChamberState::flush
                                                          : uptake::ChamberState::sealed);
            colour = (phi * colour) + (chamber.coloured_sd * std::sqrt(1.0 - (phi * phi)) * random.normal());
            next_sample += chamber.sample_s;
        }
        const double flow = is_flushed(t) ? chamber.flow_l_per_min / 60.0 : 0.0;
        const double rate = ((flow * (chamber.inflow_mg_per_l - c)) - (chamber.uptake_mg_per_h(t) / 3600.0)) /
                            chamber.water_l;
        c += h * rate;
        shown = chamber.lag_s > 0.0 ? shown + (h * (c - shown) / chamber.lag_s) : c;
    }
    return trace;
}

/// Flush first, then sealed, over and over.
inline std::function<bool(double)> cycling(double flush_s, double period_s) {
    return [=](double t) { return std::fmod(t + 1e-6, period_s) < flush_s; };
}

/// The same trace with its pump column forgotten.
inline uptake::ChamberTrace without_states(uptake::ChamberTrace trace) {
    trace.state.assign(trace.rows(), uptake::ChamberState::unknown);
    return trace;
}

} // namespace backeddy::test
