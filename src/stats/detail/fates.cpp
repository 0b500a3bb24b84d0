#include "stats/detail/fates.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace backeddy::stats::detail {

Expected<void> check_fates(std::span<const FateTime> fish, const std::vector<std::string>& fates) {
    bool is_any = false;
    for (std::size_t i = 0; i < fish.size(); ++i) {
        if (!std::isfinite(fish[i].time) || !(fish[i].time > 0.0)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("fish {} has the time {}", i + 1, fish[i].time),
                         .expected = "a finite time above 0",
                         .remedy = "a fish that was never followed is left out and counted apart; one whose "
                                   "fate is open gets the time to which it was followed"});
        }
        if (fish[i].fate && *fish[i].fate >= fates.size()) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("fish {} has fate {} of {}", i + 1, *fish[i].fate, fates.size()),
                 .expected = "one of the fates, counted from 0"});
        }
        is_any = is_any || fish[i].fate.has_value();
    }
    if (!is_any) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("no fate among {} fish", fish.size()),
                     .expected = "at least one that met one",
                     .remedy = "give the share of none with its exact limits"});
    }
    return {};
}

std::vector<double> fate_times(std::span<const FateTime> fish) {
    std::vector<double> out;
    for (const auto& one : fish) {
        if (one.fate) {
            out.push_back(one.time);
        }
    }
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
}

Counts count_fates(std::span<const FateTime> fish, const std::vector<double>& times, std::size_t fate) {
    Counts out{.at_risk = std::vector<double>(times.size()),
               .own = std::vector<double>(times.size()),
               .others = std::vector<double>(times.size())};
    for (const auto& one : fish) {
        // At risk at all times up to its own.
        const auto next = std::upper_bound(times.begin(), times.end(), one.time);
        const auto last = static_cast<std::size_t>(next - times.begin());
        if (last == 0) {
            continue;
        }
        out.at_risk[last - 1] += 1.0;
        if (one.fate) {
            (*one.fate == fate ? out.own : out.others)[last - 1] += 1.0;
        }
    }
    for (std::size_t k = times.size(); k-- > 1;) {
        out.at_risk[k - 1] += out.at_risk[k];
    }
    return out;
}

Course course_of(const Counts& counts) {
    Course out;
    double without = 1.0;
    double incidence = 0.0;
    for (std::size_t k = 0; k < counts.at_risk.size(); ++k) {
        out.before.push_back(without);
        out.incidence_before.push_back(incidence);
        const double n = counts.at_risk[k];
        if (n > 0.0) {
            incidence += without * counts.own[k] / n;
            without *= (n - counts.own[k] - counts.others[k]) / n;
        }
        out.after.push_back(without);
        out.incidence.push_back(incidence);
    }
    return out;
}

} // namespace backeddy::stats::detail
