#include "quantity/measured.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace backeddy {

namespace {

// a + k b over two lists sorted by source.
std::vector<Contribution> combined(std::span<const Contribution> a, double ka,
                                   std::span<const Contribution> b, double kb) {
    std::vector<Contribution> out;
    out.reserve(a.size() + b.size());
    std::size_t i = 0;
    std::size_t j = 0;
    while (i < a.size() || j < b.size()) {
        if (j == b.size() || (i < a.size() && a[i].source < b[j].source)) {
            out.push_back({a[i].source, ka * a[i].effect});
            ++i;
        } else if (i == a.size() || b[j].source < a[i].source) {
            out.push_back({b[j].source, kb * b[j].effect});
            ++j;
        } else {
            out.push_back({a[i].source, (ka * a[i].effect) + (kb * b[j].effect)});
            ++i;
            ++j;
        }
    }
    return out;
}

} // namespace

Measured::Measured(double value, double standard_uncertainty, std::string source) : value_(value) {
    if (standard_uncertainty > 0.0) {
        contributions_.push_back({std::move(source), standard_uncertainty});
    }
}

Measured::Measured(double value, std::vector<Contribution> contributions) : value_(value) {
    std::stable_sort(contributions.begin(), contributions.end(),
                     [](const Contribution& a, const Contribution& b) { return a.source < b.source; });
    for (auto& contribution : contributions) {
        if (!contributions_.empty() && contributions_.back().source == contribution.source) {
            contributions_.back().effect += contribution.effect;
        } else {
            contributions_.push_back(std::move(contribution));
        }
    }
}

double Measured::variance() const {
    double sum = 0.0;
    for (const auto& contribution : contributions_) {
        sum += contribution.effect * contribution.effect;
    }
    return sum;
}

double Measured::standard_uncertainty() const {
    return std::sqrt(variance());
}

double Measured::share(std::string_view source) const {
    const double total = variance();
    if (total == 0.0) {
        return 0.0;
    }
    for (const auto& contribution : contributions_) {
        if (contribution.source == source) {
            return contribution.effect * contribution.effect / total;
        }
    }
    return 0.0;
}

Measured Measured::shifted(double by) const {
    Measured out = *this;
    out.value_ += by;
    return out;
}

Measured Measured::with(double standard_uncertainty, std::string source) const {
    return *this + Measured(0.0, standard_uncertainty, std::move(source));
}

Measured operator+(const Measured& a, const Measured& b) {
    Measured out(a.value_ + b.value_);
    out.contributions_ = combined(a.contributions_, 1.0, b.contributions_, 1.0);
    return out;
}

Measured operator-(const Measured& a, const Measured& b) {
    Measured out(a.value_ - b.value_);
    out.contributions_ = combined(a.contributions_, 1.0, b.contributions_, -1.0);
    return out;
}

Measured operator*(const Measured& a, const Measured& b) {
    Measured out(a.value_ * b.value_);
    out.contributions_ = combined(a.contributions_, b.value_, b.contributions_, a.value_);
    return out;
}

Measured operator/(const Measured& a, const Measured& b) {
    const double ratio = a.value_ / b.value_;
    Measured out(ratio);
    out.contributions_ = combined(a.contributions_, 1.0 / b.value_, b.contributions_, -ratio / b.value_);
    return out;
}

Measured operator*(const Measured& a, double k) {
    Measured out = a;
    out.value_ *= k;
    for (auto& contribution : out.contributions_) {
        contribution.effect *= k;
    }
    return out;
}

double covariance(const Measured& a, const Measured& b) {
    double sum = 0.0;
    auto left = a.contributions();
    auto right = b.contributions();
    std::size_t i = 0;
    std::size_t j = 0;
    while (i < left.size() && j < right.size()) {
        if (left[i].source < right[j].source) {
            ++i;
        } else if (right[j].source < left[i].source) {
            ++j;
        } else {
            sum += left[i].effect * right[j].effect;
            ++i;
            ++j;
        }
    }
    return sum;
}

Measured propagated(double value, std::span<const Measured> inputs, std::span<const double> slopes) {
    std::vector<Contribution> all;
    for (std::size_t i = 0; i < inputs.size(); ++i) {
        for (const auto& contribution : inputs[i].contributions()) {
            all.push_back({contribution.source, slopes[i] * contribution.effect});
        }
    }
    return {value, std::move(all)};
}

Measured log(const Measured& a) {
    const double slope = 1.0 / a.value();
    return propagated(std::log(a.value()), std::span(&a, 1), std::span(&slope, 1));
}

Measured exp(const Measured& a) {
    const double value = std::exp(a.value());
    return propagated(value, std::span(&a, 1), std::span(&value, 1));
}

} // namespace backeddy
