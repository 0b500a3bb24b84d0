#include "study/brief.hpp"

#include <algorithm>
#include <initializer_list>
#include <string_view>

#include "study/settings.hpp"

namespace backeddy::study {

const TraceSource* Brief::trace(const std::string& name) const {
    const auto found = std::ranges::find(traces, name, &TraceSource::name);
    return found == traces.end() ? nullptr : &*found;
}

bool Season::overrides_section(const std::string& section) const {
    return std::ranges::any_of(overrides, [&](const auto& line) { return line.section == section; });
}

namespace {

bool sets_any(const Season& season, std::initializer_list<std::string_view> keys) {
    return std::ranges::any_of(season.overrides, [&](const SettingOverride& line) {
        return line.section == "water" && std::ranges::find(keys, line.key) != keys.end();
    });
}

// Else a channel of the study would win over the season's constant.
void clear_what_is_replaced(Water& water, const Season& season) {
    if (sets_any(season,
                 {"salinity", "salinity_channel", "conductivity_ms_per_cm", "conductivity_channel"})) {
        water.salinity.reset();
        water.salinity_channel = {};
        water.conductivity_ms_per_cm.reset();
        water.conductivity_channel = {};
    }
    if (sets_any(season, {"pressure_kpa", "pressure_channel"})) {
        water.pressure.reset();
        water.pressure_channel = {};
    }
}

} // namespace

Brief Brief::at(Instant moment) const {
    Brief out = *this;
    for (const auto& season : seasons) {
        if (!season.holds_at(moment)) {
            continue;
        }
        clear_what_is_replaced(out.water, season);
        for (const auto& line : season.overrides) {
            if (const Setting* setting = find_setting(line.section, line.key)) {
                setting->set(out, line.value);
            }
        }
    }
    return out;
}

Uncertainty Brief::uncertainty_at(Instant moment) const {
    const bool differs = std::ranges::any_of(seasons, [&](const Season& season) {
        return season.holds_at(moment) && season.overrides_section("uncertainty");
    });
    return differs ? at(moment).uncertainty : uncertainty;
}

std::optional<Duration> Brief::fixed_settle(uptake::StayRole role) const {
    const auto found = settle.fixed.find(role);
    return found == settle.fixed.end() ? std::nullopt : std::optional(found->second);
}

std::string Brief::zone_of(const ClockId& clock) const {
    for (const auto& trace : traces) {
        if (trace.clock_id() == clock && !trace.zone.empty()) {
            return trace.zone;
        }
    }
    return study.zone;
}

} // namespace backeddy::study
