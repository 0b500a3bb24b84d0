#include "condition/response_variance.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace backeddy::condition {

ResponseVariance ResponseVariance::of_power(double power) {
    return {.parts = {{.coefficient = 1.0, .power = power}}, .covariance = {}};
}

double ResponseVariance::at(double mean) const {
    double sum = 0.0;
    for (const auto& part : parts) {
        sum += part.coefficient * std::pow(std::abs(mean), part.power);
    }
    return sum;
}

std::vector<double> ResponseVariance::log_gradient(double mean) const {
    const double whole = at(mean);
    std::vector<double> out;
    for (const auto& part : parts) {
        out.push_back(std::pow(std::abs(mean), part.power) / whole);
    }
    return out;
}

bool ResponseVariance::has_floor() const {
    return std::ranges::any_of(parts,
                               [](const auto& part) { return part.power == 0.0 && part.coefficient > 0.0; });
}

bool ResponseVariance::is_alike_everywhere() const {
    return std::ranges::all_of(parts,
                               [](const auto& part) { return part.power == 0.0 || part.coefficient == 0.0; });
}

double ResponseVariance::log_variance_error(double mean, const std::vector<double>& reference) const {
    if (covariance.empty()) {
        return 0.0;
    }
    auto by = log_gradient(mean);
    const std::size_t count = by.size();
    for (std::size_t i = 0; i < count; ++i) {
        by[i] -= reference[i];
    }
    double sum = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        for (std::size_t j = 0; j < count; ++j) {
            sum += by[i] * covariance[(i * count) + j] * by[j];
        }
    }
    return std::max(sum, 0.0);
}

} // namespace backeddy::condition
