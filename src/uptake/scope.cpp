#include "uptake/scope.hpp"

#include <cmath>

#include "base/number_text.hpp"

namespace backeddy::uptake {

namespace {

Expected<Scope> scope_of(const UptakeRate& peak, const UptakeRate& resting) {
    if (!std::isfinite(peak.mg_per_h.value()) || !std::isfinite(resting.mg_per_h.value()) ||
        resting.mg_per_h.value() <= 0.0) {
        return fail({.code = ErrorCode::out_of_range,
                     .found = "peak " + significant_text(peak.mg_per_h.value(), 6) + " mg/h over rest " +
                              significant_text(resting.mg_per_h.value(), 6) + " mg/h",
                     .expected = "scope needs finite values and a resting uptake above 0",
                     .remedy = "look at the background correction and the spells of the resting stay",
                     .place = {},
                     .context = {}});
    }
    Scope out;
    out.absolute = peak - resting;
    // By the mass-specific values where both have them: the mass then cancels where it is the same weighing,
    // and counts where it is not. Both roads give the same value when the masses are the same.
    const bool by_mass = peak.mg_per_kg_h && resting.mg_per_kg_h;
    out.factorial = by_mass ? *peak.mg_per_kg_h / *resting.mg_per_kg_h : peak.mg_per_h / resting.mg_per_h;
    out.absolute_interval_mg_per_h = normal_interval(out.absolute.mg_per_h);
    if (out.absolute.mg_per_kg_h) {
        out.absolute_interval_mg_per_kg_h = normal_interval(*out.absolute.mg_per_kg_h);
    }
    if (out.factorial.value() > 0.0) {
        const Interval logs = normal_interval(log(out.factorial));
        out.factorial_interval = {.low = std::exp(logs.low), .high = std::exp(logs.high)};
    }
    return out;
}

} // namespace

Expected<ScopeAnswer> scope(const ScopeInput& input, const AdjustSettings& settings) {
    ScopeAnswer out;
    out.peak_name = input.peak_name;
    out.resting_name = input.resting_name;
    auto measured = scope_of(input.peak, input.resting);
    if (!measured) {
        return fail(std::move(measured).error().within("scope"));
    }
    out.as_measured = std::move(*measured);
    if (out.as_measured.absolute.mg_per_h.value() <= 0.0) {
        out.reasons.push_back({"not_above_rest", "the peak is not above the resting uptake"});
    }
    const double warmer = (input.peak_at - input.resting_at).kelvin();
    if (!std::isfinite(warmer) || std::abs(warmer) <= settings.side_by_side_beyond.kelvin()) {
        if (!std::isfinite(warmer)) {
            out.reasons.push_back({"temperature_unknown", "a temperature is missing: not compared"});
        }
        return out;
    }
    out.reasons.push_back({"temperatures_differ", "peak at " + fixed_text(input.peak_at.celsius(), 1) +
                                                      " degC, rest at " +
                                                      fixed_text(input.resting_at.celsius(), 1) +
                                                      " degC: as measured and adjusted stand side by side"});
    auto adjusted = to_temperature(input.resting, input.resting_at, input.peak_at, settings);
    if (!adjusted) {
        out.reasons.push_back({"not_adjusted", adjusted.error().text()});
        return out;
    }
    out.adjusted_how = "resting uptake " + adjusted->how;
    out.reasons.insert(out.reasons.end(), adjusted->reasons.begin(), adjusted->reasons.end());
    if (auto beside = scope_of(input.peak, adjusted->adjusted)) {
        out.adjusted = std::move(*beside);
    }
    return out;
}

} // namespace backeddy::uptake
