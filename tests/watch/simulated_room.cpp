#include "watch/simulated_room.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>
#include <utility>

#include <fmt/format.h>

#include "watch/kept.hpp"
#include "water/oxygen.hpp"

namespace backeddy::watch::test {

namespace {

constexpr double wall_zero_unix_s = 1'781'000'000.0;
constexpr double steady_zero_s = 5'000.0;

const Fault* fault_at(const Room& room, FaultKind kind, double t_s) {
    const auto found = std::ranges::find_if(room.faults, [&](const Fault& fault) {
        return fault.kind == kind && t_s >= fault.from_s && t_s < fault.to_s;
    });
    return found == room.faults.end() ? nullptr : &*found;
}

chamber::Sensor sensor_of(const Room& room) {
    return {.gain = room.sensor_gain,
            .white_sd_mg_per_l = room.plan.noise.white_sd_mg_per_l,
            .coloured_sd_mg_per_l = room.plan.noise.coloured_sd_mg_per_l,
            .coloured_time_s = room.plan.noise.coloured_time_s,
            .quantum_mg_per_l = room.plan.display_step_mg_per_l};
}

bool is_due(double t_s, double interval_s) {
    return std::abs(std::remainder(t_s, interval_s)) < 1e-6;
}

double swing(double mean, double amplitude, double t_s) {
    return mean + (amplitude * std::sin(2.0 * std::numbers::pi * t_s / chamber::tide_period_s));
}

} // namespace

LiveChamber::LiveChamber(Room room, double salinity, double pressure_kpa)
    : room_(std::move(room)), salinity_(salinity), pressure_kpa_(pressure_kpa),
      reader_(sensor_of(room_), Random(room_.seed, 1)), noise_(room_.seed, 2) {
    const double fish_l = room_.fish ? room_.fish->volume_l() : 0.0;
    vessel_.cells_l = {room_.plan.water_l - room_.loop_l - fish_l, room_.loop_l};
    vessel_.sensor_cell = 1;
    vessel_.round_flow_l_per_min = room_.round_flow_l_per_min;
    vessel_.sensor_lag_s = room_.plan.sensor_lag_s;
    if (room_.fish) {
        breath_ = std::make_unique<chamber::Respiration>(*room_.fish, chamber::Swing{.mean = room_.celsius});
        forces_.breaks_s = breath_->breaks_s();
    }
    forces_.breaks_s.push_back(room_.fish_in_s);
    forces_.breaks_s.push_back(room_.fish_out_s);
    for (const auto& fault : room_.faults) {
        for (const double at : {fault.from_s, fault.to_s}) {
            forces_.breaks_s.push_back(at);
            changes_s_.push_back(at);
        }
    }
    std::ranges::sort(forces_.breaks_s);
    std::ranges::sort(changes_s_);
    forces_.fish_mg_per_h = [this](double t) {
        const bool is_in =
            t >= room_.fish_in_s && t < room_.fish_out_s && !fault_at(room_, FaultKind::no_fish, t);
        return breath_ && is_in ? breath_->at(t) : 0.0;
    };
    forces_.microbes_mg_per_h = [this](double t) { return room_.microbes.at(t); };
    forces_.inflow_mg_per_l = [this](double t) {
        const auto* stale = fault_at(room_, FaultKind::stale_bath, t);
        const double share = swing(room_.inflow_percent, room_.inflow_tide_percent, t) / 100.0;
        return share * full(t) * (stale != nullptr ? stale->size : 1.0);
    };
    state_ = chamber::level_state(vessel_, 0.0, room_.inflow_percent / 100.0 * full(0.0));
}

double LiveChamber::water_celsius(double t_s) const {
    const auto* warm = fault_at(room_, FaultKind::warm, t_s);
    return swing(room_.celsius, room_.tide_celsius, t_s) + (warm != nullptr ? warm->size : 0.0);
}

double LiveChamber::full(double t_s) const {
    return water::saturation_mg_per_l(swing(room_.celsius, room_.tide_celsius, t_s), salinity_,
                                      pressure_kpa_);
}

double LiveChamber::flow(double t_s) const {
    const auto* dead = fault_at(room_, FaultKind::dead_pump, t_s);
    const double working = dead != nullptr ? dead->size : 1.0;
    return pump_ == Phase::flush ? room_.plan.flow_l_per_min * room_.flow_factor * working : 0.0;
}

void LiveChamber::change_water(double t_s) {
    const auto* leak = fault_at(room_, FaultKind::leak, t_s);
    vessel_.leak_l_per_min = leak != nullptr ? leak->size : 0.0;
    const auto* bubble = fault_at(room_, FaultKind::bubble, t_s);
    vessel_.bubble.reset();
    if (bubble != nullptr) {
        vessel_.bubble =
            chamber::Bubble{.equivalent_l = bubble->size, .exchange_l_per_min = bubble->size / 6.0};
    }
}

/// A block of rows ahead under the pump as it is, up to the next change of a fault.
void LiveChamber::fill(double t_s) {
    constexpr int rows = 120;
    change_water(state_.at_s);
    const auto change = std::ranges::upper_bound(changes_s_, state_.at_s + 1e-9);
    times_.clear();
    times_.push_back(state_.at_s);
    for (int k = 1; k <= rows; ++k) {
        const double t = state_.at_s + (k * room_.plan.interval_s);
        if (change != changes_s_.end() && t > *change && t_s < t - room_.plan.interval_s) {
            break;
        }
        times_.push_back(t);
    }
    const std::vector<chamber::FlowChange> flows{{.at_s = state_.at_s, .flow_l_per_min = flow(state_.at_s)}};
    auto run = chamber::run(vessel_, state_, flows, forces_, times_);
    if (!run) {
        throw std::runtime_error(run.error().text());
    }
    block_ = std::move(run).value();
}

std::size_t LiveChamber::row_of(double t_s) {
    if (times_.empty()) {
        fill(t_s);
    }
    while (t_s > times_.back() + 1e-6) {
        state_ = block_.end;
        fill(t_s);
    }
    const auto row = std::ranges::lower_bound(times_, t_s - 1e-6);
    return static_cast<std::size_t>(row - times_.begin());
}

void LiveChamber::command(double t_s, Phase pump) {
    if (pump == pump_) {
        return;
    }
    const auto row = row_of(t_s);
    times_.resize(row);
    times_.push_back(t_s);
    const std::vector<chamber::FlowChange> flows{{.at_s = state_.at_s, .flow_l_per_min = flow(state_.at_s)}};
    auto run = chamber::run(vessel_, state_, flows, forces_, times_);
    if (!run) {
        throw std::runtime_error(run.error().text());
    }
    state_ = run->end;
    times_.clear();
    pump_ = pump;
}

double LiveChamber::true_percent(double t_s) {
    const auto row = row_of(t_s);
    return 100.0 * block_.mean_mg_per_l[row] / full(t_s);
}

std::optional<Reading> LiveChamber::oxygen(double t_s) {
    const auto row = row_of(t_s);
    double value = reader_.read(t_s, block_.sensed_mg_per_l[row]);
    value += room_.wave_mg_per_l * std::sin(2.0 * std::numbers::pi * t_s / 7.0);
    if (const auto* burst = fault_at(room_, FaultKind::noise_burst, t_s)) {
        value += burst->size * noise_.normal();
    }
    if (const auto* step = fault_at(room_, FaultKind::step, t_s)) {
        value += step->size;
    }
    if (fault_at(room_, FaultKind::frozen, t_s) != nullptr && held_) {
        value = *held_;
    }
    held_ = value;
    Reading reading{.kind = ChannelKind::oxygen, .chamber = 0, .steady_s = t_s, .value = value};
    if (fault_at(room_, FaultKind::silent, t_s) != nullptr) {
        return std::nullopt;
    }
    if (fault_at(room_, FaultKind::no_value, t_s) != nullptr) {
        reading.value.reset();
    } else if (fault_at(room_, FaultKind::garbage, t_s) != nullptr) {
        reading.value = noise_.uniform() < 0.5 ? std::numeric_limits<double>::quiet_NaN() : 6553.5;
    }
    return reading;
}

std::optional<Reading> LiveChamber::temperature(double t_s) {
    if (fault_at(room_, FaultKind::no_temperature, t_s) != nullptr) {
        return std::nullopt;
    }
    const double value = std::round((water_celsius(t_s) + (0.01 * noise_.normal())) * 100.0) / 100.0;
    return Reading{.kind = ChannelKind::temperature, .chamber = 0, .steady_s = t_s, .value = value};
}

SimulatedRoom::SimulatedRoom(std::vector<Room> rooms, Settings settings, double salinity) {
    plan_.salinity = salinity;
    plan_.settings = settings;
    chambers_.reserve(rooms.size());
    for (auto& room : rooms) {
        plan_.chambers.push_back(room.plan);
        step_s = rooms.size() == 1 ? std::min(room.plan.interval_s, 2.5) : step_s;
        chambers_.emplace_back(std::move(room), salinity, plan_.pressure_kpa);
    }
    lowest_percent_.assign(chambers_.size(), 1e9);
    watch_ = std::make_unique<Watch>(plan_);
}

void SimulatedRoom::at(double t_s, std::optional<std::size_t> chamber, Act act) {
    hands_.push_back({.t_s = t_s, .hand = {.chamber = chamber, .by = "crew", .act = std::move(act)}});
    std::ranges::stable_sort(hands_, {}, &Planned::t_s);
}

Instant SimulatedRoom::wall(double t_s) const {
    return Instant::unix_seconds(wall_zero_unix_s) + Duration::seconds(t_s);
}

double SimulatedRoom::seconds(Instant at) const {
    return (at - wall(0.0)).seconds();
}

void SimulatedRoom::run(double to_s) {
    for (; t_s_ < to_s; t_s_ += step_s) {
        Input input;
        input.now = {.wall = wall(t_s_ + wall_error_s), .steady_s = steady_zero_s + t_s_, .boot = boot_};
        input.machine = machine;
        for (std::size_t i = 0; i < chambers_.size(); ++i) {
            if (is_due(t_s_, chambers_[i].room().plan.interval_s)) {
                for (auto reading : {chambers_[i].oxygen(t_s_), chambers_[i].temperature(t_s_)}) {
                    if (reading) {
                        reading->chamber = i;
                        reading->steady_s += steady_zero_s;
                        input.readings.push_back(*reading);
                    }
                }
            }
            const auto& room = chambers_[i].room();
            if (room.fish && t_s_ >= room.fish_in_s && t_s_ < room.fish_out_s) {
                lowest_percent_[i] = std::min(lowest_percent_[i], chambers_[i].true_percent(t_s_));
            }
        }
        while (!hands_.empty() && hands_.front().t_s <= t_s_) {
            input.hands.push_back(hands_.front().hand);
            hands_.erase(hands_.begin());
        }
        if (meddle) {
            meddle(input);
        }
        const auto out = watch_->step(input);
        events_.insert(events_.end(), out.events.begin(), out.events.end());
        for (const auto& command : out.commands) {
            chambers_[command.chamber].command(t_s_, command.pump);
        }
    }
}

void SimulatedRoom::restart() {
    const auto kept = kept_from(to_text(keep(watch_->state(), plan_)));
    if (!kept) {
        throw std::runtime_error(kept.error().text());
    }
    boot_ += " again";
    const Now now{.wall = wall(t_s_), .steady_s = steady_zero_s + t_s_, .boot = boot_};
    watch_ = std::make_unique<Watch>(plan_, resume(*kept, plan_, now));
}

std::optional<double> SimulatedRoom::raised_s(Cause cause, std::optional<std::size_t> chamber,
                                              double from_s) const {
    for (const auto& event : events_) {
        const auto* change = std::get_if<AlarmChanged>(&event.what);
        const bool is_it = change != nullptr && change->to == AlarmState::unacknowledged &&
                           change->alarm == AlarmId{.cause = cause, .chamber = chamber};
        if (is_it && seconds(event.at) >= from_s) {
            return seconds(event.at);
        }
    }
    return std::nullopt;
}

std::vector<std::string> SimulatedRoom::raised() const {
    std::vector<std::string> out;
    for (const auto& event : events_) {
        const auto* change = std::get_if<AlarmChanged>(&event.what);
        if (change != nullptr && change->to == AlarmState::unacknowledged) {
            out.push_back(fmt::format("{} {} at {:.0f} s: {}",
                                      change->alarm.chamber ? static_cast<int>(*change->alarm.chamber) : -1,
                                      info(change->alarm.cause).word, seconds(event.at), change->words));
        }
    }
    return out;
}

Room shore_room(std::uint64_t seed) {
    Room room;
    room.plan = {
        .name = "shore",
        .water_l = 29.1,
        .flow_l_per_min = 18.0,
        .sensor_lag_s = 12.0,
        .mixing_s = 10.0,
        .interval_s = 5.0,
        .display_step_mg_per_l = 0.001,
        .noise = {.white_sd_mg_per_l = 0.006, .coloured_sd_mg_per_l = 0.006, .coloured_time_s = 10.0}};
    room.loop_l = 1.1;
    room.round_flow_l_per_min = 14.0;
    chamber::Fish fish;
    fish.mass_kg = 0.75;
    fish.resting_mg_per_h = 55.0;
    fish.rhythm_share = 0.06;
    fish.excesses.push_back(
        {.at_s = 0.0, .rise_s = 45.0, .phases = {{.amplitude_mg_per_h = 50.0, .rate_per_h = 1.0}}});
    Random random(seed, 3);
    for (auto& bout :
         chamber::draw_bouts(random, {.amplitude_mg_per_h = 20.0, .hold_s = 150.0}, 0.0, 20.0 * 3600.0)) {
        fish.excesses.push_back(std::move(bout));
    }
    room.fish = std::move(fish);
    room.microbes.start_mg_per_h = 1.0;
    room.seed = seed;
    return room;
}

Room boat_room(std::uint64_t seed) {
    Room room;
    room.plan = {
        .name = "tube",
        .water_l = 10.85,
        .flow_l_per_min = 18.0,
        .sensor_lag_s = 6.0,
        .mixing_s = 5.0,
        .interval_s = 1.0,
        .display_step_mg_per_l = 0.001,
        .noise = {.white_sd_mg_per_l = 0.006, .coloured_sd_mg_per_l = 0.006, .coloured_time_s = 10.0}};
    room.loop_l = 0.45;
    room.round_flow_l_per_min = 12.0;
    chamber::Fish fish;
    fish.mass_kg = 0.7;
    fish.resting_mg_per_h = 52.0;
    fish.excesses.push_back({.at_s = 0.0,
                             .rise_s = 45.0,
                             .phases = {{.amplitude_mg_per_h = 130.0, .rate_per_h = 3.5},
                                        {.amplitude_mg_per_h = 90.0, .hold_s = 900.0, .rate_per_h = 0.35}}});
    room.fish = std::move(fish);
    room.microbes.start_mg_per_h = 0.3;
    room.seed = seed;
    return room;
}

hand::PutIn put_in(const Room& room, StayRole role) {
    return {.role = role, .mass_kg = room.fish ? std::optional(room.fish->mass_kg) : std::nullopt};
}

} // namespace backeddy::watch::test
