#include "stats/detail/mixed_point.hpp"

#include <cmath>
#include <functional>
#include <limits>

namespace backeddy::stats::detail {

namespace {

/// The trust region ends far below what Newton's steps need to begin with.
constexpr double search_tolerance = 1e-4;
/// Beyond this a standard deviation is as good as endless: rows of one level are equal.
constexpr double theta_limit = 1e6;
/// Two values of the criterion that differ by less are the same.
constexpr double even_gain = 1e-9;

} // namespace

MixedCriterion::MixedCriterion(const MixedModel& model, Criterion criterion,
                               std::optional<std::size_t> without, double held)
    : model_(&model), criterion_(criterion), y_(model.outcome().begin(), model.outcome().end()) {
    for (std::size_t k = 0; k < model.design().columns(); ++k) {
        if (k != without) {
            columns_.push_back(model.design().column(k));
        }
    }
    if (without) {
        const auto column = model.design().column(*without);
        for (std::size_t i = 0; i < y_.size(); ++i) {
            y_[i] -= held * column[i];
        }
    }
    roles_ = theta_roles(model.groups());
    if (model.known_variance().empty()) {
        profile_.emplace(columns_, y_, model.groups(), model.weights());
        return;
    }
    double sum = 0.0;
    for (const double v : model.known_variance()) {
        sum += v;
    }
    known_scale_ = std::sqrt(sum / static_cast<double>(y_.size()));
    roles_.push_back(ThetaRole::scale); // tau: even too
}

Profile MixedCriterion::profile_at(double tau) const {
    std::vector<double> weights;
    for (const double v : model_->known_variance()) {
        weights.push_back(known_scale_ * known_scale_ / ((tau * tau) + v));
    }
    return {columns_, y_, model_->groups(), weights};
}

double MixedCriterion::operator()(std::span<const double> searched) const {
    if (profile_) {
        return profiled_deviance(*profile_, searched, criterion_);
    }
    const auto theta = searched.first(searched.size() - 1);
    return deviance_at(profile_at(searched.back() * known_scale_), theta, known_scale_ * known_scale_,
                       criterion_);
}

double MixedCriterion::full(std::span<const double> factors, double residual_sd) const {
    const double scale = profile_ ? residual_sd : known_scale_;
    std::vector<double> theta;
    for (const double factor : factors) {
        theta.push_back(factor / scale);
    }
    return profile_ ? deviance_at(*profile_, theta, scale * scale, criterion_)
                    : deviance_at(profile_at(residual_sd), theta, scale * scale, criterion_);
}

Bounds MixedCriterion::bounds() const {
    Bounds out;
    for (const ThetaRole role : roles_) {
        // A bound at 0 under `first` would shut off half of the plane that it spans with `cross`: a search
        // that comes to it with the wrong sign of the correlation would stay there.
        const bool is_bounded = role == ThetaRole::scale || role == ThetaRole::second;
        out.lower.push_back(is_bounded ? 0.0 : -theta_limit);
        out.upper.push_back(theta_limit);
    }
    return out;
}

Expected<Minimum> MixedCriterion::minimise() const {
    std::vector<double> start;
    for (const ThetaRole role : roles_) {
        start.push_back(role == ThetaRole::cross ? 0.0 : 1.0);
    }
    return minimise_from(std::move(start), 0.5);
}

void MixedCriterion::settle(Minimum& found) const {
    const auto offer = [&](const std::vector<double>& at) {
        const double value = (*this)(at);
        ++found.evaluations;
        if (value <= found.value + even_gain) {
            found.at = at;
            found.value = value;
        }
    };
    for (std::size_t k = 0; k < roles_.size(); ++k) {
        if (roles_[k] == ThetaRole::first && found.at[k] < 0.0) {
            found.at[k] = -found.at[k];
            found.at[k + 1] = -found.at[k + 1];
        }
        if (roles_[k] == ThetaRole::cross || found.at[k] == 0.0 || found.at[k] > 0.1) {
            continue;
        }
        auto at_zero = found.at;
        at_zero[k] = 0.0;
        if (roles_[k] == ThetaRole::first) {
            // Without intercepts there is no correlation, and the slopes' variance is all that is left.
            at_zero[k + 2] = std::hypot(at_zero[k + 1], at_zero[k + 2]);
            at_zero[k + 1] = 0.0;
        }
        offer(at_zero);
    }
}

Minimum MixedCriterion::polished(Minimum found) const {
    auto limits = bounds();
    for (std::size_t k = 0; k < roles_.size(); ++k) {
        if (roles_[k] == ThetaRole::first && found.at[k] == 0.0) {
            for (const std::size_t fixed : {k, k + 1}) {
                limits.lower[fixed] = limits.upper[fixed] = found.at[fixed];
            }
        }
    }
    return polish(std::cref(*this), std::move(found), limits);
}

Expected<Minimum> MixedCriterion::minimise_from(std::vector<double> start, double step) const {
    auto best = detail::minimise(std::cref(*this), std::move(start), bounds(), step, search_tolerance);
    if (!best) {
        return best;
    }
    settle(*best);
    *best = polished(*best);
    // Where the criterion is no bowl yet the search goes on from there with a smaller step.
    for (int round = 0; round < 4 && !best->is_polished; ++round) {
        auto again = detail::minimise(std::cref(*this), best->at, bounds(), 0.1, 0.01 * search_tolerance);
        if (!again) {
            return again;
        }
        settle(*again);
        *again = polished(*again);
        again->evaluations += best->evaluations;
        const bool is_done = again->value > best->value - even_gain;
        if (again->value <= best->value) {
            best = std::move(again);
        }
        if (is_done) {
            break;
        }
    }
    settle(*best);
    return best;
}

MixedCriterion::Point MixedCriterion::point(std::span<const double> searched) const {
    Point out;
    if (profile_) {
        out.theta.assign(searched.begin(), searched.end());
        const double cost = criterion_ == Criterion::reml ? static_cast<double>(columns_.size()) : 0.0;
        out.variance = profile_->at(searched).squares / (static_cast<double>(y_.size()) - cost);
        out.residual_sd = std::sqrt(out.variance);
        out.solution = profile_->solve(searched);
        for (std::size_t i = 0; i < y_.size(); ++i) {
            out.residual_variance.push_back(model_->weights().empty() ? out.variance
                                                                      : out.variance / model_->weights()[i]);
        }
        return out;
    }
    out.theta.assign(searched.begin(), searched.end() - 1);
    out.variance = known_scale_ * known_scale_;
    out.residual_sd = searched.back() * known_scale_;
    out.solution = profile_at(out.residual_sd).solve(out.theta);
    for (const double v : model_->known_variance()) {
        out.residual_variance.push_back((out.residual_sd * out.residual_sd) + v);
    }
    return out;
}

} // namespace backeddy::stats::detail
