#include "app/catch_entries.hpp"

#include <algorithm>
#include <optional>
#include <string>

namespace backeddy::app {

namespace {

std::optional<angling::CatchKind> kind_of(study::EventKind kind) {
    switch (kind) {
    case study::EventKind::lines_in:
        return angling::CatchKind::lines_in;
    case study::EventKind::lines_out:
        return angling::CatchKind::lines_out;
    case study::EventKind::bite:
        return angling::CatchKind::bite;
    case study::EventKind::hook_up:
        return angling::CatchKind::hook_up;
    case study::EventKind::lost:
        return angling::CatchKind::lost;
    case study::EventKind::landed:
        return angling::CatchKind::landed;
    default:
        return std::nullopt;
    }
}

/// The rig of the encounter nearest in time to an event of the same fish.
std::string rig_of(const study::Event& event, const study::Tables& tables) {
    const study::Encounter* nearest = nullptr;
    const auto away = [&](const study::Encounter& encounter) {
        return encounter.at ? std::abs((*encounter.at - event.at).seconds()) : 1e300;
    };
    for (const auto& encounter : tables.encounters) {
        if (!event.fish.is_empty() && encounter.fish == event.fish &&
            (nearest == nullptr || away(encounter) < away(*nearest))) {
            nearest = &encounter;
        }
    }
    return nearest == nullptr ? std::string() : nearest->rig;
}

std::string species_of(const study::Event& event, const study::Tables& tables) {
    const auto found = std::find_if(tables.fish.begin(), tables.fish.end(),
                                    [&](const study::Fish& fish) { return fish.id == event.fish; });
    return found == tables.fish.end() ? std::string() : found->species;
}

} // namespace

std::vector<angling::CatchEntry> catch_entries(const Study& study) {
    std::vector<angling::CatchEntry> out;
    for (const auto& event : study.tables.events) {
        const auto kind = kind_of(event.kind);
        if (!kind) {
            continue;
        }
        out.push_back({.at = event.at,
                       .kind = *kind,
                       .rod = event.rod.empty() ? event.who : event.rod,
                       .rig = event.rig.empty() ? rig_of(event, study.tables) : event.rig,
                       .angler = event.who,
                       .fish = event.fish.text(),
                       .species = species_of(event, study.tables),
                       .reason = event.note,
                       .row = static_cast<std::size_t>(event.place.line.value_or(0))});
    }
    return out;
}

} // namespace backeddy::app
