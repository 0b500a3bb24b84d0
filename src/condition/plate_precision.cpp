#include "condition/plate_precision.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
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

Expected<InterAssay> inter_assay(std::string label, std::span<const OnPlate> by_plate) {
    std::vector<std::vector<double>> plates;
    std::vector<double> results;
    for (const auto& one : by_plate) {
        if (!one.wells.empty()) {
            plates.push_back(one.wells);
            results.push_back(one.result.value_or(mean_of(one.wells)));
        }
    }
    if (plates.size() < 2) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("\"{}\" on {} plate(s)", label, plates.size()),
                     .expected = "at least two plates",
                     .remedy = "put the same control on every plate"});
    }
    InterAssay result{.label = std::move(label), .plates = plates.size()};
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
    }
    result.mean = mean_of(results);
    result.cv_of_means =
        std::sqrt(squares_about(results, result.mean) / static_cast<double>(results.size() - 1)) /
        result.mean;
    if (result.wells > result.plates) {
        const Components components = components_of(plates, result.wells);
        result.within_cv = std::sqrt(components.within) / result.mean;
        result.between_cv = std::sqrt(components.between) / result.mean;
        result.total_cv = std::sqrt(components.within + components.between) / result.mean;
    }
    return result;
}

namespace {

/// A control over the plates that bear it.
struct Borne {
    std::vector<OnPlate> counted;
    std::vector<std::size_t> left_out;

    void add(const Material& control, std::size_t plate) {
        OnPlate on;
        std::size_t wells = 0;
        for (const auto& step : control.steps) {
            wells += step.responses.n;
            on.wells.insert(on.wells.end(), step.of_wells.begin(), step.of_wells.end());
        }
        if (!control.concentration || on.wells.size() < wells) {
            left_out.push_back(plate);
            return;
        }
        on.result = control.concentration->value;
        counted.push_back(std::move(on));
    }
};

InterAssay without_numbers(const std::string& label, const Borne& borne) {
    constexpr double none = std::numeric_limits<double>::quiet_NaN();
    InterAssay out{.label = label, .plates = borne.counted.size(), .mean = none, .cv_of_means = none};
    for (const auto& one : borne.counted) {
        out.wells += one.wells.size();
    }
    return out;
}

} // namespace

std::vector<InterAssay> inter_assay(std::span<const PlateResult> plates) {
    std::map<std::string, Borne> by_label;
    for (std::size_t i = 0; i < plates.size(); ++i) {
        for (const auto& control : plates[i].controls) {
            by_label[control.label].add(control, i);
        }
    }
    std::vector<InterAssay> results;
    for (const auto& [label, borne] : by_label) {
        if (borne.counted.size() + borne.left_out.size() < 2) {
            continue;
        }
        auto result = inter_assay(label, borne.counted);
        results.push_back(result ? std::move(*result) : without_numbers(label, borne));
        results.back().left_out = borne.left_out;
    }
    return results;
}

} // namespace backeddy::condition
