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
    if (model.known_variance().empty()) {
        profile_.emplace(columns_, y_, model.groups(), model.weights());
        return;
    }
    double sum = 0.0;
    for (const double v : model.known_variance()) {
        sum += v;
    }
    known_scale_ = std::sqrt(sum / static_cast<double>(y_.size()));
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
    auto diagonal = is_diagonal(model_->groups());
    if (!profile_) {
        diagonal.push_back(true);
    }
    for (const bool is_one : diagonal) {
        out.lower.push_back(is_one ? 0.0 : -theta_limit);
        out.upper.push_back(theta_limit);
    }
    return out;
}

Expected<Minimum> MixedCriterion::minimise() const {
    std::vector<double> start;
    for (const bool is_one : is_diagonal(model_->groups())) {
        start.push_back(is_one ? 1.0 : 0.0);
    }
    if (!profile_) {
        start.push_back(1.0);
    }
    return minimise_from(std::move(start), 0.5);
}

Expected<Minimum> MixedCriterion::minimise_from(std::vector<double> start, double step) const {
    const auto limits = bounds();
    const Function function = std::cref(*this);
    auto found = detail::minimise(function, std::move(start), limits, step, search_tolerance);
    if (!found) {
        return found;
    }
    // The criterion is even in a standard deviation, so that it is flat at 0: what ends beside 0 with nothing
    // to gain from it is 0.
    for (std::size_t k = 0; k < found->at.size(); ++k) {
        if (limits.lower[k] == 0.0 && found->at[k] > 0.0 && found->at[k] < 0.1) {
            auto at_zero = found->at;
            at_zero[k] = 0.0;
            const double value = (*this)(at_zero);
            ++found->evaluations;
            if (value <= found->value + 1e-9) {
                found->at = std::move(at_zero);
                found->value = value;
            }
        }
    }
    return polish(function, *std::move(found), limits);
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
