#include "watch/comparison.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "uptake/resting.hpp"

namespace backeddy::watch::test {

namespace {

constexpr double hour = 3600.0;

double mean(const std::vector<double>& values) {
    return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

double sd(const std::vector<double>& values) {
    const double centre = mean(values);
    double squares = 0.0;
    for (const double value : values) {
        squares += (value - centre) * (value - centre);
    }
    return std::sqrt(squares / static_cast<double>(values.size() - 1));
}

struct NightResult {
    std::vector<double> errors_percent; ///< of each spell
    double smr_error_percent = 0.0;
    double sealed_s = 0.0;
};

NightResult one_night(Timing timing, double noise_factor, std::uint64_t seed) {
    auto room = shore_room(seed);
    Random random(seed, 7);
    room.plan.noise.white_sd_mg_per_l *= noise_factor;
    room.plan.noise.coloured_sd_mg_per_l *= noise_factor;
    auto& fish = *room.fish;
    fish.mass_kg = 0.5 + (0.45 * random.uniform());
    fish.resting_mg_per_h = 73.0 * fish.mass_kg * (0.8 + (0.4 * random.uniform()));
    fish.rhythm_share = 0.0; // so that one number is the truth
    Settings settings;
    settings.rest.timing = timing;
    SimulatedRoom night({room}, settings);
    night.at(60.0, 0, put_in(room, StayRole::rest));
    night.run(22.0 * hour);
    const auto* breath = night.chamber(0).breath();
    const double microbes = room.microbes.start_mg_per_h;
    NightResult result;
    std::vector<double> counted;
    int spells = 0;
    for (const auto& event : night.events()) {
        const auto* ended = std::get_if<SpellEnded>(&event.what);
        if (ended == nullptr || !ended->usable) {
            continue;
        }
        const double to = night.seconds(event.at);
        const double from = to - ended->sealed_s + settings.rest.settle_s;
        const double truth = (breath->taken_mg(from, to) / (to - from) * hour) + microbes;
        result.errors_percent.push_back(100.0 * (ended->uptake_mg_per_h - truth) / truth);
        result.sealed_s += ended->sealed_s;
        ++spells;
        if (from >= 10.0 * hour) {
            counted.push_back(ended->uptake_mg_per_h - microbes);
        }
    }
    result.sealed_s /= spells;
    const auto smr = uptake::estimate_plain(uptake::RestingMethod::quantile_20, counted);
    result.smr_error_percent = 100.0 * (smr.value() - fish.resting_mg_per_h) / fish.resting_mg_per_h;
    return result;
}

} // namespace

TimingFound compare(Timing timing, double noise_factor, int fish) {
    TimingFound found{.fish = fish};
    std::vector<double> by_fish;
    std::vector<double> all;
    std::vector<double> smr;
    for (int f = 1; f <= fish; ++f) {
        const auto night = one_night(timing, noise_factor, static_cast<std::uint64_t>(f));
        by_fish.push_back(mean(night.errors_percent));
        all.insert(all.end(), night.errors_percent.begin(), night.errors_percent.end());
        smr.push_back(night.smr_error_percent);
        found.mean_sealed_s += night.sealed_s / fish;
    }
    found.spells = static_cast<int>(all.size());
    found.slope_bias_percent = mean(by_fish);
    found.slope_bias_error_percent = sd(by_fish) / std::sqrt(fish);
    found.slope_sd_percent = sd(all);
    found.smr_bias_percent = mean(smr);
    found.smr_sd_percent = sd(smr);
    found.smr_rmse_percent =
        std::hypot(found.smr_bias_percent, found.smr_sd_percent * std::sqrt(1.0 - (1.0 / fish)));
    return found;
}

} // namespace backeddy::watch::test
