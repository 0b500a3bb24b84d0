#include "watch/stay.hpp"

#include <algorithm>

namespace backeddy::watch {

std::string_view word(Use use) {
    switch (use) {
    case Use::empty:
        return "empty";
    case Use::fish:
        return "fish";
    case Use::water:
        return "water";
    case Use::cleaning:
        return "cleaning";
    }
    return {};
}

std::string_view word(Due due) {
    switch (due) {
    case Due::seal:
        return "seal";
    case Due::blood:
        return "blood";
    case Due::other:
        return "other";
    }
    return {};
}

namespace {

double median_of_last(const std::vector<Spell>& spells, std::size_t count) {
    std::vector<double> values;
    for (std::size_t i = spells.size() - std::min(count, spells.size()); i < spells.size(); ++i) {
        values.push_back(spells[i].uptake_mg_per_h);
    }
    std::ranges::sort(values);
    const std::size_t n = values.size();
    return n % 2 == 1 ? values[n / 2] : (values[(n / 2) - 1] + values[n / 2]) / 2.0;
}

} // namespace

double expected_uptake(const Stay& stay, const CourseSettings& settings) {
    if (!stay.spells.empty()) {
        return std::max(0.0, stay.spells.back().end_mg_per_h);
    }
    if (!stay.has_fish()) {
        return 0.0;
    }
    const double each = uptake::is_fast(stay.role) ? settings.fast_mg_per_kg_h : settings.rest_mg_per_kg_h;
    return each * stay.mass_kg.value_or(1.0);
}

std::optional<double> recent_uptake(const Stay& stay) {
    if (stay.spells.empty()) {
        return std::nullopt;
    }
    return median_of_last(stay.spells, 3);
}

std::optional<double> median_uptake(const Stay& stay) {
    if (stay.spells.size() < 3) {
        return std::nullopt;
    }
    return median_of_last(stay.spells, stay.spells.size());
}

} // namespace backeddy::watch
