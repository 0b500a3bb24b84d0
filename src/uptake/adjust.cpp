#include "uptake/adjust.hpp"

#include <cmath>

#include "base/number_text.hpp"

namespace backeddy::uptake {

namespace {

bool is_positive(double v) {
    return std::isfinite(v) && v > 0.0;
}

Error not_positive(const std::string& what, double found) {
    return {.code = ErrorCode::out_of_range,
            .found = what + " is " + significant_text(found, 6),
            .expected = "it must be above 0",
            .remedy = "look at the rows it comes from",
            .place = {},
            .context = {}};
}

// (to/mass)^power as Measured in mass and exponent b, where power = b - shift.
Expected<Measured> mass_factor(const Measured& mass_kg, Mass to, const Measured& exponent, double shift) {
    if (!is_positive(mass_kg.value())) {
        return fail(not_positive("the fish's mass in kg", mass_kg.value()));
    }
    if (!is_positive(to.kilograms())) {
        return fail(not_positive("the mass to adjust to, in kg,", to.kilograms()));
    }
    const double ratio = to.kilograms() / mass_kg.value();
    const double power = exponent.value() - shift;
    const double factor = std::pow(ratio, power);
    const std::vector<Measured> inputs{mass_kg, exponent};
    const std::vector<double> slopes{-power * factor / mass_kg.value(), factor * std::log(ratio)};
    return propagated(factor, inputs, slopes);
}

Expected<Adjusted> adjusted_to_mass(const UptakeRate& rate, const Measured& mass_kg, Mass to,
                                    const Measured& exponent) {
    auto whole = mass_factor_whole(mass_kg, to, exponent);
    if (!whole) {
        return fail(std::move(whole).error());
    }
    Adjusted out{.as_measured = rate,
                 .adjusted = {.mg_per_h = rate.mg_per_h * *whole, .mg_per_kg_h = std::nullopt},
                 .how = "from " + significant_text(mass_kg.value(), 4) + " to " +
                        significant_text(to.kilograms(), 4) + " kg with exponent " +
                        significant_text(exponent.value(), 3),
                 .reasons = {}};
    // The whole-animal rate over the standard mass is the mass-specific rate there: one road, so that the
    // mass's uncertainty enters once.
    out.adjusted.mg_per_kg_h = out.adjusted.mg_per_h / to.kilograms();
    return out;
}

void check_bounds(std::vector<Reason>& out, std::optional<double> value, const Interval& bounds,
                  const std::string& word, const std::string& what, const std::string& unit) {
    if (!value || (*value >= bounds.low && *value <= bounds.high)) {
        return;
    }
    out.push_back({word, what + " of " + significant_text(*value, 4) + unit + " lies outside " +
                             significant_text(bounds.low, 4) + " to " + significant_text(bounds.high, 4) +
                             unit + ": look at volume, mass, units and calibration before believing it"});
}

} // namespace

Expected<double> q10_of(double rate_1, Temperature at_1, double rate_2, Temperature at_2) {
    if (!is_positive(rate_1) || !is_positive(rate_2)) {
        return fail(not_positive("a rate", is_positive(rate_1) ? rate_2 : rate_1));
    }
    const double span = (at_2 - at_1).kelvin();
    if (span == 0.0 || !std::isfinite(span)) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "both rates at " + significant_text(at_1.celsius(), 4) + " degC",
                     .expected = "a Q10 needs rates at two temperatures",
                     .remedy = "give a second rate, at another temperature",
                     .place = {},
                     .context = {}});
    }
    return std::pow(rate_2 / rate_1, 10.0 / span);
}

Expected<Measured> q10_factor(const Measured& q10, Temperature from, Temperature to) {
    if (!is_positive(q10.value())) {
        return fail(not_positive("Q10", q10.value()));
    }
    const double power = (to - from).kelvin() / 10.0;
    const double factor = std::pow(q10.value(), power);
    const double slope = power * factor / q10.value();
    return propagated(factor, std::span(&q10, 1), std::span(&slope, 1));
}

double arrhenius_factor(double activation_energy, Temperature from, Temperature to) {
    return std::exp(activation_energy / boltzmann_ev_per_k * ((1.0 / from.kelvin()) - (1.0 / to.kelvin())));
}

double activation_energy_ev(double slope_per_1000_k) {
    return slope_per_1000_k * 1000.0 * boltzmann_ev_per_k;
}

Expected<Measured> mass_factor_whole(const Measured& mass_kg, Mass to, const Measured& exponent) {
    return mass_factor(mass_kg, to, exponent, 0.0);
}

Expected<Measured> mass_factor_specific(const Measured& mass_kg, Mass to, const Measured& exponent) {
    return mass_factor(mass_kg, to, exponent, 1.0);
}

Expected<Adjusted> to_temperature(const UptakeRate& rate, Temperature from, Temperature to,
                                  const AdjustSettings& settings) {
    auto factor = q10_factor(Measured(settings.q10, settings.q10_uncertainty, "Q10"), from, to);
    if (!factor) {
        return fail(std::move(factor).error().within("adjusting to another temperature"));
    }
    Adjusted out{.as_measured = rate,
                 .adjusted = rate * *factor,
                 .how = "from " + significant_text(from.celsius(), 3) + " to " +
                        significant_text(to.celsius(), 3) +
                        " degC with Q10 = " + significant_text(settings.q10, 3),
                 .reasons = {}};
    const double step = std::abs((to - from).kelvin());
    if (step > settings.model_beyond.kelvin()) {
        out.reasons.push_back({"adjusted_far", "adjusted over " + significant_text(step, 3) +
                                                   " degC by a borrowed Q10: a model, not a correction"});
    }
    return out;
}

Expected<MassAdjusted> to_standard_mass(const UptakeRate& rate, const Measured& mass_kg,
                                        const AdjustSettings& settings) {
    const Measured exponent(settings.mass_exponent, settings.mass_exponent_uncertainty, "mass exponent");
    auto by_exponent = adjusted_to_mass(rate, mass_kg, settings.to_mass, exponent);
    if (!by_exponent) {
        return fail(std::move(by_exponent).error().within("adjusting to another mass"));
    }
    auto by_check = adjusted_to_mass(rate, mass_kg, settings.to_mass, Measured(settings.check_exponent));
    if (!by_check) {
        return fail(std::move(by_check).error().within("adjusting to another mass"));
    }
    return MassAdjusted{.by_exponent = std::move(*by_exponent), .by_check_exponent = std::move(*by_check)};
}

std::vector<Reason> implausible(std::optional<double> resting_mg_per_kg_h,
                                std::optional<double> peak_mg_per_kg_h, std::optional<double> factorial_scope,
                                const PlausibleBounds& bounds) {
    std::vector<Reason> out;
    check_bounds(out, resting_mg_per_kg_h, bounds.resting_mg_per_kg_h, "implausible_rest", "a resting uptake",
                 " mg/kg/h");
    check_bounds(out, peak_mg_per_kg_h, bounds.peak_mg_per_kg_h, "implausible_peak", "a peak uptake",
                 " mg/kg/h");
    check_bounds(out, factorial_scope, bounds.factorial_scope, "implausible_scope", "a factorial scope", "");
    return out;
}

} // namespace backeddy::uptake
