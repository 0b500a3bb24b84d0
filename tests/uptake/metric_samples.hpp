#pragma once
// Spells and readings with a known truth, for the tests of peak, rest and recovery.

#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "base/random.hpp"
#include "fit/noise.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::uptake::samples {

inline Instant at_hours(double h) {
    return Instant::unix_seconds(1.7e9) + Duration::hours(h);
}

/// A spell whose middle is `h` hours after at_hours(0), 6 minutes long, of a fish of `mass_kg`: its own slope
/// error `own` mg/h and a volume error of `volume_share`.
struct SpellMaker {
    double mass_kg = 0.8;
    double mass_share = 0.0;
    double volume_share = 0.0;
    std::string chamber = "chamber 4";
    double half_length_h = 0.05;

    [[nodiscard]] SpellUptake operator()(double h, double mg_per_h, double own = 0.0) const {
        SpellUptake out;
        out.sealed_from = at_hours(h - half_length_h) - Duration::seconds(60.0);
        out.from = at_hours(h - half_length_h);
        out.to = at_hours(h + half_length_h);
        out.readings = 360;
        out.temperature_mean_celsius = 12.0;
        std::vector<Contribution> parts;
        if (own > 0.0) {
            parts.push_back({"slope:" + chamber + "@" + iso_text(out.from), own});
        }
        if (volume_share > 0.0) {
            parts.push_back({"volume:" + chamber, volume_share * mg_per_h});
        }
        out.uptake_mg_per_h = Measured(mg_per_h, std::move(parts));
        out.total_mg_per_h = out.uptake_mg_per_h.shifted(2.0);
        out.background_mg_per_h = Measured(2.0);
        out.uptake_mg_per_kg_h = out.uptake_mg_per_h / Measured(mass_kg, mass_share * mass_kg, "mass:fish");
        return out;
    }
};

/// White + autoregressive noise at even steps.
inline std::vector<double> noise(const fit::NoiseModel& model, std::size_t n, double step_s, Random& random) {
    std::vector<double> out(n);
    const double keep = model.is_coloured() ? std::exp(-step_s / model.correlation_time) : 0.0;
    double state = model.coloured_sd * random.normal();
    for (auto& value : out) {
        value = state + (model.white_sd * random.normal());
        state = (keep * state) + (model.coloured_sd * std::sqrt(1.0 - (keep * keep)) * random.normal());
    }
    return out;
}

} // namespace backeddy::uptake::samples
