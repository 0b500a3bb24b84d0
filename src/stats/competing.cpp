#include "stats/competing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "stats/detail/check.hpp"
#include "stats/detail/fates.hpp"
#include "stats/estimate.hpp"

namespace backeddy::stats {

namespace {

using detail::Counts;
using detail::Course;

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
    if (auto ok = detail::check_fates(fish, fates); !ok) {
        return fail(std::move(ok).error());
    }
    CumulativeIncidence out{.n = fish.size(), .level = level, .times = detail::fate_times(fish)};
    for (const auto& one : fish) {
        out.last_time = std::max(out.last_time, one.time);
    }
    const double z = two_sided_quantile(level, std::numeric_limits<double>::infinity());
    for (std::size_t f = 0; f < fates.size(); ++f) {
        const auto counts = detail::count_fates(fish, out.times, f);
        const auto course = detail::course_of(counts);
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
