#include "watch/nights.hpp"

#include <algorithm>
#include <array>

namespace backeddy::watch::test {

namespace {

constexpr double hour = 3600.0;
constexpr double night_s = 14.0 * hour;

double between(Random& random, double low, double high) {
    return low + ((high - low) * random.uniform());
}

/// Sensors, water and pumps as they differ between stations; all of it sound.
void vary(Room& room, Random& random) {
    room.plan.noise = {.white_sd_mg_per_l = between(random, 0.003, 0.012),
                       .coloured_sd_mg_per_l = between(random, 0.003, 0.012),
                       .coloured_time_s = between(random, 5.0, 20.0)};
    room.sensor_gain = 1.0 + (0.012 * random.normal());
    room.flow_factor = between(random, 0.92, 1.08);
    room.inflow_percent = between(random, 96.0, 101.0);
    room.celsius = between(random, 8.0, 16.0);
    room.microbes.start_mg_per_h = between(random, 0.3, 2.0);
    for (int gap = 0; gap < 2; ++gap) { // the line hiccups
        const double at = between(random, 0.0, night_s);
        room.faults.push_back(
            {.kind = FaultKind::silent, .from_s = at, .to_s = at + between(random, 5.0, 20.0)});
    }
}

Room sound_shore(std::uint64_t seed, Random& random, const chamber::Unrest& unrest) {
    auto room = shore_room(seed);
    vary(room, random);
    room.plan.sensor_lag_s = between(random, 8.0, 16.0);
    auto& fish = *room.fish;
    fish.mass_kg = between(random, 0.5, 0.95);
    fish.resting_mg_per_h = 73.0 * fish.mass_kg * between(random, 0.8, 1.2);
    fish.excesses.resize(1); // the transfer's own; bouts are drawn anew
    fish.excesses[0].phases[0].amplitude_mg_per_h = between(random, 0.5, 1.5) * fish.resting_mg_per_h;
    for (auto& bout : chamber::draw_bouts(random, unrest, 0.0, night_s)) {
        fish.excesses.push_back(std::move(bout));
    }
    return room;
}

constexpr chamber::Unrest usual{.bouts_per_h = 0.5, .amplitude_mg_per_h = 20.0, .hold_s = 150.0};
constexpr chamber::Unrest lively{.bouts_per_h = 1.5, .amplitude_mg_per_h = 40.0, .hold_s = 300.0};

NightFound found_in(const SimulatedRoom& night) {
    NightFound found{.hours = night.now_s() / hour, .alarms = {}, .raised = night.raised()};
    for (const auto& event : night.events()) {
        const auto* change = std::get_if<AlarmChanged>(&event.what);
        if (change != nullptr && change->to == AlarmState::unacknowledged) {
            ++found.alarms[std::string(info(change->alarm.cause).word)];
        }
    }
    return found;
}

NightFound one_fish(const Room& room, const Settings& settings, bool is_disturbed) {
    SimulatedRoom night({room}, settings);
    night.at(60.0, 0, put_in(room, StayRole::rest));
    if (is_disturbed) {
        night.at(6.0 * hour, 0, hand::Disturbed{});
    }
    night.run(night_s);
    return found_in(night);
}

/// A hand's entry comes up to three minutes before or after what it tells.
NightFound changing(std::uint64_t seed, Random& random) {
    auto room = sound_shore(seed, random, usual);
    room.fish_in_s = 1.5 * hour;
    room.fish_out_s = between(random, 8.0, 11.0) * hour;
    SimulatedRoom night({room});
    night.at(120.0, 0, hand::PutIn{.role = StayRole::blank});
    night.at(room.fish_in_s - 240.0, 0, hand::TakenOut{});
    night.at(room.fish_in_s + between(random, 0.0, 180.0), 0, put_in(room, StayRole::rest));
    const double out = room.fish_out_s + between(random, -180.0, 180.0);
    night.at(out, 0, hand::TakenOut{});
    night.at(out + 300.0, 0, hand::Clean{.minutes = 60.0});
    night.at(out + 3600.0 + 900.0, 0, hand::PutIn{.role = StayRole::blank});
    night.run(night_s);
    return found_in(night);
}

NightFound boat(std::uint64_t seed, Random& random) {
    auto room = boat_room(seed);
    vary(room, random);
    room.wave_mg_per_l = between(random, 0.0, 0.02);
    auto& fish = *room.fish;
    const double strength = between(random, 0.6, 1.1);
    for (auto& phase : fish.excesses[0].phases) {
        phase.amplitude_mg_per_h *= strength;
    }
    room.fish_in_s = 590.0;
    room.fish_out_s = 590.0 + 3000.0;
    fish.excesses[0].at_s = 500.0;
    SimulatedRoom night({room});
    const double in = room.fish_in_s + between(random, 0.0, 60.0);
    night.at(in - 500.0, 0, hand::Expect{.what = Due::seal, .at = night.wall(in + 60.0)});
    night.at(in, 0, put_in(room, StayRole::after_capture));
    night.at(in, 0, hand::Done{.what = Due::seal});
    night.at(room.fish_out_s + between(random, -60.0, 60.0), 0, hand::TakenOut{});
    night.at(room.fish_out_s + 300.0, 0, hand::Clean{.minutes = 30.0});
    night.at(room.fish_out_s + 2400.0, 0, hand::PutIn{.role = StayRole::blank});
    night.run(3.0 * hour);
    return found_in(night);
}

} // namespace

std::string word(NightKind kind) {
    constexpr std::array<const char*, night_kinds> words{"quiet",    "waves",     "restless", "handled",
                                                         "changing", "timetable", "boat"};
    return words[static_cast<std::size_t>(kind)];
}

NightFound play_night(NightKind kind, std::uint64_t seed) {
    Random random(seed, 100 + static_cast<std::uint64_t>(kind));
    Settings settings;
    switch (kind) {
    case NightKind::quiet:
        return one_fish(sound_shore(seed, random, usual), settings, false);
    case NightKind::waves: {
        auto room = sound_shore(seed, random, usual);
        room.wave_mg_per_l = between(random, 0.01, 0.03);
        room.inflow_tide_percent = between(random, 1.0, 3.0);
        room.tide_celsius = between(random, 0.5, 1.5);
        return one_fish(room, settings, false);
    }
    case NightKind::restless:
        return one_fish(sound_shore(seed, random, lively), settings, false);
    case NightKind::handled: {
        auto room = sound_shore(seed, random, usual);
        room.fish->excesses.push_back({.at_s = 6.0 * hour,
                                       .rise_s = 45.0,
                                       .phases = {{.amplitude_mg_per_h = 80.0, .rate_per_h = 1.2}}});
        std::ranges::sort(room.fish->excesses, {}, &chamber::Excess::at_s);
        return one_fish(room, settings, true);
    }
    case NightKind::changing:
        return changing(seed, random);
    case NightKind::timetable:
        settings.rest.timing = Timing::timetable;
        return one_fish(sound_shore(seed, random, usual), settings, false);
    case NightKind::boat:
        return boat(seed, random);
    }
    return {};
}

} // namespace backeddy::watch::test
