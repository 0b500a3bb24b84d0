#include <algorithm>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/competing.hpp"
#include "stats/detail/fates.hpp"
#include "stats/estimate.hpp"

namespace backeddy::stats {

namespace {

using detail::Counts;
using detail::Course;

/// One group at the times of all fates.
struct GroupCourse {
    Counts counts;
    Course course;
    std::vector<double> waiting; ///< Y / S(t-)
    std::vector<double> risk;    ///< R = Y (1 - F(t-)) / S(t-)
};

/// All groups together as if they met the fate alike.
struct Pooled {
    std::vector<double> waiting; ///< sum of Y / S(t-)
    std::vector<double> hazard;  ///< events / sum of R: the step of the subdistribution's hazard
    std::vector<double> step;    ///< events / waiting: of the share that has met the fate
    std::vector<double> before;  ///< share that has not met it, before each time
    std::vector<double> after;
    std::vector<double> factor; ///< (n - d) / (n - 1) of the tied events
};

double tied_factor(double d, double n) {
    return d > 1.0 ? (n - d) / (n - 1.0) : 1.0;
}

GroupCourse course_of_group(std::span<const FateTime> fish, const std::vector<double>& times,
                            std::size_t fate) {
    GroupCourse out;
    out.counts = detail::count_fates(fish, times, fate);
    out.course = detail::course_of(out.counts);
    for (std::size_t k = 0; k < times.size(); ++k) {
        const double y = out.counts.at_risk[k];
        out.waiting.push_back(y > 0.0 ? y / out.course.before[k] : 0.0);
        out.risk.push_back(out.waiting.back() * (1.0 - out.course.incidence_before[k]));
    }
    return out;
}

Pooled pooled_of(const std::vector<GroupCourse>& groups, std::size_t times) {
    Pooled out;
    double without = 1.0;
    for (std::size_t k = 0; k < times; ++k) {
        double risk = 0.0;
        double waiting = 0.0;
        double events = 0.0;
        double at_risk = 0.0;
        for (const auto& group : groups) {
            risk += group.risk[k];
            waiting += group.waiting[k];
            events += group.counts.own[k];
            at_risk += group.counts.at_risk[k];
        }
        out.waiting.push_back(waiting);
        out.hazard.push_back(events > 0.0 ? events / risk : 0.0);
        // Where groups are lost to sight unevenly the steps could add up to more than 1.
        out.step.push_back(events > 0.0 ? std::min(events / waiting, without) : 0.0);
        out.before.push_back(without);
        without -= out.step.back();
        out.after.push_back(without);
        out.factor.push_back(tied_factor(events, at_risk));
    }
    return out;
}

/// a of Gray's section 2: by how much a step of group r's share at time k moves each group's score.
Eigen::VectorXd direct(const std::vector<GroupCourse>& groups, const Pooled& all, std::size_t r,
                       std::size_t k) {
    Eigen::VectorXd out(static_cast<Eigen::Index>(groups.size()));
    for (std::size_t g = 0; g < groups.size(); ++g) {
        const double own = (g == r ? 1.0 : 0.0) - (groups[r].waiting[k] / all.waiting[k]);
        out[static_cast<Eigen::Index>(g)] = groups[g].waiting[k] * own;
    }
    return out;
}

/// At one time of one group: how its steps of the fate and of the others move the scores.
struct Moves {
    Eigen::VectorXd by_fate;
    Eigen::VectorXd by_others;
};

/// Variance of one group's steps at one time, from shares of its fish at risk: `fate` by the pooled hazard,
/// `others` its own. Where both are met at the same time they exclude each other: a covariance of -p1 p2 / n,
/// as of any multinomial, which the paper, of times without ties, has not.
Eigen::MatrixXd step_variance(const Moves& moves, double fate, double others, double at_risk, double events,
                              double factor) {
    const double unbiased = at_risk > 1.0 ? at_risk / (at_risk - 1.0) : 0.0;
    const Eigen::MatrixXd both = moves.by_fate * moves.by_others.transpose();
    return at_risk * (fate * factor * moves.by_fate * moves.by_fate.transpose() +
                      others * tied_factor(events, at_risk) * moves.by_others * moves.by_others.transpose() -
                      fate * others * unbiased * (both + both.transpose()));
}

/// Group r's part of the scores' variance. A step of its fate at a time also moves, through its later shares,
/// what remains to be summed (c in the paper), and so does a step of any other fate.
void add_variance(const std::vector<GroupCourse>& groups, const Pooled& all, std::size_t r,
                  Eigen::MatrixXd& variance) {
    const auto& own = groups[r];
    Eigen::VectorXd later = Eigen::VectorXd::Zero(variance.rows());
    for (std::size_t k = all.step.size(); k-- > 0;) {
        const double y = own.counts.at_risk[k];
        const Eigen::VectorXd d = direct(groups, all, r, k);
        if (y > 0.0) {
            const double still = own.course.after[k] > 0.0 ? all.after[k] / own.course.after[k] : 0.0;
            const Moves moves{.by_fate = d + ((1.0 - still) * later), .by_others = -still * later};
            const double before = own.course.before[k];
            const double weight = before / y; // 1 / h
            const double fate = all.step[k] / before;
            const double others = own.counts.others[k] / y;
            variance +=
                weight * weight * step_variance(moves, fate, others, y, own.counts.others[k], all.factor[k]);
        }
        later += (all.before[k] > 0.0 ? all.step[k] / all.before[k] : 0.0) * d;
    }
}

Expected<void> check_groups(std::span<const FateTime> fish, const std::vector<std::string>& fates,
                            std::size_t fate, const Factor& group) {
    if (auto ok = detail::check_fates(fish, fates); !ok) {
        return fail(std::move(ok).error());
    }
    if (fate >= fates.size()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("fate {} of {}", fate, fates.size()),
                     .expected = "one of the fates, counted from 0"});
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
                     .remedy = "its own shares say what there is to say"});
    }
    return {};
}

Error nothing_to_compare(const std::string& fate) {
    return {.code = ErrorCode::degenerate,
            .found = fmt::format("nobody met the fate \"{}\" while fish of two groups were at risk", fate),
            .expected = "at least one that did",
            .remedy = "give the shares of each group with their limits"};
}

/// (O - E)' V^- (O - E) over the groups that could have met the fate; V's rank is one less.
Expected<ChiSquaredTest> test_of(const Eigen::VectorXd& excess, const Eigen::MatrixXd& variance,
                                 const std::vector<FateGroup>& groups, const std::string& fate) {
    std::vector<Eigen::Index> used;
    for (std::size_t g = 0; g < groups.size(); ++g) {
        if (groups[g].expected > 0.0) {
            used.push_back(static_cast<Eigen::Index>(g));
        }
    }
    if (used.size() < 2) {
        return fail(nothing_to_compare(fate));
    }
    used.pop_back();
    const Eigen::VectorXd own = excess(used);
    const Eigen::FullPivLU<Eigen::MatrixXd> solver(Eigen::MatrixXd(variance(used, used)));
    if (!solver.isInvertible()) {
        return fail(nothing_to_compare(fate));
    }
    return chi_squared_test(own.dot(Eigen::VectorXd(solver.solve(own))), static_cast<double>(used.size()));
}

} // namespace

Expected<FateTest> gray_test(std::span<const FateTime> fish, const std::vector<std::string>& fates,
                             std::size_t fate, const Factor& group) {
    if (auto ok = check_groups(fish, fates, fate, group); !ok) {
        return fail(std::move(ok).error());
    }
    const auto times = detail::fate_times(fish);
    std::vector<std::vector<FateTime>> members(group.levels.size());
    for (std::size_t i = 0; i < fish.size(); ++i) {
        members[group.codes[i]].push_back(fish[i]);
    }
    std::vector<GroupCourse> courses;
    for (const auto& own : members) {
        courses.push_back(course_of_group(own, times, fate));
    }
    const auto all = pooled_of(courses, times.size());
    const auto size = static_cast<Eigen::Index>(courses.size());
    Eigen::VectorXd excess = Eigen::VectorXd::Zero(size);
    Eigen::MatrixXd variance = Eigen::MatrixXd::Zero(size, size);
    FateTest out;
    for (std::size_t g = 0; g < courses.size(); ++g) {
        FateGroup own{.name = group.levels[g], .n = members[g].size()};
        for (std::size_t k = 0; k < times.size(); ++k) {
            own.observed += courses[g].counts.own[k];
            own.expected += courses[g].risk[k] * all.hazard[k];
        }
        excess[static_cast<Eigen::Index>(g)] = own.observed - own.expected;
        out.groups.push_back(std::move(own));
        add_variance(courses, all, g, variance);
    }
    const auto test = test_of(excess, variance, out.groups, fates[fate]);
    if (!test) {
        return fail(test.error());
    }
    out.chi_squared = test->chi_squared;
    out.freedom = test->freedom;
    out.p = test->p;
    return out;
}

} // namespace backeddy::stats
