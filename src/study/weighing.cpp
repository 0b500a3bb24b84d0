#include "study/weighing.hpp"

#include <algorithm>
#include <cmath>

namespace backeddy::study {

std::optional<Mass> mass_from(double value, std::string_view unit) {
    if (!(value > 0.0) || !std::isfinite(value)) {
        return std::nullopt;
    }
    if (unit == "g" || unit == "G") {
        return Mass::grams(value);
    }
    if (unit == "kg" || unit == "KG" || unit == "Kg") {
        return Mass::kilograms(value);
    }
    return std::nullopt;
}

bool is_weighing_of(const Fish& fish, const Event& event, const Tables& tables) {
    if (event.kind != EventKind::weighed || !event.value || !mass_from(*event.value, event.unit)) {
        return false;
    }
    const Stay* stay = event.stay.is_empty() ? nullptr : tables.find(event.stay);
    return event.fish.is_empty() ? stay != nullptr && stay->fish == fish.id : event.fish == fish.id;
}

std::optional<MassAt> mass_for(const Fish& fish, const Stay& stay, const Tables& tables) {
    return mass_by(fish, stay.to(), tables);
}

std::optional<MassAt> mass_by(const Fish& fish, Instant moment, const Tables& tables) {
    const Event* before = nullptr;
    const Event* after = nullptr;
    for (const auto& event : tables.events) {
        if (!is_weighing_of(fish, event, tables)) {
            continue;
        }
        if (event.at <= moment) {
            before = before == nullptr || event.at >= before->at ? &event : before;
        } else {
            after = after == nullptr || event.at < after->at ? &event : after;
        }
    }
    if (before == nullptr && fish.mass) {
        return MassAt{.mass = *fish.mass, .uncertainty = fish.mass_uncertainty};
    }
    const Event* chosen = before == nullptr ? after : before;
    if (chosen == nullptr) {
        return std::nullopt;
    }
    return MassAt{.mass = *mass_from(*chosen->value, chosen->unit),
                  .uncertainty = fish.mass_uncertainty,
                  .weighed = chosen};
}

} // namespace backeddy::study
