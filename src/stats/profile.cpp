#include "stats/profile.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include "stats/detail/mixed_point.hpp"

namespace backeddy::stats {

namespace {

/// Of its estimate: a residual sd that is not refused down to here is not refused at all.
constexpr double least_residual = 1e-3;
constexpr double endless = std::numeric_limits<double>::infinity();

/// One parameter that can be held: how it is called, where it may lie, and its value in the user's unit.
struct Parameter {
    std::string name;
    double lower = 0.0;
    double upper = endless;
    double unit = 1.0; ///< user's value for 1
};

/// -2 log-likelihood with one number held and all others at their best; each call begins where the last
/// ended.
using Held = std::function<Expected<double>(double)>;

/// Where the root of the loss, taken from 0 at `from`, reaches `wanted` on one side. `limit` when it never
/// does.
Expected<double> crossing(Held held, double from, double least, double wanted, double step, double limit) {
    std::optional<Error> trouble;
    const auto beyond = [&](double value) {
        const auto deviance = held(value);
        if (!deviance) {
            trouble = deviance.error();
            return 0.0;
        }
        return std::sqrt(std::max(0.0, *deviance - least)) - wanted;
    };
    double inner = from;
    double inner_value = -wanted;
    for (int doubling = 0; doubling < 60 && !trouble; ++doubling) {
        const double outer = step > 0.0 ? std::min(from + step, limit) : std::max(from + step, limit);
        const double outer_value = beyond(outer);
        if (outer_value >= 0.0) {
            std::uintmax_t most = 60;
            const double close = 1e-6 * std::abs(outer - from);
            const auto near = [&](double a, double b) { return std::abs(a - b) <= close; };
            const bool is_up = inner < outer;
            const auto found = boost::math::tools::toms748_solve(
                beyond, is_up ? inner : outer, is_up ? outer : inner, is_up ? inner_value : outer_value,
                is_up ? outer_value : inner_value, near, most);
            if (trouble) {
                break;
            }
            return 0.5 * (found.first + found.second);
        }
        if (outer == limit) {
            return limit;
        }
        inner = outer;
        inner_value = outer_value;
        step *= 1.6;
    }
    if (trouble) {
        return fail(*std::move(trouble));
    }
    return limit;
}

/// Standard deviations, correlations and the residual's, in units of `scale`, to the factors of full().
class Variances {
  public:
    Variances(const MixedModel& model, const detail::MixedCriterion& criterion, double scale)
        : model_(&model), criterion_(&criterion), scale_(scale) {
        for (const auto& group : model.groups()) {
            const auto& name = group.term.group;
            if (group.has_intercept()) {
                parameters_.push_back({.name = fmt::format("sd between levels of {}", name), .unit = scale});
            }
            if (group.term.kind == RandomKind::intercept_and_slope) {
                parameters_.push_back({.name = fmt::format("correlation of intercept and slope by {}", name),
                                       .lower = -1.0,
                                       .upper = 1.0});
            }
            if (group.has_slope()) {
                parameters_.push_back({.name = fmt::format("sd of the slope of {} between levels of {}",
                                                           group.term.slope, name),
                                       .unit = scale / group.slope_scale});
            }
        }
        // Without measurement variances a residual of 0 is no distribution, and near it sums lose their
        // digits.
        parameters_.push_back({.name = "residual sd",
                               .lower = model.known_variance().empty() ? least_residual : 0.0,
                               .unit = scale});
    }

    [[nodiscard]] const std::vector<Parameter>& parameters() const { return parameters_; }
    [[nodiscard]] double deviance(std::span<const double> values) const {
        std::vector<double> factors;
        std::size_t at = 0;
        for (const auto& group : model_->groups()) {
            if (group.term.kind != RandomKind::intercept_and_slope) {
                factors.push_back(scale_ * values[at++]);
                continue;
            }
            const double rho = values[at + 1];
            factors.push_back(scale_ * values[at]);
            factors.push_back(scale_ * values[at + 2] * rho);
            factors.push_back(scale_ * values[at + 2] * std::sqrt(std::max(0.0, 1.0 - (rho * rho))));
            at += 3;
        }
        return criterion_->full(factors, scale_ * values[at]);
    }
    [[nodiscard]] std::vector<double> at(const MixedFit& fit) const {
        std::vector<double> out;
        for (std::size_t g = 0; g < fit.random.size(); ++g) {
            const auto& group = model_->groups()[g];
            if (group.has_intercept()) {
                out.push_back(fit.random[g].intercept_sd / scale_);
            }
            if (group.term.kind == RandomKind::intercept_and_slope) {
                out.push_back(fit.random[g].correlation);
            }
            if (group.has_slope()) {
                out.push_back(fit.random[g].slope_sd * group.slope_scale / scale_);
            }
        }
        out.push_back(fit.residual_sd / scale_);
        return out;
    }
    /// With number `k` held.
    [[nodiscard]] Held holding(std::size_t k, std::vector<double> start) const {
        detail::Bounds bounds;
        for (std::size_t i = 0; i < parameters_.size(); ++i) {
            if (i != k) {
                bounds.lower.push_back(parameters_[i].lower);
                bounds.upper.push_back(parameters_[i].upper);
            }
        }
        start.erase(start.begin() + static_cast<std::ptrdiff_t>(k));
        return [this, k, bounds, start](double value) mutable -> Expected<double> {
            const auto with = [&](std::span<const double> others) {
                std::vector<double> all(others.begin(), others.end());
                all.insert(all.begin() + static_cast<std::ptrdiff_t>(k), value);
                return deviance(all);
            };
            auto found = detail::minimise(with, start, bounds, 0.1, 1e-5);
            if (!found) {
                return fail(std::move(found).error());
            }
            start = found->at;
            return found->value;
        };
    }

  private:
    const MixedModel* model_;
    const detail::MixedCriterion* criterion_;
    double scale_;
    std::vector<Parameter> parameters_;
};

Expected<ProfileInterval> interval(const Held& held, const Parameter& parameter, double value, double least,
                                   double wanted, double step) {
    const auto lower = crossing(held, value, least, wanted, -step, parameter.lower);
    const auto upper = crossing(held, value, least, wanted, step, parameter.upper);
    if (!lower || !upper) {
        return fail(!lower ? lower.error() : upper.error());
    }
    return ProfileInterval{.name = parameter.name,
                           .value = value * parameter.unit,
                           .lower = *lower * parameter.unit,
                           .upper = *upper * parameter.unit};
}

} // namespace

Expected<ProfileIntervals> profile_intervals(const MixedModel& model, double level) {
    const auto fit = fit_mixed(model, Criterion::ml);
    if (!fit) {
        return fail(fit.error());
    }
    const detail::MixedCriterion criterion(model, Criterion::ml);
    const double least = -2.0 * fit->log_likelihood;
    const double wanted = two_sided_quantile(level, endless);
    double mean_variance = 0.0;
    for (const double v : fit->residual_variance) {
        mean_variance += v / static_cast<double>(fit->n);
    }
    ProfileIntervals out;
    const Variances variances(model, criterion, std::sqrt(mean_variance));
    const auto best = variances.at(*fit);
    for (std::size_t k = 0; k < best.size(); ++k) {
        const auto held = variances.holding(k, best);
        auto one = interval(held, variances.parameters()[k], best[k], least, wanted,
                            0.1 + (0.3 * std::abs(best[k])));
        if (!one) {
            return fail(std::move(one).error());
        }
        if (k + 1 == best.size() && model.known_variance().empty() &&
            one->lower <= least_residual * std::sqrt(mean_variance)) {
            one->lower = 0.0;
        }
        out.variances.push_back(*std::move(one));
    }
    const auto theta = criterion.minimise();
    if (!theta) {
        return fail(theta.error());
    }
    for (std::size_t k = 0; k < fit->coefficients.size(); ++k) {
        const auto& coefficient = fit->coefficients[k];
        const Held held = [&, start = theta->at](double value) mutable -> Expected<double> {
            const detail::MixedCriterion with(model, Criterion::ml, k, value);
            auto found = with.minimise_from(start, 0.1);
            if (!found) {
                return fail(std::move(found).error());
            }
            start = found->at;
            return found->value;
        };
        auto one = interval(held, {.name = coefficient.name, .lower = -endless}, coefficient.value, least,
                            wanted, 2.0 * coefficient.se);
        if (!one) {
            return fail(std::move(one).error());
        }
        out.coefficients.push_back(*std::move(one));
    }
    return out;
}

} // namespace backeddy::stats
