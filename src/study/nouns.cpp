#include "study/nouns.hpp"

#include <algorithm>

namespace backeddy::study {

std::optional<uptake::StayRole> Stay::role_at(Instant moment) const {
    for (const auto& part : parts) {
        if (part.from <= moment && moment < part.to) {
            return part.role;
        }
    }
    return std::nullopt;
}

std::vector<uptake::RoleInterval> Stay::roles() const {
    std::vector<uptake::RoleInterval> out;
    for (const auto& part : parts) {
        out.push_back({.role = part.role, .from = part.from, .to = part.to});
    }
    return out;
}

std::optional<Channel> channel_from(std::string_view text) {
    const auto colon = text.find(':');
    if (colon == std::string_view::npos || colon == 0 || colon + 1 == text.size()) {
        return std::nullopt;
    }
    return Channel{.trace = std::string(text.substr(0, colon)),
                   .channel = std::string(text.substr(colon + 1))};
}

const Fish* Tables::find(const FishId& id) const {
    const auto found = std::ranges::find(fish, id, &Fish::id);
    return found == fish.end() ? nullptr : &*found;
}

const Stay* Tables::find(const StayId& id) const {
    const auto found = std::ranges::find(stays, id, &Stay::id);
    return found == stays.end() ? nullptr : &*found;
}

const Assembly* Tables::find(const AssemblyId& id, Instant moment) const {
    const auto found = std::ranges::find_if(
        assemblies, [&](const Assembly& row) { return row.id == id && row.holds_at(moment); });
    return found == assemblies.end() ? nullptr : &*found;
}

bool Tables::has(const AssemblyId& id) const {
    return std::ranges::find(assemblies, id, &Assembly::id) != assemblies.end();
}

} // namespace backeddy::study
