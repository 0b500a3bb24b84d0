#include "live/plan_of_study.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "water/conditions.hpp"

namespace backeddy::live {

namespace {

double station_kpa(const study::Water& water) {
    const bool is_reduced = water.pressure_is == study::PressureIs::sea_level && water.altitude_m;
    if (water.pressure) {
        return is_reduced ? water::station_pressure(*water.pressure, *water.altitude_m).kilopascals()
                          : water.pressure->kilopascals();
    }
    return water.altitude_m ? water::pressure_at_altitude(*water.altitude_m).kilopascals() : 101.325;
}

Expected<watch::ChamberPlan> chamber_of(const study::Assembly& assembly, const study::Water& water) {
    if (!assembly.flow || !(assembly.flow->l_per_min() > 0.0)) {
        return fail(
            {.code = ErrorCode::missing_column,
             .found = fmt::format("chamber {} has no flow", assembly.id.text()),
             .expected = "what its flush pump brings: without it a pump that fails cannot be told in time",
             .remedy = "measure it with a bucket and a stopwatch, and enter it as flow_l_per_min",
             .place = assembly.place});
    }
    watch::ChamberPlan out{.name = assembly.id.text(),
                           .water_l = assembly.chamber_and_loop().litres(),
                           .flow_l_per_min = assembly.flow->l_per_min()};
    out.sensor_lag_s = assembly.sensor_lag_s.value_or(out.sensor_lag_s);
    out.mixing_s = assembly.mixing_s.value_or(out.mixing_s);
    out.has_temperature = !assembly.temperature.is_empty();
    out.temperature_celsius = water.temperature ? water.temperature->celsius() : out.temperature_celsius;
    return out;
}

} // namespace

Expected<watch::Plan> plan_of_study(const study::Brief& brief, const std::vector<study::Assembly>& assemblies,
                                    Instant now) {
    watch::Plan plan;
    plan.salinity = brief.water.salinity ? brief.water.salinity->practical() : 0.0;
    plan.pressure_kpa = station_kpa(brief.water);
    for (const auto& assembly : assemblies) {
        if (!assembly.holds_at(now)) {
            continue;
        }
        auto chamber = chamber_of(assembly, brief.water);
        if (!chamber) {
            return fail(std::move(chamber).error());
        }
        plan.chambers.push_back(std::move(*chamber));
    }
    if (plan.chambers.empty()) {
        return fail({.code = ErrorCode::too_few,
                     .found = "no chamber of assemblies.csv is in use now",
                     .expected = "a row whose from and to hold this moment",
                     .remedy = "enter the chambers that are watched, or correct their dates",
                     .place = {.file = "assemblies.csv"}});
    }
    return plan;
}

std::vector<std::string> believed_of_water(const study::Brief& brief, const instruments::Station& station) {
    const auto has_channel = [&](instruments::Quantity quantity) {
        return std::ranges::any_of(station.devices, [&](const instruments::Device& device) {
            return std::ranges::any_of(
                instruments::channels_of(device),
                [&](const instruments::Channel& channel) { return channel.quantity == quantity; });
        });
    };
    std::vector<std::string> out;
    if (!brief.water.salinity && !has_channel(instruments::Quantity::salinity)) {
        out.emplace_back(
            "no salinity is said: fresh water is taken. In the sea every saturation then reads a fifth too "
            "low, and alarms of flushes come that work: set salinity under [water] of study.toml");
    }
    if (!brief.water.says_pressure() && !has_channel(instruments::Quantity::pressure)) {
        out.emplace_back(
            "no pressure of the air is said: 101.325 kPa is taken; set pressure or altitude under [water] of "
            "study.toml");
    }
    return out;
}

} // namespace backeddy::live
