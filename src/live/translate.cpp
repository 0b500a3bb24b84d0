#include "live/translate.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "uptake/convert.hpp"

namespace backeddy::live {

namespace {

using instruments::Quantity;

std::optional<std::size_t> chamber_named(const watch::Plan& plan, const std::string& name) {
    const auto found = std::find_if(plan.chambers.begin(), plan.chambers.end(),
                                    [&](const watch::ChamberPlan& each) { return each.name == name; });
    return found == plan.chambers.end()
               ? std::nullopt
               : std::optional(static_cast<std::size_t>(found - plan.chambers.begin()));
}

uptake::OxygenKind kind_of(intake::Unit unit) {
    switch (unit) {
    case intake::Unit::percent_air:
        return uptake::OxygenKind::percent_air;
    case intake::Unit::kilopascal:
    case intake::Unit::hectopascal:
    case intake::Unit::mmhg:
        return uptake::OxygenKind::kpa;
    default:
        return uptake::OxygenKind::mg_per_l;
    }
}

bool is_temperature(const instruments::Reading& reading, Quantity quantity) {
    return quantity == Quantity::temperature && reading.missing == instruments::Missing::no;
}

} // namespace

Translator::Translator(const instruments::Station& station, const watch::Plan& plan)
    : salinity_(plan.salinity), pressure_kpa_(plan.pressure_kpa) {
    for (const auto& chamber : plan.chambers) {
        celsius_.push_back(chamber.temperature_celsius);
    }
    for (const auto& device : station.devices) {
        for (const auto& channel : instruments::channels_of(device)) {
            const auto unit = intake::unit_from(channel.unit);
            const auto chamber = chamber_named(plan, channel.chamber);
            if (unit && (channel.chamber.empty() || chamber)) {
                channels_[channel.id] = {.quantity = channel.quantity, .unit = *unit, .chamber = chamber};
            }
        }
    }
}

std::vector<watch::Reading> Translator::take(const instruments::Frame& frame) {
    std::vector<watch::Reading> out;
    const auto each_known = [&](const auto& what) {
        for (const auto& reading : frame.readings) {
            if (const auto known = channels_.find(reading.channel); known != channels_.end()) {
                what(known->second, reading);
            }
        }
    };
    each_known([&](const Known& known, const instruments::Reading& reading) {
        const bool has_value = reading.missing == instruments::Missing::no;
        const double value = intake::in_trace_unit(known.unit, reading.value);
        if (is_temperature(reading, known.quantity)) {
            (known.chamber ? celsius_[*known.chamber] : inflow_celsius_) = value;
        } else if (known.quantity == Quantity::salinity && has_value) {
            salinity_ = value;
        } else if (known.quantity == Quantity::pressure && has_value) {
            pressure_kpa_ = value;
        }
        if (known.quantity == Quantity::temperature) {
            out.push_back({.kind = watch::ChannelKind::temperature,
                           .chamber = known.chamber,
                           .steady_s = static_cast<double>(reading.received.monotonic_ns) * 1e-9,
                           .value = has_value ? std::optional(value) : std::nullopt});
        }
    });
    each_known([&](const Known& known, const instruments::Reading& reading) {
        if (known.quantity == Quantity::oxygen) {
            out.push_back(oxygen(known, reading));
        }
    });
    return out;
}

watch::Reading Translator::oxygen(const Known& known, const instruments::Reading& reading) const {
    watch::Reading out{.kind = watch::ChannelKind::oxygen,
                       .chamber = known.chamber,
                       .steady_s = static_cast<double>(reading.received.monotonic_ns) * 1e-9,
                       .value = std::nullopt};
    if (reading.missing == instruments::Missing::no) {
        out.value = uptake::oxygen_mg_per_l(
            kind_of(known.unit), intake::in_trace_unit(known.unit, reading.value),
            known.chamber ? celsius_[*known.chamber] : inflow_celsius_, salinity_, pressure_kpa_);
    }
    return out;
}

std::vector<std::string> plan_faults(const instruments::Station& station, const watch::Plan& plan) {
    std::vector<std::string> out;
    std::vector<int> oxygens(plan.chambers.size());
    std::vector<int> pumps(plan.chambers.size());
    for (const auto& device : station.devices) {
        for (const auto& channel : instruments::channels_of(device)) {
            const auto chamber = chamber_named(plan, channel.chamber);
            if (!channel.chamber.empty() && !chamber) {
                out.push_back(fmt::format("channel {} is in chamber \"{}\", which the study does not have",
                                          channel.id.text, channel.chamber));
            } else if (chamber && channel.quantity == Quantity::oxygen) {
                ++oxygens[*chamber];
            }
        }
        for (const auto& pump : instruments::pumps_of(device)) {
            if (const auto chamber = chamber_named(plan, pump.chamber)) {
                ++pumps[*chamber];
            } else {
                out.push_back(fmt::format("pump {} flushes chamber \"{}\", which the study does not have",
                                          pump.name, pump.chamber));
            }
        }
    }
    for (std::size_t i = 0; i < plan.chambers.size(); ++i) {
        if (oxygens[i] != 1) {
            out.push_back(fmt::format("chamber {} has {} oxygen channels; it needs one",
                                      plan.chambers[i].name, oxygens[i]));
        }
        if (pumps[i] != 1) {
            out.push_back(
                fmt::format("chamber {} has {} pumps; it needs one", plan.chambers[i].name, pumps[i]));
        }
    }
    return out;
}

Error do_not_fit(const std::vector<std::string>& faults) {
    return {.code = ErrorCode::bad_relation,
            .found = fmt::format("{}", fmt::join(faults, "; ")),
            .expected = "for each chamber of the study one oxygen channel and one pump",
            .remedy = "mend station.toml, or assemblies.csv of the study"};
}

} // namespace backeddy::live
