#pragma once
// Tables of reference data as follow-ups and factors.

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include "stats/survival.hpp"
#include "support/reference.hpp"

namespace backeddy::stats {

inline std::vector<FollowUp> follow_ups(const support::Table& data, std::string_view time,
                                        std::string_view status, std::string_view event) {
    std::vector<FollowUp> out;
    const auto times = data.numbers(time);
    for (std::size_t i = 0; i < times.size(); ++i) {
        out.push_back({.time = times[i], .is_event = data.text(status)[i] == event});
    }
    return out;
}

/// Levels in alphabetical order.
inline Factor factor_of(const std::vector<std::string>& cells) {
    Factor out{.levels = cells, .codes = {}};
    std::sort(out.levels.begin(), out.levels.end());
    out.levels.erase(std::unique(out.levels.begin(), out.levels.end()), out.levels.end());
    for (const auto& cell : cells) {
        out.codes.push_back(static_cast<std::size_t>(
            std::lower_bound(out.levels.begin(), out.levels.end(), cell) - out.levels.begin()));
    }
    return out;
}

} // namespace backeddy::stats
