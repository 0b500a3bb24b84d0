#pragma once
// What became of entries from elsewhere, as JSON. A template, so that a JSON library stays out of this
// header.

#include "app/edits.hpp"
#include "app/journal.hpp"

namespace backeddy::pages::detail {

template <typename Json>
[[nodiscard]] Json taken_in_json(const app::TakenIn& taken) {
    Json set_aside = Json::array();
    for (const auto& conflict : taken.appended.conflicts) {
        set_aside.push_back(app::id_text(conflict.kept_aside.id));
    }
    Json complaints = Json::array();
    for (std::size_t i = 0; i < taken.complaints.size(); ++i) {
        complaints.push_back(
            {{"id", app::id_text(taken.complained_of[i])}, {"text", taken.complaints[i].error.text()}});
    }
    return {{"through", static_cast<std::int64_t>(taken.appended.through)},
            {"added", taken.appended.added},
            {"duplicates", taken.appended.duplicates},
            {"set_aside", std::move(set_aside)},
            {"complaints", std::move(complaints)}};
}

} // namespace backeddy::pages::detail
