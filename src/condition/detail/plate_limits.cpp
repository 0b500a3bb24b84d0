#include "condition/detail/plate_limits.hpp"

#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "fit/student.hpp"

namespace backeddy::condition::detail {

namespace {

/// How wells without analyte scatter.
struct ZeroNoise {
    double mean = 0.0;
    double sd = 0.0; ///< of one well
    double wells = 0.0;
    double freedom = 0.0;
    std::string from;
};

ZeroNoise zero_noise(const Responses& zero, const Reading& reading) {
    const auto n = static_cast<double>(zero.n);
    if (zero.n >= std::max<std::size_t>(2, reading.settings.least_zero_wells)) {
        return {.mean = zero.as_read,
                .sd = *zero.sd,
                .wells = n,
                .freedom = n - 1.0,
                .from = fmt::format("sd of {} zero wells", zero.n)};
    }
    return {.mean = zero.as_read,
            .sd = reading.curve.response_sd(zero.as_read),
            .wells = n,
            .freedom = reading.curve.response_freedom(zero.as_read),
            .from = "sd of the curve's residuals at the zero wells"};
}

DetectionLimit at_response(std::string definition, double response, const LogisticCurve& curve) {
    DetectionLimit limit{.definition = std::move(definition),
                         .response = response,
                         .concentration = curve.concentration(response)};
    if (!limit.concentration) {
        limit.why_none = "the curve does not take that response";
    }
    return limit;
}

/// Where the critical level lies t sd on the side without analyte, of the sd at that place (Currie's
/// sigma_D): y - critical = t sd(y), the first such y on the way to the other asymptote; nothing where none
/// is.
std::optional<double> detected_response(const LogisticFit& fit, double critical, double t) {
    constexpr int steps = 400;
    const double way = fit.curve.at_infinity - critical;
    const double toward = fit.curve.rises() ? 1.0 : -1.0;
    if (!(toward * way > 0.0)) {
        return std::nullopt;
    }
    const auto exceeds = [&](double share) {
        return toward * way * share >= t * fit.response_sd(critical + (way * share));
    };
    double inside = 0.0;
    double outside = 0.0;
    for (int i = 1; i < steps && outside == 0.0; ++i) {
        const double share = static_cast<double>(i) / steps;
        (exceeds(share) ? outside : inside) = share;
    }
    if (outside == 0.0) {
        return std::nullopt;
    }
    for (int i = 0; i < 60; ++i) {
        const double middle = (inside + outside) / 2.0;
        (exceeds(middle) ? outside : inside) = middle;
    }
    return critical + (way * outside);
}

/// The longest row of accepted standards.
struct Quantified {
    std::size_t count = 0;
    double from = 0.0;
    double to = 0.0;
};

Quantified longest_row(const std::vector<StandardLevel>& standards) {
    Quantified best;
    Quantified row;
    for (const auto& level : standards) {
        if (!level.is_accepted) {
            row = {};
            continue;
        }
        row = {
            .count = row.count + 1, .from = row.count == 0 ? level.nominal : row.from, .to = level.nominal};
        best = row.count > best.count ? row : best;
    }
    return best;
}

std::vector<DetectionLimit> by_zero_wells(const Responses& zero, const Reading& reading) {
    const ZeroNoise noise = zero_noise(zero, reading);
    const auto& settings = reading.settings;
    const auto& curve = reading.curve.curve;
    const double toward = curve.rises() ? 1.0 : -1.0;
    const auto sds_away = [&](const char* what, double sds) {
        return at_response(fmt::format("{}: mean of the zero wells {} {:g} sd ({})", what,
                                       curve.rises() ? "+" : "-", sds, noise.from),
                           noise.mean + (toward * sds * noise.sd), curve);
    };
    // Currie 1968 with t for the normal, since the sd is an estimate; one well beside the mean of the zeros.
    const double t = fit::two_sided_t(0.90, noise.freedom);
    const double critical = noise.mean + (toward * t * noise.sd * std::sqrt(1.0 + (1.0 / noise.wells)));
    const std::string definition = "detection: 95 % of such wells exceed the critical level (Currie 1968)";
    const auto detected = detected_response(reading.curve, critical, t);
    return {sds_away("detection", settings.detection_sds),
            at_response("critical level of one well: exceeded by 5 % of wells without analyte (Currie 1968)",
                        critical, curve),
            detected
                ? at_response(definition, *detected, curve)
                : DetectionLimit{.definition = definition,
                                 .response = std::numeric_limits<double>::quiet_NaN(),
                                 .why_none = "on no place of the curve do 95 % of wells exceed the critical "
                                             "level"},
            sds_away("quantification", settings.quantification_sds)};
}

} // namespace

DetectionLimits detection_limits(const std::vector<StandardLevel>& standards, const Reading& reading) {
    DetectionLimits limits;
    if (const Quantified row = longest_row(standards); row.count > 0) {
        limits.quantified_from = row.from;
        limits.quantified_to = row.to;
    }
    if (standards.front().nominal > 0.0) {
        limits.why_none = "no zero wells: blanks, which lack more than the analyte, say nothing of it";
        return limits;
    }
    limits.by_zero_wells = by_zero_wells(standards.front().responses, reading);
    return limits;
}

} // namespace backeddy::condition::detail
