#include "stats/competing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "stats/detail/check.hpp"
#include "stats/estimate.hpp"

namespace backeddy::stats {

namespace {

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

/// The times at which any fate was met, ascending, each once.
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

/// Some of the fish at each of some times.
struct Counts {
    std::vector<double> at_risk;
    std::vector<double> own;    ///< that met the fate
    std::vector<double> others; ///< that met another
};

template <typename Belongs>
Counts count(std::span<const FateTime> fish, const std::vector<double>& times, std::size_t fate,
             const Belongs& belongs) {
    Counts out{.at_risk = std::vector<double>(times.size()),
               .own = std::vector<double>(times.size()),
               .others = std::vector<double>(times.size())};
    for (std::size_t i = 0; i < fish.size(); ++i) {
        if (!belongs(i)) {
            continue;
        }
        // At risk at all times up to its own.
        const auto next = std::upper_bound(times.begin(), times.end(), fish[i].time);
        const auto last = static_cast<std::size_t>(next - times.begin());
        if (last == 0) {
            continue;
        }
        out.at_risk[last - 1] += 1.0;
        if (fish[i].fate) {
            (*fish[i].fate == fate ? out.own : out.others)[last - 1] += 1.0;
        }
    }
    for (std::size_t k = times.size(); k-- > 1;) {
        out.at_risk[k - 1] += out.at_risk[k];
    }
    return out;
}

/// Share without any fate, and with this one, before and after each time.
struct Course {
    std::vector<double> before;
    std::vector<double> after;
    std::vector<double> incidence_before;
    std::vector<double> incidence;
};

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

/// d (n - d) / (n^2 (n - 1)); without ties d / n^2.
double tied_variance(double d, double n) {
    return d > 1.0 ? d * (n - d) / (n * n * (n - 1.0)) : d / (n * n);
}

double incidence_variance(const Counts& counts, const Course& course, std::size_t until) {
    double sum = 0.0;
    for (std::size_t k = 0; k <= until; ++k) {
        const double n = counts.at_risk[k];
        const double rise = course.incidence[until] - course.incidence[k];
        const double lost = course.after[k] > 0.0 ? rise / course.after[k] : 0.0;
        const double before = course.before[k] * course.before[k];
        if (counts.own[k] > 0.0) {
            sum += (1.0 - lost) * (1.0 - lost) * before * tied_variance(counts.own[k], n);
        }
        if (counts.others[k] > 0.0) {
            sum += lost * lost * before * tied_variance(counts.others[k], n);
        }
    }
    return sum;
}

std::optional<Interval> limits_of(double incidence, double se, double z) {
    if (!(incidence > 0.0 && incidence < 1.0)) {
        return std::nullopt;
    }
    const double width = -z * se / (incidence * std::log(incidence)); // above 0
    return Interval{.lower = std::pow(incidence, std::exp(width)),
                    .upper = std::pow(incidence, std::exp(-width))};
}

} // namespace

Expected<CumulativeIncidence> cumulative_incidence(std::span<const FateTime> fish,
                                                   const std::vector<std::string>& fates, double level) {
    if (auto ok = detail::check_level(level); !ok) {
        return fail(std::move(ok).error());
    }
    if (auto ok = check_fates(fish, fates); !ok) {
        return fail(std::move(ok).error());
    }
    CumulativeIncidence out{.n = fish.size(), .level = level, .times = fate_times(fish)};
    for (const auto& one : fish) {
        out.last_time = std::max(out.last_time, one.time);
    }
    const double z = two_sided_quantile(level, std::numeric_limits<double>::infinity());
    for (std::size_t f = 0; f < fates.size(); ++f) {
        const auto counts = count(fish, out.times, f, [](std::size_t) { return true; });
        const auto course = course_of(counts);
        out.without = course.after;
        FateIncidence own{.name = fates[f]};
        for (std::size_t k = 0; k < out.times.size(); ++k) {
            if (!(counts.own[k] > 0.0)) {
                continue;
            }
            IncidenceStep step{.time = out.times[k],
                               .at_risk = static_cast<std::size_t>(counts.at_risk[k]),
                               .events = static_cast<std::size_t>(counts.own[k]),
                               .incidence = course.incidence[k],
                               .se = std::sqrt(incidence_variance(counts, course, k))};
            step.limits = limits_of(step.incidence, step.se, z);
            own.events += step.events;
            own.steps.push_back(step);
        }
        out.fates.push_back(std::move(own));
    }
    return out;
}

std::optional<IncidenceStep> at_time(const FateIncidence& fate, double time) {
    std::optional<IncidenceStep> out;
    for (const auto& step : fate.steps) {
        if (step.time <= time) {
            out = step;
        }
    }
    return out;
}

} // namespace backeddy::stats
