#include "validation/judged.hpp"

#include <cmath>

#include "uptake/continuous.hpp"
#include "uptake/peak.hpp"

namespace backeddy::validation {

namespace {

uptake::StayInput input_of(const SimulatedStay& simulated, std::size_t part,
                           const std::optional<fit::NoiseModel>& noise) {
    const auto& rows = simulated.parts[part];
    const auto& times = simulated.trace.times_ns;
    uptake::StayInput input{.stay = "part " + std::to_string(part)};
    input.slices.push_back({.trace = &simulated.trace,
                            .first_row = rows.first_row,
                            .end_row = rows.end_row,
                            .chamber = simulated.chamber,
                            .oxygen = simulated.oxygen,
                            .noise = noise});
    input.roles.push_back({.role = rows.role,
                           .from = Instant::unix_nanoseconds(times[rows.first_row]),
                           .to = Instant::unix_nanoseconds(times[rows.end_row - 1] + 1)});
    if (rows.role != uptake::StayRole::blank) {
        input.fish = simulated.fish;
    }
    return input;
}

struct Run {
    uptake::StayInput input;
    uptake::StayUptake result;
};

Expected<Run> run(const SimulatedStay& simulated, std::size_t part,
                  const std::optional<fit::NoiseModel>& noise, std::vector<uptake::Blank> blanks = {}) {
    Run made{.input = input_of(simulated, part, noise)};
    made.input.blanks = std::move(blanks);
    auto result = uptake::stay_uptake(made.input);
    if (!result) {
        return fail(std::move(result).error());
    }
    made.result = std::move(*result);
    return made;
}

Held held(const Measured& estimate, double truth) {
    return {.estimate = estimate.value(), .uncertainty = estimate.standard_uncertainty(), .truth = truth};
}

/// The whole uncertainty with another error of the slope in it.
Held with_error(const uptake::SealedSpell& spell, double slope_error, double truth) {
    const auto& whole = *spell.answer.uptake_mg_per_kg_h;
    const double per_slope = std::abs(whole.value() / spell.answer.slope_mg_per_l_h);
    const double slope_part = per_slope * spell.answer.slope_error;
    const double others = std::max(0.0, whole.variance() - (slope_part * slope_part));
    return {.estimate = whole.value(),
            .uncertainty = std::sqrt(others + (per_slope * slope_error * per_slope * slope_error)),
            .truth = truth};
}

void judge_peak(const SimulatedStay& simulated, const Run& fish, const fit::NoiseModel& noise, Judged& out) {
    uptake::PeakInput input{.event = uptake::PeakEvent::capture,
                            .at = fish.input.roles[0].from,
                            .mass_kg = simulated.fish.mass_kg,
                            .stay = "stay"};
    for (const auto& spell : fish.result.spells) {
        input.spells.push_back({.spell = &spell,
                                .readings = uptake::readings_of(fish.input, spell),
                                .noise = noise,
                                .modelled_lag_s = simulated.chamber.sensor_lag_s});
    }
    const auto peak = uptake::peak_uptake(input);
    if (!peak || !peak->corrected.mg_per_kg_h || !peak->raw.mg_per_kg_h) {
        return;
    }
    const double truth = simulated.true_mg_per_kg_h(peak->window_from, peak->window_to);
    out.peak = held(*peak->corrected.mg_per_kg_h, truth);
    out.peak_raw = held(*peak->raw.mg_per_kg_h, truth);
}

/// The stay's answers in the order in which a study computes them.
struct Answered {
    Run fish;
    fit::NoiseModel noise;
};

Expected<Answered> answered(const SimulatedStay& simulated) {
    // Without a noise model first: what the blanks and spells say of the sensor.
    std::vector<uptake::NoiseStretch> stretches;
    for (std::size_t part = 0; part < simulated.parts.size(); ++part) {
        const auto first = run(simulated, part, std::nullopt);
        if (!first) {
            return fail(Error(first.error()));
        }
        for (const auto& stretch : uptake::noise_stretches(first->input, first->result)) {
            stretches.push_back(stretch.stretch);
        }
    }
    const auto noise = uptake::sensor_noise("sensor", stretches);
    if (!noise) {
        return fail(Error(noise.error()));
    }
    std::vector<uptake::Blank> blanks;
    for (const std::size_t part : {std::size_t{0}, std::size_t{2}}) {
        const auto blank = run(simulated, part, noise->model);
        if (!blank) {
            return fail(Error(blank.error()));
        }
        for (auto& point : uptake::blank_points(blank->input, blank->result)) {
            blanks.push_back(std::move(point));
        }
    }
    auto fish = run(simulated, 1, noise->model, blanks);
    if (!fish) {
        return fail(std::move(fish).error());
    }
    return Answered{.fish = std::move(*fish), .noise = noise->model};
}

} // namespace

bool Held::is_covered() const {
    constexpr double z = 1.959963984540054;
    return std::abs(estimate - truth) <= z * uncertainty;
}

Judged judged(const SimulatedStay& simulated) {
    Judged out;
    const auto found = answered(simulated);
    if (!found) {
        out.failed = found.error().text();
        return out;
    }
    const Run* const fish = &found->fish;
    std::vector<const uptake::SealedSpell*> usable;
    for (const auto& spell : fish->result.spells) {
        if (spell.answer.is_usable() && spell.answer.uptake_mg_per_kg_h) {
            usable.push_back(&spell);
        }
    }
    out.spells = usable.size();
    if (usable.empty()) {
        out.failed = "no usable spell";
        return out;
    }
    const auto truth_of = [&](const uptake::SealedSpell& spell) {
        return simulated.true_mg_per_kg_h(spell.answer.from, spell.answer.to);
    };
    const auto& middle = *usable[usable.size() / 2];
    out.spell = held(*middle.answer.uptake_mg_per_kg_h, truth_of(middle));
    out.line = held(*middle.answer.uptake_mg_per_kg_h,
                    simulated.line_weighted_mg_per_kg_h(middle.answer.from, middle.answer.to));
    out.ordinary = with_error(middle, middle.answer.slope_error_ordinary, truth_of(middle));
    out.newey_west = with_error(middle, middle.answer.slope_error_newey_west, truth_of(middle));
    Measured sum;
    double truth = 0.0;
    for (const auto* spell : usable) {
        sum = sum + *spell->answer.uptake_mg_per_kg_h;
        truth += truth_of(*spell);
    }
    const double n = static_cast<double>(usable.size());
    out.stay = held(sum / n, truth / n);
    if (uptake::is_fast(simulated.parts[1].role)) {
        judge_peak(simulated, *fish, found->noise, out);
    }
    return out;
}

JudgedCurve judged_curve(const SimulatedStay& simulated) {
    JudgedCurve out;
    const auto found = answered(simulated);
    if (!found) {
        out.failed = found.error().text();
        return out;
    }
    const bool is_fast = uptake::is_fast(simulated.parts[1].role);
    std::vector<uptake::PeakSpell> spells;
    for (const auto& spell : found->fish.result.spells) {
        spells.push_back({.spell = &spell,
                          .readings = uptake::readings_of(found->fish.input, spell),
                          .noise = found->noise,
                          .modelled_lag_s = is_fast ? simulated.chamber.sensor_lag_s : 0.0});
    }
    const auto curve = uptake::continuous_sealed(spells);
    if (!curve) {
        out.failed = curve.error().text();
        return out;
    }
    constexpr double z = 1.959963984540054;
    for (std::size_t i = 0; i < curve->at.size(); ++i) {
        const double truth = simulated.respiration.at((curve->at[i] - simulated.zero).seconds());
        const double away = curve->mg_per_h[i] - truth;
        const double half = 0.5 * (curve->high_mg_per_h[i] - curve->low_mg_per_h[i]);
        const double scale = z * curve->scale_uncertainty * curve->mg_per_h[i];
        out.points += 1.0;
        out.held_by_band += std::abs(away) <= half ? 1.0 : 0.0;
        out.held_with_scale += std::abs(away) <= std::hypot(half, scale) ? 1.0 : 0.0;
        out.relative_error += away / truth;
        out.rms_error += (away / truth) * (away / truth);
    }
    out.relative_error /= out.points;
    out.rms_error = std::sqrt(out.rms_error / out.points);
    return out;
}

} // namespace backeddy::validation
