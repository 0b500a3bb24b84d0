#include "condition/plate_precision.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

double mean_of(std::span<const double> values) {
    return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

double squares_about(std::span<const double> values, double centre) {
    double squares = 0.0;
    for (const double value : values) {
        squares += (value - centre) * (value - centre);
    }
    return squares;
}

/// Variances of wells about their plate, and of plates.
struct Components {
    double within = 0.0;
    double between = 0.0;
};

Components components_of(std::span<const std::vector<double>> plates, std::size_t wells) {
    const auto total = static_cast<double>(wells);
    const auto count = static_cast<double>(plates.size());
    double grand = 0.0;
    double size_squares = 0.0;
    for (const auto& plate : plates) {
        const auto n = static_cast<double>(plate.size());
        grand += n * mean_of(plate) / total;
        size_squares += n * n;
    }
    double within = 0.0;
    double between = 0.0;
    for (const auto& plate : plates) {
        const double mean = mean_of(plate);
        within += squares_about(plate, mean);
        between += static_cast<double>(plate.size()) * (mean - grand) * (mean - grand);
    }
    within /= total - count;
    between /= count - 1.0;
    const double n0 = (total - (size_squares / total)) / (count - 1.0);
    return {.within = within, .between = std::max(0.0, (between - within) / n0)};
}

} // namespace

Expected<InterAssay> inter_assay(std::string label, std::span<const std::vector<double>> by_plate) {
    std::vector<std::vector<double>> plates;
    std::ranges::copy_if(by_plate, std::back_inserter(plates), [](const auto& p) { return !p.empty(); });
    if (plates.size() < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("\"{}\" on {} plate(s)", label, plates.size()),
                     .expected = "at least two plates",
                     .remedy = "put the same control on every plate"});
    }
    InterAssay result{.label = std::move(label), .plates = plates.size()};
    std::vector<double> means;
    for (const auto& plate : plates) {
        for (const double value : plate) {
            if (!(value > 0.0) || !std::isfinite(value)) {
                return fail({.code = ErrorCode::out_of_range,
                             .found = fmt::format("\"{}\" with the concentration {}", result.label, value),
                             .expected = "a concentration above 0",
                             .remedy = "leave out what lies beyond the curve"});
            }
        }
        result.wells += plate.size();
        means.push_back(mean_of(plate));
    }
    result.mean = mean_of(means);
    result.cv_of_means =
        std::sqrt(squares_about(means, result.mean) / static_cast<double>(means.size() - 1)) / result.mean;
    if (result.wells > result.plates) {
        const Components components = components_of(plates, result.wells);
        result.within_cv = std::sqrt(components.within) / result.mean;
        result.between_cv = std::sqrt(components.between) / result.mean;
        result.total_cv = std::sqrt(components.within + components.between) / result.mean;
    }
    return result;
}

std::vector<InterAssay> inter_assay(std::span<const PlateResult> plates) {
    std::map<std::string, std::vector<std::vector<double>>> by_label;
    for (const auto& plate : plates) {
        for (const auto& control : plate.controls) {
            std::vector<double> wells;
            for (const auto& step : control.steps) {
                wells.insert(wells.end(), step.of_wells.begin(), step.of_wells.end());
            }
            if (!wells.empty()) {
                by_label[control.label].push_back(std::move(wells));
            }
        }
    }
    std::vector<InterAssay> results;
    for (const auto& [label, wells] : by_label) {
        if (auto result = inter_assay(label, wells)) {
            results.push_back(std::move(*result));
        }
    }
    return results;
}

} // namespace backeddy::condition
