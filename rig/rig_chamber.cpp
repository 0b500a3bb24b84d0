#include "rig_chamber.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "water/oxygen.hpp"

namespace backeddy::rig {

namespace {

/// Gas of so many mL holds as much oxygen as about 32 times as much of this water (chamber/chamber.hpp).
constexpr double water_per_gas = 32.0;
constexpr double bubble_exchange_l_per_min = 0.5;

chamber::Swing swing_of(const ChamberSettings& settings) {
    return {.mean = settings.temperature_c,
            .waves = {{.amplitude = 0.3}, {.amplitude = 0.2, .period_s = chamber::day_period_s}}};
}

/// A fish back from capture: high uptake that falls over hours, bouts of its own.
chamber::Fish fish_of(const ChamberSettings& settings, Random& random) {
    chamber::Fish fish;
    fish.mass_kg = settings.mass_kg * std::exp(0.2 * random.normal());
    fish.resting_mg_per_h = 75.0 * fish.mass_kg * std::exp(0.1 * random.normal());
    fish.rhythm_share = 0.1;
    chamber::Excess capture;
    capture.phases = {{.amplitude_mg_per_h = 2.0 * fish.resting_mg_per_h, .rate_per_h = 0.6}};
    fish.excesses = chamber::draw_bouts(random, {}, 0.0, 48.0 * 3600.0);
    fish.excesses.insert(fish.excesses.begin(), capture);
    return fish;
}

chamber::Vessel vessel_of(const ChamberSettings& settings, const chamber::Fish& fish) {
    return {.cells_l = {std::max(settings.tube_l - fish.volume_l(), 0.1), settings.loop_l},
            .fish_cell = 0,
            .sensor_cell = 1,
            .round_flow_l_per_min = settings.round_flow_l_per_min,
            .sensor_lag_s = settings.sensor_lag_s};
}

double inflow_of(const ChamberSettings& settings, double temperature_c) {
    constexpr double saturation_of_inflow = 0.98;
    return saturation_of_inflow *
           water::saturation_mg_per_l(temperature_c, settings.salinity, settings.pressure_kpa);
}

} // namespace

RigChamber::RigChamber(const ChamberSettings& settings, std::size_t number, std::uint64_t seed)
    : settings_(settings), number_(number), random_(seed, number), temperature_(swing_of(settings)),
      fish_(fish_of(settings, random_), temperature_), vessel_(vessel_of(settings, fish_.fish())),
      state_(chamber::level_state(vessel_, 0.0, inflow_of(settings, temperature_.at(0.0)))),
      reader_({.white_sd_mg_per_l = settings.sensor_sd_mg_per_l,
               .coloured_sd_mg_per_l = settings.sensor_sd_mg_per_l / 2.0,
               .quantum_mg_per_l = settings.display_step_mg_per_l},
              Random(seed, number + 1000)) {}

void RigChamber::seal(double at_s) {
    sealed_until_s_ = at_s + settings_.heartbeat_limit_s;
}

void RigChamber::flush(double at_s) {
    sealed_until_s_ = std::min(sealed_until_s_, at_s);
}

double RigChamber::flow_at(double at_s, const FaultPlan& faults) const {
    const auto is = [&](FaultKind kind) { return faults.active(kind, number_, at_s).has_value(); };
    if (is(FaultKind::dead_pump) || is(FaultKind::stuck_valve)) {
        return 0.0;
    }
    if (sealed_at(at_s) && !is(FaultKind::stuck_pump)) {
        return 0.0;
    }
    return settings_.flush_l_per_min * faults.active(FaultKind::weak_flush, number_, at_s).value_or(1.0);
}

double RigChamber::uptake_at(double at_s, const FaultPlan& faults) const {
    if (dead_ || faults.active(FaultKind::fish_out, number_, at_s)) {
        return 0.0;
    }
    return fish_.at(at_s) + faults.active(FaultKind::restless, number_, at_s).value_or(0.0);
}

/// The hardware lets go of the seal at a moment of its own: flow and all else is level between the moments
/// that this is called for.
void RigChamber::advance(double to_s, const FaultPlan& faults) {
    if (state_.at_s < sealed_until_s_ && sealed_until_s_ < to_s) {
        run_to(sealed_until_s_, faults);
    }
    run_to(to_s, faults);
}

void RigChamber::run_to(double to_s, const FaultPlan& faults) {
    const double from_s = state_.at_s;
    if (!(to_s > from_s)) {
        return;
    }
    dead_ = dead_ || faults.active(FaultKind::fish_dies, number_, from_s);
    vessel_.leak_l_per_min = faults.active(FaultKind::leak, number_, from_s).value_or(0.0);
    const auto gas_ml = faults.active(FaultKind::bubble, number_, from_s);
    vessel_.bubble = gas_ml && *gas_ml > 0.0
                         ? std::optional(chamber::Bubble{.equivalent_l = *gas_ml / 1000.0 * water_per_gas,
                                                         .exchange_l_per_min = bubble_exchange_l_per_min})
                         : std::nullopt;
    const double inflow = faults.active(FaultKind::poor_inflow, number_, from_s)
                              .value_or(inflow_of(settings_, temperature_.at(from_s)));
    const chamber::Forces forces{.fish_mg_per_h = [&](double t) { return uptake_at(t, faults); },
                                 .microbes_mg_per_h = {},
                                 .inflow_mg_per_l = [&](double) { return inflow; }};
    const std::array flows{chamber::FlowChange{.at_s = from_s, .flow_l_per_min = flow_at(from_s, faults)}};
    const std::array times{to_s};
    if (auto run = chamber::run(vessel_, state_, flows, forces, times)) {
        state_ = std::move(run->end);
    } else {
        dead_ = true; // no oxygen is left
        state_.at_s = to_s;
    }
}

std::optional<double> RigChamber::sensed(double at_s, const FaultPlan& faults) {
    const auto amount = [&](FaultKind kind) { return faults.active(kind, number_, at_s); };
    // Drawn always, so that a fault changes no other moment's noise.
    const double clean = reader_.read(at_s, state_.lagged_mg_per_l);
    const double disturbance = random_.normal();
    if (amount(FaultKind::dropout)) {
        return std::nullopt;
    }
    if (amount(FaultKind::frozen) && last_shown_) {
        return last_shown_;
    }
    if (const auto value = amount(FaultKind::implausible)) {
        return value;
    }
    const double hours = (at_s - faults.since_s(FaultKind::drift, number_, at_s)) / 3600.0;
    last_shown_ = clean + amount(FaultKind::offset).value_or(0.0) +
                  amount(FaultKind::drift).value_or(0.0) * hours +
                  amount(FaultKind::noise).value_or(0.0) * disturbance;
    return last_shown_;
}

Sample RigChamber::step(double at_s, const FaultPlan& faults) {
    advance(at_s, faults);
    return {.at_s = at_s,
            .oxygen_mg_per_l = sensed(at_s, faults),
            .temperature_c = temperature_.at(at_s),
            .sealed = sealed_at(at_s) && !faults.active(FaultKind::stuck_pump, number_, at_s)};
}

} // namespace backeddy::rig
