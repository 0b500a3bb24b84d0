#include "app/reading_doubts.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "fit/quantile.hpp"
#include "series/trace.hpp"

namespace backeddy::app {

namespace {

constexpr std::size_t most_looked_at = 20'000;

/// What well aired water between 0 and 35 degC, fresh or salt, reads in each unit (rounded outward; from the
/// solubility of oxygen, 6 to 15 mg/L, and a dry-air share of 0.2095 of the pressure).
struct Range {
    std::string_view name;
    double least;
    double most;
    std::optional<intake::Unit> unit;
};

constexpr Range oxygen_ranges[] = {
    {"% of air saturation", 55.0, 120.0, intake::Unit::percent_air},
    {"a fraction of air saturation (1 for 100 %)", 0.55, 1.2, std::nullopt},
    {"kPa", 12.0, 25.0, intake::Unit::kilopascal},
    {"hPa", 120.0, 250.0, intake::Unit::hectopascal},
    {"mmHg", 90.0, 190.0, intake::Unit::mmhg},
    {"mg/L", 4.5, 16.0, intake::Unit::mg_per_l},
    {"umol/L", 140.0, 500.0, intake::Unit::umol_per_l},
    {"mL/L", 3.0, 11.0, intake::Unit::ml_per_l},
};

std::vector<double> sample_of(std::span<const double> values) {
    std::vector<double> out;
    const std::size_t step = (values.size() / most_looked_at) + 1;
    for (std::size_t i = 0; i < values.size(); i += step) {
        if (std::isfinite(values[i])) {
            out.push_back(values[i]);
        }
    }
    return out;
}

std::optional<double> quantile_of(std::span<const double> values, double share) {
    const auto sample = sample_of(values);
    const auto out = fit::quantile(sample, share);
    return out ? std::optional(*out) : std::nullopt;
}

} // namespace

void Implausible::add(std::size_t row, double value) {
    first_row = count == 0 ? row : first_row;
    low = count == 0 ? value : std::min(low, value);
    high = count == 0 ? value : std::max(high, value);
    ++count;
}

Implausible set_aside_outside(std::span<double> values, double least, double most) {
    Implausible out;
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (std::isfinite(values[i]) && (values[i] < least || values[i] > most)) {
            out.add(i, values[i]);
            values[i] = missing;
        }
    }
    return out;
}

Implausible set_aside_spikes(std::span<double> values, double step, double agree) {
    Implausible out;
    for (std::size_t i = 1; i + 1 < values.size(); ++i) {
        const double before = values[i - 1];
        const double after = values[i + 1];
        // Not-a-number on any side compares false: nothing is told from a gap.
        const bool stands_off = std::fabs(values[i] - before) > step && std::fabs(values[i] - after) > step;
        if (stands_off && std::fabs(before - after) <= agree) {
            out.add(i, values[i]);
            values[i] = missing;
        }
    }
    return out;
}

std::string looks_like_oxygen(double usual, intake::Unit unit) {
    std::vector<std::string_view> fits;
    for (const auto& range : oxygen_ranges) {
        if (usual >= range.least && usual <= range.most && range.unit != unit) {
            fits.push_back(range.name);
        }
    }
    return fmt::format("{}", fmt::join(fits, " or "));
}

std::string looks_like_temperature(double usual) {
    if (usual >= 30.0 && usual <= 95.0) {
        return "degrees Fahrenheit";
    }
    return usual >= 270.0 && usual <= 310.0 ? "kelvin" : "";
}

std::string looks_like_pressure(double usual_kpa) {
    if (usual_kpa >= 850.0 && usual_kpa <= 1080.0) {
        return "hPa";
    }
    if (usual_kpa >= 600.0 && usual_kpa <= 800.0) {
        return "mmHg";
    }
    return usual_kpa >= 25.0 && usual_kpa <= 32.0 ? "inches of mercury" : "";
}

std::optional<double> usual_of(std::span<const double> values) {
    return quantile_of(values, 0.5);
}

std::optional<double> top_of(std::span<const double> values) {
    return quantile_of(values, 0.99);
}

} // namespace backeddy::app
