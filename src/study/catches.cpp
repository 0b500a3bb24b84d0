#include "study/detail/catches.hpp"

#include <algorithm>

#include "study/detail/relation_words.hpp"

namespace backeddy::study {

std::vector<Catch> catches_of(const FishId& fish, const Brief& brief, const Tables& tables) {
    std::vector<Catch> out;
    for (const auto& row : tables.encounters) {
        if (row.fish == fish && row.at) {
            out.push_back(
                {.at = *row.at,
                 .uncertainty_s = row.at_uncertainty.value_or(Duration()).seconds(),
                 .what = "met at " + iso_text(*row.at) + " (encounters.csv, " + line_text(row.place) + ")"});
        }
    }
    for (const auto& row : tables.events) {
        const bool is_catch = row.kind == EventKind::hook_up || row.kind == EventKind::landed;
        if (row.fish == fish && is_catch) {
            const double usual_s = brief.uncertainty_at(row.at).event_s;
            out.push_back({.at = row.at,
                           .uncertainty_s = row.at_uncertainty.value_or(Duration::seconds(usual_s)).seconds(),
                           .what = (row.kind == EventKind::landed ? "landed at " : "hooked at ") +
                                   iso_text(row.at) + " (events.csv, " + line_text(row.place) + ")"});
        }
    }
    std::ranges::stable_sort(out, {}, &Catch::at);
    return out;
}

bool is_before_all(Instant moment, const std::vector<Catch>& catches) {
    return !catches.empty() && std::ranges::all_of(catches, [&](const Catch& one) {
        return moment + Duration::seconds(60.0 + (2.0 * one.uncertainty_s)) < one.at;
    });
}

} // namespace backeddy::study
