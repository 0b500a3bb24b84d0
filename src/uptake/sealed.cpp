#include "uptake/sealed.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "series/trace.hpp"
#include "uptake/detail/lane_line.hpp"

namespace backeddy::uptake {

namespace {

constexpr double seconds_per_hour = 3600.0;

/// Seconds after the first reading. Divided, not multiplied by 1e-9: whole seconds come out whole, and equal
/// steps equal.
std::vector<double> seconds_since_first(std::span<const std::int64_t> times_ns) {
    std::vector<double> x(times_ns.size());
    for (std::size_t i = 0; i < x.size(); ++i) {
        x[i] = static_cast<double>(times_ns[i] - times_ns[0]) / 1e9;
    }
    return x;
}

/// Copies of a view's rows that have oxygen.
struct Finite {
    std::vector<std::int64_t> times_ns;
    std::vector<double> oxygen;
};

Finite finite_rows(const SealedView& view) {
    Finite out;
    out.times_ns.reserve(view.times_ns.size());
    out.oxygen.reserve(view.times_ns.size());
    for (std::size_t i = 0; i < view.times_ns.size(); ++i) {
        if (std::isfinite(view.oxygen_mg_per_l[i])) {
            out.times_ns.push_back(view.times_ns[i]);
            out.oxygen.push_back(view.oxygen_mg_per_l[i]);
        }
    }
    return out;
}

bool all_finite(std::span<const double> values) {
    // A sum is finite only when all terms are; readings are far too small to overflow.
    return std::isfinite(detail::lane_sum(values.size(), [&](std::size_t i) { return values[i]; }));
}

/// What the fit sees: gap-free columns, and where they lie in time.
struct FitData {
    std::span<const std::int64_t> times_ns;
    std::span<const double> oxygen;
    std::vector<double> seconds; ///< after the first reading
    std::vector<double> x;       ///< the regressor when it is not `seconds` (lag modelled), else empty
    [[nodiscard]] std::span<const double> regressor() const { return x.empty() ? seconds : x; }
};

FitData fit_data(const SealedView& view, const Finite& copy, const SlopeSettings& settings) {
    FitData data;
    const bool copied = !copy.times_ns.empty();
    data.times_ns = copied ? std::span<const std::int64_t>(copy.times_ns) : view.times_ns;
    data.oxygen = copied ? std::span<const double>(copy.oxygen) : view.oxygen_mg_per_l;
    data.seconds = seconds_since_first(data.times_ns);
    if (settings.modelled_lag_s > 0.0) {
        const double began = (view.sealed_from - Instant::unix_nanoseconds(data.times_ns.front())).seconds();
        data.x = fit::lagged_times(data.seconds, began, settings.modelled_lag_s);
    }
    return data;
}

Error too_few(std::size_t readings) {
    return {.code = ErrorCode::too_few,
            .found = std::to_string(readings) + " readings after settle",
            .expected = "at least three for a slope and its error"};
}

/// The spell's line and all that needs one pass over the readings.
Expected<SealedSlope> slope_of(const SealedView& view, const FitData& data, std::size_t missing_rows) {
    const auto line = detail::lane_line(data.regressor(), data.oxygen);
    if (!line) {
        return fail({.code = ErrorCode::degenerate,
                     .found = std::to_string(data.oxygen.size()) + " readings, all at one time",
                     .expected = "readings at different times"});
    }
    SealedSlope out{.sealed_from = view.sealed_from,
                    .from = Instant::unix_nanoseconds(data.times_ns.front()),
                    .to = Instant::unix_nanoseconds(data.times_ns.back()),
                    .readings = data.oxygen.size(),
                    .missing = missing_rows,
                    .line = *line,
                    .slope_mg_per_l_h = line->slope * seconds_per_hour,
                    .slope_error_ordinary = line->slope_se * seconds_per_hour,
                    .r_squared = line->r_squared,
                    .residual_sd_mg_per_l = line->residual_sd};
    out.oxygen_start_mg_per_l = line->at(data.regressor().front());
    out.oxygen_end_mg_per_l = line->at(data.regressor().back());
    return out;
}

void add_errors(SealedSlope& out, const FitData& data, const SlopeSettings& settings) {
    const auto x = data.regressor();
    out.slope_error = out.slope_error_ordinary;
    out.effective_readings = static_cast<double>(out.readings);
    out.slope_error_newey_west = fit::newey_west_slope_se(out.line, x, data.oxygen) * seconds_per_hour;
    std::optional<fit::Curvature> bend;
    if (settings.noise == nullptr) {
        const auto ordinary = fit::curvature(out.line, x, data.oxygen);
        bend = ordinary ? std::optional(*ordinary) : std::nullopt;
    } else {
        std::optional<fit::LineErrors> own;
        auto& errors = settings.kept_errors != nullptr ? *settings.kept_errors : own;
        if (!errors || !errors->serves(*settings.noise, data.seconds, x)) {
            auto made = fit::LineErrors::make(*settings.noise, out.line, data.seconds, x);
            errors = made ? std::optional(std::move(*made)) : std::nullopt;
        }
        if (errors) {
            out.slope_error = errors->slope().slope_se * seconds_per_hour;
            out.effective_readings = errors->slope().effective_n;
            bend = errors->curvature(out.line, data.oxygen);
        }
    }
    out.curvature_share = bend ? bend->share : 0.0;
    out.curvature_share_error = bend ? bend->share_se : std::numeric_limits<double>::infinity();
}

void add_conditions(SealedSlope& out, const SealedView& view) {
    out.saturation_start_percent = missing;
    out.saturation_end_percent = missing;
    out.temperature_mean_celsius = missing;
    double saturation = 0.0;
    double oxygen = 0.0;
    for (std::size_t i = 0; i < view.saturation_percent.size(); ++i) {
        if (std::isfinite(view.saturation_percent[i]) && std::isfinite(view.oxygen_mg_per_l[i])) {
            saturation += view.saturation_percent[i];
            oxygen += view.oxygen_mg_per_l[i];
        }
    }
    if (oxygen > 0.0) {
        out.saturation_start_percent = out.oxygen_start_mg_per_l * saturation / oxygen;
        out.saturation_end_percent = out.oxygen_end_mg_per_l * saturation / oxygen;
    }
    std::vector<double> hours;
    std::vector<double> celsius;
    for (std::size_t i = 0; i < view.temperature_celsius.size(); ++i) {
        if (std::isfinite(view.temperature_celsius[i])) {
            hours.push_back(static_cast<double>(view.times_ns[i] - view.times_ns[0]) / 1e9 /
                            seconds_per_hour);
            celsius.push_back(view.temperature_celsius[i]);
        }
    }
    if (celsius.empty()) {
        return;
    }
    const auto line = detail::lane_line(hours, celsius);
    out.temperature_mean_celsius =
        detail::lane_sum(celsius.size(), [&](std::size_t i) { return celsius[i]; }) /
        static_cast<double>(celsius.size());
    out.temperature_drift_c_per_h = line ? line->slope : 0.0;
}

enum class Depth : std::uint8_t { quick, full };

Expected<SealedSlope> summarise(const SealedView& view, const SlopeSettings& settings, Depth depth) {
    const std::size_t rows = view.times_ns.size();
    Finite copy;
    std::size_t readings = rows;
    if (rows > 0 && !all_finite(view.oxygen_mg_per_l)) {
        copy = finite_rows(view);
        readings = copy.times_ns.size();
    }
    if (readings < 3) {
        return fail(too_few(readings));
    }
    const FitData data = fit_data(view, copy, settings);
    auto out = slope_of(view, data, rows - readings);
    if (out && depth == Depth::full) {
        add_errors(*out, data, settings);
        add_conditions(*out, view);
    }
    return out;
}

} // namespace

Expected<SealedSlope> quick_slope(const SealedView& view, const SlopeSettings& settings) {
    return summarise(view, settings, Depth::quick);
}

Expected<SealedSlope> sealed_slope(const SealedView& view, const SlopeSettings& settings) {
    return summarise(view, settings, Depth::full);
}

} // namespace backeddy::uptake
