#include "stats/competing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Dense>
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

namespace {

/// What Gray's test is made of, time by time, all groups together.
class GrayScore {
  public:
    GrayScore(const std::vector<Counts>& counts, const std::vector<Course>& courses)
        : counts_(counts), courses_(courses), groups_(static_cast<Eigen::Index>(counts.size())) {
        const std::size_t times = counts.front().at_risk.size();
        Eigen::MatrixXd reach = Eigen::MatrixXd::Zero(groups_, groups_);
        excess_ = Eigen::VectorXd::Zero(groups_);
        double incidence = 0.0;
        for (std::size_t k = 0; k < times; ++k) {
            Moment now = moment(k, incidence);
            excess_ += now.observed - (now.events / now.subdistribution.sum()) * now.subdistribution;
            // The common F rises by events over n / S of all groups (Gray 1988, 2.1).
            const double rise = now.events / now.potential;
            // Over 1 - F just before: the hazard of the subdistribution.
            reach += now.weights * (rise / (1.0 - incidence));
            now.reach = reach;
            incidence += rise;
            now.incidence = incidence;
            moments_.push_back(std::move(now));
        }
        reach_ = reach;
    }
    [[nodiscard]] const Eigen::VectorXd& excess() const { return excess_; }
    /// Two sums over the groups' own martingales: of this fate and of the others.
    [[nodiscard]] Eigen::MatrixXd variance() const {
        Eigen::MatrixXd out = Eigen::MatrixXd::Zero(groups_, groups_);
        for (std::size_t k = 0; k < moments_.size(); ++k) {
            for (Eigen::Index g = 0; g < groups_; ++g) {
                add_variance(k, g, out);
            }
        }
        return out;
    }

  private:
    struct Moment {
        Eigen::VectorXd subdistribution; ///< n (1 - F) / S just before, by group
        Eigen::VectorXd observed;
        double events = 0.0;     ///< of this fate, all groups
        double potential = 0.0;  ///< n / S just before, all groups
        double incidence = 0.0;  ///< common F, after
        Eigen::MatrixXd weights; ///< of each group's hazard in each group's excess, per unit of 1 - F
        Eigen::MatrixXd reach;   ///< integral of the weights over the common hazard
    };

    [[nodiscard]] Moment moment(std::size_t k, double incidence) const {
        Moment out{.subdistribution = Eigen::VectorXd::Zero(groups_),
                   .observed = Eigen::VectorXd::Zero(groups_)};
        Eigen::VectorXd potential = Eigen::VectorXd::Zero(groups_); // n / S
        for (Eigen::Index g = 0; g < groups_; ++g) {
            const auto& counts = counts_[static_cast<std::size_t>(g)];
            const auto& course = courses_[static_cast<std::size_t>(g)];
            if (counts.at_risk[k] > 0.0) {
                potential[g] = counts.at_risk[k] / course.before[k];
                out.subdistribution[g] = potential[g] * (1.0 - course.incidence_before[k]);
                out.observed[g] = counts.own[k];
                out.events += counts.own[k];
            }
        }
        out.weights =
            Eigen::MatrixXd(potential.asDiagonal()) - (potential * potential.transpose() / potential.sum());
        out.potential = potential.sum();
        out.incidence = incidence;
        return out;
    }

    void add_variance(std::size_t k, Eigen::Index g, Eigen::MatrixXd& sum) const {
        const auto& now = moments_[k];
        const auto& counts = counts_[static_cast<std::size_t>(g)];
        const auto& course = courses_[static_cast<std::size_t>(g)];
        const double n = counts.at_risk[k];
        if (!(n > 0.0)) {
            return;
        }
        const Eigen::VectorXd still = reach_.col(g) - now.reach.col(g);
        const double before = course.before[k];
        const double left = course.after[k] > 0.0 ? (1.0 - now.incidence) / course.after[k] : 0.0;
        if (now.events > 0.0) {
            const double total = now.potential;
            // Expected without a difference between groups, tied events as drawn without return.
            const double ties =
                now.events > 1.0 ? 1.0 - ((now.events - 1.0) / ((total * before) - 1.0)) : 1.0;
            const double spread = ties * before * now.events / (total * n);
            const double share = course.after[k] > 0.0 ? 1.0 - left : 1.0;
            const Eigen::VectorXd part = now.weights.col(g) + share * still;
            sum += spread * (part * part.transpose());
        }
        if (counts.others[k] > 0.0 && course.after[k] > 0.0) {
            const double spread = before * before * tied_variance(counts.others[k], n);
            sum += spread * left * left * (still * still.transpose());
        }
    }

    const std::vector<Counts>& counts_;
    const std::vector<Course>& courses_;
    Eigen::Index groups_;
    std::vector<Moment> moments_;
    Eigen::VectorXd excess_;
    Eigen::MatrixXd reach_;
};

Expected<void> check_groups(std::span<const FateTime> fish, const std::vector<std::string>& fates,
                            std::size_t fate, const Factor& group) {
    if (auto ok = check_fates(fish, fates); !ok) {
        return ok;
    }
    if (group.codes.size() != fish.size()) {
        return fail({.code = ErrorCode::bad_relation,
                     .found = fmt::format("a group for {} of {} fish", group.codes.size(), fish.size()),
                     .expected = "one for every fish"});
    }
    if (group.levels.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "one group",
                     .expected = "at least two to compare",
                     .remedy = "its cumulative incidence says what there is to say"});
    }
    if (std::none_of(fish.begin(), fish.end(), [&](const FateTime& one) { return one.fate == fate; })) {
        return fail({.code = ErrorCode::too_few,
                     .found = fate < fates.size() ? "no fish met the fate " + fates[fate]
                                                  : fmt::format("fate {} of {}", fate, fates.size()),
                     .expected = "at least one that did"});
    }
    return {};
}

} // namespace

Expected<GrayTest> gray_test(std::span<const FateTime> fish, const std::vector<std::string>& fates,
                             std::size_t fate, const Factor& group) {
    if (auto ok = check_groups(fish, fates, fate, group); !ok) {
        return fail(std::move(ok).error());
    }
    const auto times = fate_times(fish);
    std::vector<Counts> counts;
    std::vector<Course> courses;
    GrayTest out;
    for (std::size_t g = 0; g < group.levels.size(); ++g) {
        counts.push_back(count(fish, times, fate, [&](std::size_t i) { return group.codes[i] == g; }));
        courses.push_back(course_of(counts.back()));
        if (!(courses.back().incidence.back() > 0.0)) {
            out.without_events.push_back(group.levels[g]);
        }
    }
    const GrayScore score(counts, courses);
    // The excesses add up to nothing.
    const auto free = static_cast<Eigen::Index>(group.levels.size()) - 1;
    const Eigen::FullPivLU<Eigen::MatrixXd> solver(score.variance().topLeftCorner(free, free));
    if (!solver.isInvertible()) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "a group that was at risk at no time at which fish of another were",
                     .expected = "groups that were followed at the same times",
                     .remedy = "leave it out, or join it with another"});
    }
    const Eigen::VectorXd excess = score.excess().head(free);
    out.excess = {score.excess().begin(), score.excess().end()};
    out.chi_squared = excess.dot(solver.solve(excess));
    out.freedom = static_cast<double>(free);
    out.p = chi_squared_upper(out.chi_squared, out.freedom);
    return out;
}

} // namespace backeddy::stats
