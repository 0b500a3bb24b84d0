#include "condition/meter.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include <fmt/format.h>

namespace backeddy::condition {

namespace {

struct DemingLine {
    double intercept = 0.0;
    double slope = 0.0;
};

/// Of all pairs but number `without`; nothing where no line rises through them.
std::optional<DemingLine> deming(std::span<const MeterPair> pairs, double error_ratio,
                                 std::optional<std::size_t> without) {
    const auto each = [&](auto&& use) {
        for (std::size_t i = 0; i < pairs.size(); ++i) {
            if (i != without) {
                use(pairs[i]);
            }
        }
    };
    double n = 0.0;
    double mean_x = 0.0;
    double mean_y = 0.0;
    each([&](const MeterPair& pair) {
        n += 1.0;
        mean_x += pair.reference;
        mean_y += pair.meter;
    });
    mean_x /= n;
    mean_y /= n;
    double xx = 0.0;
    double yy = 0.0;
    double xy = 0.0;
    each([&](const MeterPair& pair) {
        const double dx = pair.reference - mean_x;
        const double dy = pair.meter - mean_y;
        xx += dx * dx;
        yy += dy * dy;
        xy += dx * dy;
    });
    if (!(xx > 0.0) || !(xy > 0.0)) {
        return std::nullopt;
    }
    const double gap = yy - (error_ratio * xx);
    const double root = std::hypot(gap, 2.0 * std::sqrt(error_ratio) * xy);
    // The same root written so that nothing cancels, whichever sign the gap has.
    const double slope = gap > 0.0 ? (gap + root) / (2.0 * xy) : 2.0 * error_ratio * xy / (root - gap);
    return DemingLine{.intercept = mean_y - (slope * mean_x), .slope = slope};
}

Expected<void> check(std::span<const MeterPair> pairs, const MeterOptions& options) {
    if (pairs.size() < 5) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("{} pairs of reference and meter", pairs.size()),
                     .expected = "at least five, better twenty and more, spread over the range"});
    }
    if (!(options.error_ratio > 0.0) || !std::isfinite(options.error_ratio)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("an error ratio of {}", options.error_ratio),
                     .expected = "a number above 0: the meter's error variance over the reference's"});
    }
    const auto bad = std::find_if(pairs.begin(), pairs.end(), [](const MeterPair& pair) {
        return !std::isfinite(pair.reference) || !std::isfinite(pair.meter);
    });
    if (bad != pairs.end()) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = fmt::format("pair {}: reference {}, meter {}", bad - pairs.begin() + 1,
                                          bad->reference, bad->meter),
                     .expected = "two finite numbers"});
    }
    return {};
}

Error no_line(std::string found) {
    return {.code = ErrorCode::degenerate,
            .found = std::move(found),
            .expected = "meter readings that rise with the reference",
            .remedy = "look for swapped or mistyped pairs; add samples over a wider range"};
}

} // namespace

MeterCorrection::Corrected MeterCorrection::corrected(double reading) const {
    const double value = (reading - intercept) / slope;
    const double of_line =
        (intercept_se * intercept_se) + (2.0 * value * covariance) + (value * value * slope_se * slope_se);
    return {.value = value,
            .uncertainty = std::sqrt((meter_sd * meter_sd) + std::max(0.0, of_line)) / slope,
            .is_beyond = !range.holds(reading)};
}

Expected<MeterCorrection> fit_meter(std::span<const MeterPair> pairs, const MeterOptions& options) {
    if (auto fine = check(pairs, options); !fine) {
        return fail(std::move(fine).error());
    }
    const auto line = deming(pairs, options.error_ratio, std::nullopt);
    if (!line) {
        return fail(no_line("no rising line through the pairs"));
    }
    const auto n = static_cast<double>(pairs.size());
    MeterCorrection out{.n = pairs.size(),
                        .intercept = line->intercept,
                        .slope = line->slope,
                        .range = {pairs[0].meter, pairs[0].meter},
                        .error_ratio = options.error_ratio};
    // Pseudo-values n all - (n - 1) without one: their scatter about their mean over n is the variance.
    std::vector<DemingLine> pseudo;
    DemingLine mean;
    double squares = 0.0;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto without = deming(pairs, options.error_ratio, i);
        if (!without) {
            return fail(no_line(fmt::format("no rising line without pair {}", i + 1)));
        }
        pseudo.push_back({(n * line->intercept) - ((n - 1.0) * without->intercept),
                          (n * line->slope) - ((n - 1.0) * without->slope)});
        mean.intercept += pseudo.back().intercept / n;
        mean.slope += pseudo.back().slope / n;
        const double off = pairs[i].meter - line->intercept - (line->slope * pairs[i].reference);
        squares += off * off;
        out.range = {std::min(out.range.lower, pairs[i].meter), std::max(out.range.upper, pairs[i].meter)};
    }
    double of_intercept = 0.0;
    double of_slope = 0.0;
    for (const auto& one : pseudo) {
        const double a = one.intercept - mean.intercept;
        const double b = one.slope - mean.slope;
        of_intercept += a * a;
        of_slope += b * b;
        out.covariance += a * b / (n * (n - 1.0));
    }
    out.intercept_se = std::sqrt(of_intercept / (n * (n - 1.0)));
    out.slope_se = std::sqrt(of_slope / (n * (n - 1.0)));
    const double d = options.error_ratio;
    out.meter_sd = std::sqrt(d * squares / ((n - 2.0) * (d + (out.slope * out.slope))));
    return out;
}

} // namespace backeddy::condition
