#include "condition/plate.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string_view>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "condition/detail/plate_edge.hpp"
#include "condition/detail/plate_groups.hpp"
#include "condition/detail/plate_limits.hpp"
#include "condition/detail/plate_materials.hpp"
#include "condition/plate_noise.hpp"

namespace backeddy::condition {

namespace {

using detail::Group;
using detail::PlateGroups;
using detail::Reading;

std::vector<Replicates> replicates_of(const PlateGroups& groups) {
    std::vector<Replicates> replicates;
    for (const auto* group : groups.all()) {
        const Responses responses = detail::responses_of(*group, 0.0);
        if (responses.sd && responses.as_read > 0.0) {
            replicates.push_back({.mean = responses.as_read,
                                  .variance = *responses.sd * *responses.sd,
                                  .freedom = responses.n - 1});
        }
    }
    return replicates;
}

struct NoiseChoice {
    ResponseVariance variance;
    std::string from;
};

/// "1.2e-4 + 0.0016 y^2": what of the parts matters at any of the replicates.
std::string formula_of(const ResponseVariance& variance, const std::vector<Replicates>& replicates) {
    constexpr double of_note = 1e-3; // a share of the variance
    std::vector<std::string> terms;
    for (std::size_t k = 0; k < variance.parts.size(); ++k) {
        const auto& [coefficient, power] = variance.parts[k];
        const bool counts = std::ranges::any_of(replicates, [&](const Replicates& one) {
            return coefficient * variance.log_gradient(one.mean)[k] > of_note;
        });
        if (counts) {
            const std::string_view of = power == 0.0 ? "" : power == 1.0 ? " y" : " y^2";
            terms.push_back(fmt::format("{:.2g}{}", coefficient, of));
        }
    }
    return fmt::format("{}", fmt::join(terms, " + "));
}

NoiseChoice noise_of(const PlateGroups& groups, const PlateSettings& settings) {
    if (settings.variance_power) {
        return {.variance = ResponseVariance::of_power(*settings.variance_power),
                .from = fmt::format("variance y^{:g}, as set", *settings.variance_power)};
    }
    const auto replicates = replicates_of(groups);
    std::size_t freedom = 0;
    for (const auto& one : replicates) {
        freedom += one.freedom;
    }
    const auto usual = [&](const std::string& why) {
        return NoiseChoice{
            .variance = ResponseVariance::of_power(settings.usual_variance_power),
            .from = fmt::format("variance y^{:g}, the usual one: {}", settings.usual_variance_power, why)};
    };
    if (freedom < settings.least_noise_freedom) {
        return usual(fmt::format("the replicates have {} degrees of freedom, too few to tell", freedom));
    }
    auto noise = fit_response_noise(replicates);
    if (!noise) {
        return usual(noise.error().text());
    }
    auto from = fmt::format("variance {}, by replicates of {} degrees of freedom",
                            formula_of(noise->variance, replicates), noise->freedom);
    return {.variance = std::move(noise->variance), .from = std::move(from)};
}

struct Curves {
    Expected<LogisticFit> four;
    Expected<LogisticFit> five;
};

/// Each curve's own weights are data of their own, and the likelihoods under two sets of them do not compare:
/// the nested curve can win. Five's is therefore taken at the weights of four's curve, where it cannot be
/// less.
void compare_at_weights_of_four(Curves& curves, std::span<const double> x, std::span<const double> y) {
    const auto& variance = curves.four->variance_shape;
    std::vector<double> weights;
    for (const double at : x) {
        weights.push_back(1.0 / variance.at(curves.four->curve.response(at)));
    }
    const auto five =
        fit_logistic(x, y, {.kind = LogisticKind::five, .variance = variance, .weights = weights});
    curves.five->log_likelihood =
        five ? five->log_likelihood : std::numeric_limits<double>::quiet_NaN(); // none that compares
    curves.five->aicc = five ? five->aicc : std::nullopt;
}

Curves fit_curves(const PlateGroups& groups, const ResponseVariance& variance) {
    std::vector<double> x;
    std::vector<double> y;
    for (const auto& group : groups.standards) {
        for (const auto& well : group.wells) {
            x.push_back(group.first().concentration);
            y.push_back(well.response);
        }
    }
    Curves curves{.four = fit_logistic(x, y, {.kind = LogisticKind::four, .variance = variance}),
                  .five = fit_logistic(x, y, {.kind = LogisticKind::five, .variance = variance})};
    if (curves.four && curves.five) {
        compare_at_weights_of_four(curves, x, y);
    }
    return curves;
}

const Expected<LogisticFit>& chosen(const Curves& curves, CurveChoice choice) {
    if (choice == CurveChoice::lower_aicc && curves.four && curves.five && curves.four->aicc &&
        curves.five->aicc) {
        return *curves.five->aicc + 2.0 < *curves.four->aicc ? curves.five : curves.four;
    }
    return choice == CurveChoice::five ? curves.five : curves.four;
}

std::string range_text(double most_off) {
    return fmt::format("{:g} to {:g} %", 100.0 * (1.0 - most_off), 100.0 * (1.0 + most_off));
}

StandardLevel read_standard(const Group& group, const Reading& reading) {
    const auto& settings = reading.settings;
    StandardLevel level{.nominal = group.first().concentration,
                        .responses = detail::responses_of(group, reading.blank)};
    const bool is_scattered = level.responses.cv && *level.responses.cv > settings.most_response_cv;
    if (is_scattered) {
        level.remarks.push_back(fmt::format("the wells' CV is {:.3g} %, over {:g} %",
                                            100.0 * *level.responses.cv, 100.0 * settings.most_response_cv));
    }
    if (level.nominal == 0.0) {
        return level;
    }
    const bool is_end = level.nominal == reading.curve.lowest || level.nominal == reading.curve.highest;
    const double most_off = is_end ? settings.end_standard_recovery : settings.standard_recovery;
    level.concentration = reading.curve.curve.concentration(level.responses.as_read);
    if (!level.concentration) {
        level.remarks.emplace_back("its response lies beyond the curve");
        return level;
    }
    level.recovery = *level.concentration / level.nominal;
    const bool is_recovered = std::abs(*level.recovery - 1.0) <= most_off;
    if (!is_recovered) {
        level.remarks.push_back(fmt::format("read back as {:.3g} % of what it is, outside {}",
                                            100.0 * *level.recovery, range_text(most_off)));
    }
    level.is_accepted = is_recovered && !is_scattered;
    return level;
}

std::vector<Material> read_materials(const std::vector<std::vector<Group>>& materials,
                                     const Reading& reading) {
    std::vector<Material> read;
    for (const auto& steps : materials) {
        read.push_back(detail::read_material(steps, reading));
    }
    return read;
}

class CvPool {
  public:
    void add(double cv, std::size_t freedom) {
        squares_ += cv * cv * static_cast<double>(freedom);
        pooled_.freedom += freedom;
        ++pooled_.groups;
    }
    [[nodiscard]] std::optional<PooledCv> result() const {
        if (pooled_.freedom == 0) {
            return std::nullopt;
        }
        PooledCv pooled = pooled_;
        pooled.cv = std::sqrt(squares_ / static_cast<double>(pooled.freedom));
        return pooled;
    }

  private:
    PooledCv pooled_;
    double squares_ = 0.0;
};

double cv_of(const std::vector<double>& values) {
    double mean = 0.0;
    for (const double value : values) {
        mean += value / static_cast<double>(values.size());
    }
    double squares = 0.0;
    for (const double value : values) {
        squares += (value - mean) * (value - mean);
    }
    return std::sqrt(squares / static_cast<double>(values.size() - 1)) / mean;
}

void pool_cvs(PlateResult& plate) {
    CvPool responses;
    CvPool concentrations;
    for (const auto* materials : {&plate.samples, &plate.controls, &plate.spikes}) {
        for (const auto& material : *materials) {
            for (const auto& step : material.steps) {
                if (step.responses.cv) {
                    responses.add(*step.responses.cv, step.responses.n - 1);
                }
                if (step.of_wells.size() == step.responses.n && step.responses.n > 1) {
                    concentrations.add(cv_of(step.of_wells), step.responses.n - 1);
                }
            }
        }
    }
    plate.response_cv = responses.result();
    plate.concentration_cv = concentrations.result();
}

void remark_on_standards(PlateResult& plate) {
    std::vector<std::string> refused;
    for (const auto& level : plate.standards) {
        if (level.nominal > 0.0 && !level.is_accepted) {
            refused.push_back(fmt::format("{:g}", level.nominal));
        }
    }
    if (!refused.empty()) {
        plate.remarks.push_back(fmt::format(
            "standards outside their limits, and in the fit all the same: {}. Look at their wells; one "
            "excluded with a reason is left out of the curve",
            fmt::join(refused, ", ")));
    }
    if (!plate.limits.quantified_from) {
        plate.remarks.emplace_back("no standard is within its limits: no result of this plate was shown to "
                                   "come back");
    }
}

void remark_on_curve(PlateResult& plate) {
    if (plate.four && plate.five && plate.four->aicc && plate.five->aicc) {
        plate.remarks.push_back(fmt::format("AICc of four parameters {:.2f}, of five {:.2f}: {} were used",
                                            *plate.four->aicc, *plate.five->aicc,
                                            plate.curve.kind == LogisticKind::four ? "four" : "five"));
    }
    if (plate.edge.difference && (plate.edge.difference->lower > 0.0 || plate.edge.difference->upper < 0.0)) {
        plate.remarks.push_back(fmt::format("outer wells read {:.2g} % ({:.2g} to {:.2g}) off the inner "
                                            "ones; no concentration is corrected for it",
                                            100.0 * plate.edge.difference->value,
                                            100.0 * plate.edge.difference->lower,
                                            100.0 * plate.edge.difference->upper));
    }
}

} // namespace

Expected<PlateResult> evaluate_plate(std::span<const Well> wells, const PlateSettings& settings) {
    const auto groups = detail::group_wells(wells, settings);
    if (!groups) {
        return fail(groups.error());
    }
    NoiseChoice noise = noise_of(*groups, settings);
    const Curves curves = fit_curves(*groups, noise.variance);
    const auto& curve = chosen(curves, settings.curve);
    if (!curve) {
        return fail(Error(curve.error()).within("the standard curve"));
    }
    PlateResult plate{.curve = *curve, .noise_from = std::move(noise.from), .excluded = groups->excluded};
    plate.four = curves.four ? std::optional(*curves.four) : std::nullopt;
    plate.five = curves.five ? std::optional(*curves.five) : std::nullopt;
    plate.why_no_five = curves.five ? "" : curves.five.error().text();
    if (groups->blank) {
        plate.blank = detail::responses_of(*groups->blank, 0.0).as_read;
    }
    Reading reading{.curve = plate.curve,
                    .settings = settings,
                    .blank = settings.subtract_blank ? plate.blank.value_or(0.0) : 0.0};
    for (const auto& group : groups->standards) {
        plate.standards.push_back(read_standard(group, reading));
    }
    plate.limits = detail::detection_limits(plate.standards, reading);
    reading.quantified_from = plate.limits.quantified_from;
    reading.quantified_to = plate.limits.quantified_to;
    if (!plate.limits.by_zero_wells.empty()) {
        reading.detected_from = plate.limits.by_zero_wells.front().concentration;
    }
    plate.samples = read_materials(groups->samples, reading);
    plate.controls = read_materials(groups->controls, reading);
    plate.spikes = read_materials(groups->spikes, reading);
    detail::recover_spikes(plate.spikes, plate.samples, reading);
    plate.edge = detail::edge_effect(groups->all(), noise.variance, settings);
    pool_cvs(plate);
    remark_on_standards(plate);
    remark_on_curve(plate);
    return plate;
}

} // namespace backeddy::condition
