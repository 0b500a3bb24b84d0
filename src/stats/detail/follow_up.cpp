#include "stats/detail/follow_up.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace backeddy::stats::detail {

std::string fish_name(std::size_t row, std::span<const std::string> labels) {
    return labels.empty() ? fmt::format("fish {}", row + 1) : labels[row];
}

Expected<void> check_follow_ups(std::span<const FollowUp> fish, std::span<const std::string> labels) {
    const auto refuse = [&](std::size_t row, std::string found, std::string expected, std::string remedy) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fish_name(row, labels) + " " + std::move(found),
                     .expected = std::move(expected),
                     .remedy = std::move(remedy)});
    };
    bool has_event = false;
    for (std::size_t i = 0; i < fish.size(); ++i) {
        const auto& one = fish[i];
        if (!std::isfinite(one.time) || !std::isfinite(one.entry)) {
            return refuse(i, "has a time that is infinite or not a number", "finite times",
                          "for a fish without the event give the time to which it was followed");
        }
        if (one.entry < 0.0) {
            return refuse(i, fmt::format("enters at {}", one.entry), "an entry of 0 or later",
                          "count times from the same start for every fish");
        }
        if (!(one.time > 0.0)) {
            return refuse(i, fmt::format("has the time {}", one.time), "a time above 0",
                          "a fish that was never followed is left out and counted apart; one that died at "
                          "once gets the time at which it was first looked at");
        }
        if (!(one.time > one.entry)) {
            return refuse(i, fmt::format("enters at {} and ends at {}", one.entry, one.time),
                          "an end after the entry", "are the two swapped?");
        }
        has_event = has_event || one.is_event;
    }
    if (!has_event) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("no event among {} fish", fish.size()),
                     .expected = "at least one",
                     .remedy = "give the share of none with its exact limits"});
    }
    return {};
}

std::vector<double> event_times(std::span<const FollowUp> fish) {
    std::vector<double> out;
    for (const auto& one : fish) {
        if (one.is_event) {
            out.push_back(one.time);
        }
    }
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
}

} // namespace backeddy::stats::detail
