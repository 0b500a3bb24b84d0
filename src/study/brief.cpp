#include "study/brief.hpp"

#include <algorithm>

#include "study/settings.hpp"

namespace backeddy::study {

const TraceSource* Brief::trace(const std::string& name) const {
    const auto found = std::ranges::find(traces, name, &TraceSource::name);
    return found == traces.end() ? nullptr : &*found;
}

Brief Brief::at(Instant moment) const {
    Brief out = *this;
    for (const auto& season : seasons) {
        if (moment < season.from || season.to <= moment) {
            continue;
        }
        for (const auto& line : season.overrides) {
            if (const Setting* setting = find_setting(line.section, line.key)) {
                setting->set(out, line.value);
            }
        }
    }
    return out;
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
