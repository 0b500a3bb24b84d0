#include "stats/survival.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <Eigen/Dense>
#include <fmt/format.h>

#include "stats/detail/check.hpp"
#include "stats/detail/follow_up.hpp"

namespace backeddy::stats {

namespace {

constexpr double endless = std::numeric_limits<double>::infinity();
/// Of equal shares: survival is a product of rounded ratios.
constexpr double same_share = 1.5e-8;

/// By time, with a running count of who is at risk.
class RiskCount {
  public:
    explicit RiskCount(std::span<const FollowUp> fish) {
        for (const auto& one : fish) {
            entries_.push_back(one.entry);
            ends_.push_back(one.time);
        }
        std::sort(entries_.begin(), entries_.end());
        std::sort(ends_.begin(), ends_.end());
    }
    [[nodiscard]] std::size_t at(double time) const {
        const auto entered = std::lower_bound(entries_.begin(), entries_.end(), time) - entries_.begin();
        const auto gone = std::lower_bound(ends_.begin(), ends_.end(), time) - ends_.begin();
        return static_cast<std::size_t>(entered - gone);
    }

  private:
    std::vector<double> entries_;
    std::vector<double> ends_;
};

Interval limits_of(double survival, double se, double z, LimitScale scale) {
    const auto cut = [](double lower, double upper) {
        return Interval{.lower = std::clamp(lower, 0.0, 1.0), .upper = std::clamp(upper, 0.0, 1.0)};
    };
    switch (scale) {
    case LimitScale::plain:
        return cut(survival - (z * se), survival + (z * se));
    case LimitScale::log:
        return cut(survival * std::exp(-z * se / survival), survival * std::exp(z * se / survival));
    case LimitScale::log_minus_log:
        break;
    }
    const double width = z * se / (survival * std::log(survival)); // below 0
    return cut(std::pow(survival, std::exp(-width)), std::pow(survival, std::exp(width)));
}

/// The first time at which the values are at most `share`; the middle of a step that is level at it.
template <typename Value>
std::optional<double> first_at_most(const SurvivalCurve& curve, double share, const Value& value) {
    const auto& steps = curve.steps;
    const auto falls = [&](double than) {
        return [&value, than](const SurvivalStep& step) {
            const auto v = value(step);
            return v.has_value() && *v < than;
        };
    };
    const auto first = std::find_if(steps.begin(), steps.end(), falls(share + same_share));
    if (first == steps.end()) {
        return std::nullopt;
    }
    const double there = *value(*first);
    if (std::abs(there - share) < same_share) {
        const auto next = std::find_if(first, steps.end(), falls(there));
        return 0.5 * (first->time + (next != steps.end() ? next->time : curve.last_time));
    }
    return first->time;
}

std::vector<std::size_t> counts_by_time(std::span<const FollowUp> fish, const std::vector<double>& times) {
    std::vector<std::size_t> out(times.size());
    for (const auto& one : fish) {
        if (one.is_event) {
            ++out[static_cast<std::size_t>(std::lower_bound(times.begin(), times.end(), one.time) -
                                           times.begin())];
        }
    }
    return out;
}

} // namespace

Expected<SurvivalCurve> kaplan_meier(std::span<const FollowUp> fish, const SurvivalOptions& options) {
    if (auto ok = detail::check_level(options.level); !ok) {
        return fail(std::move(ok).error());
    }
    if (auto ok = detail::check_follow_ups(fish); !ok) {
        return fail(std::move(ok).error());
    }
    SurvivalCurve out{.n = fish.size(), .level = options.level, .scale = options.scale};
    for (const auto& one : fish) {
        out.last_time = std::max(out.last_time, one.time);
    }
    const auto times = detail::event_times(fish);
    const auto counts = counts_by_time(fish, times);
    const RiskCount risk(fish);
    const double z = two_sided_quantile(options.level, endless);
    double survival = 1.0;
    double greenwood = 0.0;
    double hazard = 0.0;
    for (std::size_t k = 0; k < times.size(); ++k) {
        SurvivalStep step{.time = times[k], .at_risk = risk.at(times[k]), .events = counts[k]};
        const auto n = static_cast<double>(step.at_risk);
        const auto d = static_cast<double>(step.events);
        survival *= (n - d) / n;
        hazard += d / n;
        step.survival = survival;
        step.cumulative_hazard = hazard;
        if (survival > 0.0) {
            greenwood += d / (n * (n - d));
            step.se = survival * std::sqrt(greenwood);
            step.limits = limits_of(survival, *step.se, z, options.scale);
        } else if (times[k] < out.last_time && !out.ran_empty) {
            out.ran_empty = times[k];
        }
        out.events += step.events;
        out.steps.push_back(step);
    }
    return out;
}

Expected<SurvivalQuantile> survival_quantile(const SurvivalCurve& curve, double share) {
    if (!(share > 0.0 && share < 1.0)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("a share of {}", share),
                     .expected = "a share between 0 and 1",
                     .remedy = "say 0.5 for the median"});
    }
    using Value = std::optional<double>;
    SurvivalQuantile out{.share = share};
    const auto find = [&](auto value) { return first_at_most(curve, 1.0 - share, value); };
    out.time = find([](const SurvivalStep& s) { return Value(s.survival); });
    out.lower = find([](const SurvivalStep& s) { return s.limits ? Value(s.limits->lower) : Value(); });
    out.upper = find([](const SurvivalStep& s) { return s.limits ? Value(s.limits->upper) : Value(); });
    return out;
}

SurvivalQuantile median_time(const SurvivalCurve& curve) {
    return survival_quantile(curve, 0.5).value();
}

Expected<RestrictedMean> restricted_mean(const SurvivalCurve& curve, double horizon) {
    if (!(horizon > 0.0) || !std::isfinite(horizon)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("a horizon of {}", horizon),
                     .expected = "a finite time above 0",
                     .remedy = "give the longest time to which fish of all groups were followed"});
    }
    RestrictedMean out{.horizon = horizon};
    double until = horizon;
    double variance = 0.0;
    // Backward, so that the area beyond each event is at hand.
    for (auto step = curve.steps.rbegin(); step != curve.steps.rend(); ++step) {
        if (step->time > horizon) {
            continue;
        }
        out.value += step->survival * (until - step->time);
        until = step->time;
        if (step->at_risk > step->events) {
            const auto n = static_cast<double>(step->at_risk);
            const auto d = static_cast<double>(step->events);
            variance += out.value * out.value * d / (n * (n - d));
        }
    }
    out.value += until; // nobody had the event before the first
    out.se = std::sqrt(variance);
    const double z = two_sided_quantile(curve.level, endless);
    out.limits = {.lower = std::max(0.0, out.value - (z * out.se)),
                  .upper = std::min(horizon, out.value + (z * out.se))};
    out.is_held_level =
        horizon > curve.last_time && !curve.steps.empty() && curve.steps.back().survival > 0.0;
    return out;
}

namespace {

struct Difference {
    Eigen::VectorXd observed;
    Eigen::VectorXd expected;
    Eigen::MatrixXd variance;
};

/// Adds one stratum's events.
void add_stratum(std::span<const FollowUp> fish, std::span<const std::size_t> codes, double rho,
                 Difference& sum) {
    const auto groups = sum.observed.size();
    std::vector<std::vector<FollowUp>> by_group(static_cast<std::size_t>(groups));
    for (std::size_t i = 0; i < fish.size(); ++i) {
        by_group[codes[i]].push_back(fish[i]);
    }
    const auto times = detail::event_times(fish);
    std::vector<RiskCount> risk;
    std::vector<std::vector<std::size_t>> counts;
    for (const auto& group : by_group) {
        risk.emplace_back(group);
        counts.push_back(counts_by_time(group, times));
    }
    double survival = 1.0;
    for (std::size_t k = 0; k < times.size(); ++k) {
        Eigen::VectorXd at_risk(groups);
        Eigen::VectorXd events(groups);
        for (Eigen::Index g = 0; g < groups; ++g) {
            const auto place = static_cast<std::size_t>(g);
            at_risk[g] = static_cast<double>(risk[place].at(times[k]));
            events[g] = static_cast<double>(counts[place][k]);
        }
        const double n = at_risk.sum();
        const double d = events.sum();
        const double weight = std::pow(survival, rho);
        sum.observed += weight * events;
        sum.expected += weight * d / n * at_risk;
        if (n > 1.0) {
            const double spread = weight * weight * d * (n - d) / (n - 1.0);
            sum.variance += spread * (Eigen::MatrixXd((at_risk / n).asDiagonal()) -
                                      (at_risk * at_risk.transpose() / (n * n)));
        }
        survival *= (n - d) / n;
    }
}

Expected<void> check_length(const Factor& factor, std::size_t rows, const char* what) {
    if (factor.codes.size() == rows) {
        return {};
    }
    return fail({.code = ErrorCode::bad_relation,
                 .found = fmt::format("{} for {} of {} fish", what, factor.codes.size(), rows),
                 .expected = "one for every fish"});
}

/// (O - E)' V^- (O - E) over the groups that were at risk at some event; V's rank is one less.
void test_difference(const Difference& sum, LogRank& out) {
    std::vector<Eigen::Index> used;
    for (Eigen::Index g = 0; g < sum.expected.size(); ++g) {
        if (sum.expected[g] > 0.0) {
            used.push_back(g);
        }
    }
    if (used.size() < 2) {
        return;
    }
    used.pop_back();
    const Eigen::VectorXd excess = (sum.observed - sum.expected)(used);
    const Eigen::MatrixXd variance = sum.variance(used, used);
    const Eigen::FullPivLU<Eigen::MatrixXd> solver(variance);
    if (!solver.isInvertible()) {
        return;
    }
    out.chi_squared = excess.dot(solver.solve(excess));
    out.freedom = static_cast<double>(used.size());
    out.p = chi_squared_upper(out.chi_squared, out.freedom);
}

} // namespace

Expected<LogRank> log_rank(std::span<const FollowUp> fish, const Factor& group,
                           const LogRankOptions& options) {
    if (auto ok = detail::check_follow_ups(fish); !ok) {
        return fail(std::move(ok).error());
    }
    if (auto ok = check_length(group, fish.size(), "a group"); !ok) {
        return fail(std::move(ok).error());
    }
    if (group.levels.size() < 2) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "one group",
                     .expected = "at least two to compare",
                     .remedy = "a curve of its own says what there is to say"});
    }
    if (options.strata != nullptr) {
        if (auto ok = check_length(*options.strata, fish.size(), "a stratum"); !ok) {
            return fail(std::move(ok).error());
        }
    }
    const auto groups = static_cast<Eigen::Index>(group.levels.size());
    Difference sum{.observed = Eigen::VectorXd::Zero(groups),
                   .expected = Eigen::VectorXd::Zero(groups),
                   .variance = Eigen::MatrixXd::Zero(groups, groups)};
    const std::size_t strata = options.strata == nullptr ? 1 : options.strata->levels.size();
    for (std::size_t s = 0; s < strata; ++s) {
        std::vector<FollowUp> own;
        std::vector<std::size_t> codes;
        for (std::size_t i = 0; i < fish.size(); ++i) {
            if (options.strata == nullptr || options.strata->codes[i] == s) {
                own.push_back(fish[i]);
                codes.push_back(group.codes[i]);
            }
        }
        add_stratum(own, codes, options.rho, sum);
    }
    LogRank out;
    test_difference(sum, out);
    if (out.freedom == 0.0) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "at no event were fish of two groups at risk together",
                     .expected = "groups that were followed at the same times",
                     .remedy = options.strata == nullptr ? "look at the groups' entries and ends"
                                                         : "larger strata, or none"});
    }
    for (Eigen::Index g = 0; g < groups; ++g) {
        const auto place = static_cast<std::size_t>(g);
        out.groups.push_back(
            {.name = group.levels[place],
             .n = static_cast<std::size_t>(std::count(group.codes.begin(), group.codes.end(), place)),
             .observed = sum.observed[g],
             .expected = sum.expected[g]});
        if (!(sum.observed[g] > 0.0)) {
            out.without_events.push_back(group.levels[place]);
        }
        for (Eigen::Index h = 0; h < groups; ++h) {
            out.variance.push_back(sum.variance(g, h));
        }
    }
    return out;
}

} // namespace backeddy::stats
