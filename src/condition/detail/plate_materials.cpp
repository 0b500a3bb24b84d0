#include "condition/detail/plate_materials.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "fit/student.hpp"
#include "stats/estimate.hpp"

namespace backeddy::condition::detail {

namespace {

std::string percent(double share) {
    return short_text(100.0 * share) + " %";
}

/// The steps that lie on the curve: what was read, and by what it was diluted.
struct OnCurve {
    std::vector<BackCalculated> read;
    std::vector<double> dilutions;
};

OnCurve on_curve(const std::vector<DilutionStep>& steps) {
    OnCurve on;
    for (const auto& step : steps) {
        if (step.read.reach == Reach::on_curve) {
            on.read.push_back(step.read);
            on.dilutions.push_back(step.dilution);
        }
    }
    return on;
}

/// Of replicates that the curve's noise does not explain.
std::optional<OwnScatter> own_scatter(const Responses& responses, const Reading& reading) {
    const double expected = reading.curve.response_sd(responses.as_read);
    if (!responses.sd || !(expected > 0.0)) {
        return std::nullopt;
    }
    const auto freedom = static_cast<double>(responses.n - 1);
    const double ratio = *responses.sd * *responses.sd / (expected * expected);
    const double chance = stats::f_upper(ratio, freedom, reading.curve.response_freedom(responses.as_read));
    return chance < reading.settings.scatter_level
               ? std::optional(OwnScatter{.sd = *responses.sd, .freedom = freedom})
               : std::nullopt;
}

DilutionStep read_step(const Group& group, const Reading& reading) {
    DilutionStep step{.dilution = group.first().dilution, .responses = responses_of(group, reading.blank)};
    const auto own = own_scatter(step.responses, reading);
    step.is_scattered = own.has_value();
    step.read =
        back_calculate(reading.curve, step.responses.as_read, step.responses.n, reading.settings.level, own);
    for (const auto& well : group.wells) {
        const auto alone = back_calculate(reading.curve, well.response, 1, reading.settings.level);
        if (alone.reach == Reach::on_curve) {
            step.of_wells.push_back(alone.concentration * step.dilution);
        }
    }
    return step;
}

std::vector<double> precisions_of(const OnCurve& on) {
    std::vector<double> weights;
    for (const auto& read : on.read) {
        weights.push_back(1.0 / read.response_variance);
    }
    return weights;
}

/// Of a weighted sum: the curve's where no reading has less, else that of all parts together (JCGM 100:2008,
/// G.4), each reading's own part with the freedom of the reading.
double freedom_of(const OnCurve& on, const std::vector<double>& weights, const LogSum& sum,
                  const LogisticFit& curve) {
    const auto usual = static_cast<double>(curve.freedom);
    if (std::ranges::none_of(on.read, [&](const auto& read) { return read.response_freedom < usual; })) {
        return usual;
    }
    const double of_curve = curve.variance(sum.by_parameters);
    double squares = of_curve * of_curve / usual;
    for (std::size_t i = 0; i < weights.size(); ++i) {
        const double own = weights[i] * weights[i] * on.read[i].response_variance;
        squares += own * own / on.read[i].response_freedom;
    }
    return std::min(usual, sum.se * sum.se * sum.se * sum.se / squares);
}

std::optional<Concentration> undiluted(const OnCurve& on, const Reading& reading) {
    if (on.read.empty()) {
        return std::nullopt;
    }
    // A perfect fit has no errors to weigh by.
    auto weights =
        reading.curve.residual_sd > 0.0 ? precisions_of(on) : std::vector<double>(on.read.size(), 1.0);
    const double total = std::accumulate(weights.begin(), weights.end(), 0.0);
    double log_dilution = 0.0;
    for (std::size_t i = 0; i < weights.size(); ++i) {
        weights[i] /= total;
        log_dilution += weights[i] * std::log(on.dilutions[i]);
    }
    const LogSum mean = combine_logs(reading.curve, on.read, weights);
    const double freedom = freedom_of(on, weights, mean, reading.curve);
    Concentration concentration{.value = std::exp(mean.value + log_dilution),
                                .log_se = mean.se,
                                .freedom = freedom,
                                .by_parameters = mean.by_parameters,
                                .response_variance = mean.response_variance};
    if (on.read.size() == 1) {
        concentration.lower = on.read.front().lower * on.dilutions.front();
        concentration.upper = on.read.front().upper * on.dilutions.front();
    } else {
        const double factor = std::exp(fit::two_sided_t(reading.settings.level, freedom) * mean.se);
        concentration.lower = concentration.value / factor;
        concentration.upper = concentration.value * factor;
    }
    return concentration;
}

/// For dilutions that disagree; evaluate_plate() says how.
void widen(Concentration& concentration, const OnCurve& on, const Reading& reading) {
    double squares = 0.0;
    for (std::size_t i = 0; i < on.read.size(); ++i) {
        const double off = std::log(on.read[i].concentration * on.dilutions[i] / concentration.value);
        squares += off * off / (on.read[i].log_se * on.read[i].log_se);
    }
    const double birge = std::sqrt(squares / static_cast<double>(on.read.size() - 1));
    concentration.log_se *= std::max(1.0, birge);
    concentration.response_variance =
        (concentration.log_se * concentration.log_se) - reading.curve.variance(concentration.by_parameters);
    const double factor =
        std::exp(fit::two_sided_t(reading.settings.level, concentration.freedom) * concentration.log_se);
    concentration.lower = concentration.value / factor;
    concentration.upper = concentration.value * factor;
    for (std::size_t i = 0; i < on.read.size(); ++i) {
        concentration.lower = std::min(concentration.lower, on.read[i].lower * on.dilutions[i]);
        concentration.upper = std::max(concentration.upper, on.read[i].upper * on.dilutions[i]);
    }
}

/// What dilutions beyond the curve say of what is undiluted, all of them together.
struct Known {
    std::optional<double> above;
    std::optional<double> below;

    [[nodiscard]] bool contradicts() const { return above && below && *above > *below; }
};

Known known_of(const std::vector<DilutionStep>& steps, const LogisticFit& curve) {
    Known known;
    for (const auto& step : steps) {
        if (step.read.reach == Reach::below) {
            const double limit = curve.lowest * step.dilution;
            known.below = std::min(known.below.value_or(limit), limit);
        } else if (step.read.reach == Reach::above) {
            const double limit = curve.highest * step.dilution;
            known.above = std::max(known.above.value_or(limit), limit);
        }
    }
    return known;
}

/// "below 3.12": what is known of a material of which no dilution lies on the curve.
std::string beyond_of(const std::vector<DilutionStep>& steps, const LogisticFit& curve) {
    const Known known = known_of(steps, curve);
    if (known.contradicts()) {
        return "below the curve and above it at its dilutions: they contradict each other";
    }
    if (!known.below) {
        return "above " + short_text(*known.above);
    }
    if (!known.above) {
        return "below " + short_text(*known.below);
    }
    return fmt::format("between {} and {}", short_text(*known.above), short_text(*known.below));
}

/// A number beside dilutions that say that it cannot be.
void remark_on_contradictions(Material& material, const LogisticFit& curve) {
    const Known known = known_of(material.steps, curve);
    if (material.concentration && known.contradicts()) {
        material.remarks.emplace_back("some of its dilutions are below the curve and some above it: they "
                                      "contradict each other");
    }
    for (const auto& step : material.steps) {
        const double value = step.read.concentration * step.dilution;
        if (step.read.reach != Reach::on_curve) {
            continue;
        }
        if (known.below && value > *known.below) {
            material.remarks.push_back(fmt::format(
                "at dilution {:g}: {}, which another dilution contradicts: by that it is below "
                "{}{}",
                step.dilution, short_text(value), short_text(*known.below),
                step.read.lower * step.dilution <= *known.below ? " (its interval allows that)" : ""));
        }
        if (known.above && value < *known.above) {
            material.remarks.push_back(fmt::format(
                "at dilution {:g}: {}, which another dilution contradicts: by that it is above "
                "{}{}",
                step.dilution, short_text(value), short_text(*known.above),
                step.read.upper * step.dilution >= *known.above ? " (its interval allows that)" : ""));
        }
    }
}

std::optional<Parallelism> parallelism_of(const OnCurve& on, const Reading& reading) {
    const std::size_t n = on.read.size();
    if (n < 2 || !(reading.curve.residual_sd > 0.0)) {
        return std::nullopt;
    }
    const auto precisions = precisions_of(on);
    double total = 0.0;
    double middle = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        total += precisions[i];
        middle += precisions[i] * std::log(on.dilutions[i]);
    }
    middle /= total;
    double squares = 0.0;
    std::vector<double> weights(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double l = std::log(on.dilutions[i]) - middle;
        weights[i] = precisions[i] * l;
        squares += precisions[i] * l * l;
    }
    for (auto& weight : weights) {
        weight /= squares;
    }
    // The slope of ln(read dilution) is 1 more than that of ln read.
    const LogSum of_read = combine_logs(reading.curve, on.read, weights);
    const double slope = of_read.value + 1.0;
    const double freedom = freedom_of(on, weights, of_read, reading.curve);
    const double reach = fit::two_sided_t(reading.settings.level, freedom) * of_read.se;
    const auto per_doubling = [](double b) { return std::expm1(std::numbers::ln2 * b); };
    Parallelism result{.dilutions = n,
                       .change_per_doubling = per_doubling(slope),
                       .lower = per_doubling(slope - reach),
                       .upper = per_doubling(slope + reach)};
    std::vector<double> results;
    for (std::size_t i = 0; i < n; ++i) {
        results.push_back(on.read[i].concentration * on.dilutions[i]);
    }
    const double mean = std::accumulate(results.begin(), results.end(), 0.0) / static_cast<double>(n);
    double deviations = 0.0;
    for (const double value : results) {
        deviations += (value - mean) * (value - mean);
    }
    result.cv = std::sqrt(deviations / static_cast<double>(n - 1)) / mean;
    const double most = reading.settings.most_change_per_doubling;
    if (result.lower >= -most && result.upper <= most) {
        result.verdict = Parallel::yes;
    } else if ((result.lower > 0.0 || result.upper < 0.0) && std::abs(result.change_per_doubling) > most) {
        result.verdict = Parallel::no;
    }
    return result;
}

void doubt(Material& material, DoubtAbout about, const Responses& of, std::string words) {
    material.remarks.push_back(words);
    material.doubts.push_back({.about = about, .words = std::move(words), .well = of.wells.front()});
}

void remark_on_scatter(Material& material, const DilutionStep& step, const std::string& where,
                       const PlateSettings& settings) {
    const auto& cv = step.responses.cv;
    const bool is_over = cv && *cv > settings.most_response_cv;
    if (!is_over && !step.is_scattered) {
        return;
    }
    std::string words = where + (cv ? "the wells' CV is " + percent(*cv) : "the wells lie apart") +
                        (is_over ? ", over " + percent(settings.most_response_cv) : "");
    if (step.is_scattered && step.read.reach == Reach::on_curve) {
        words += ", more than the plate's noise explains: the interval is by their own scatter";
    } else if (step.is_scattered) {
        words += ", more than the plate's noise explains";
    }
    doubt(material, DoubtAbout::replicates, step.responses, std::move(words));
}

void remark_on_step(Material& material, const DilutionStep& step, bool is_one_of_many,
                    const Reading& reading) {
    auto& remarks = material.remarks;
    const std::string where = is_one_of_many ? fmt::format("at dilution {:g}: ", step.dilution) : "";
    if (step.read.reach == Reach::below) {
        remarks.push_back(where + "below the lowest standard");
    } else if (step.read.reach == Reach::above) {
        remarks.push_back(where + "above the highest standard: dilute it further");
    } else if (step.read.lower < reading.curve.lowest || step.read.upper > reading.curve.highest) {
        remarks.push_back(where + "its interval reaches beyond the standards, where it rests on the curve's "
                                  "form alone");
    }
    const double x = step.read.concentration;
    if (step.read.reach == Reach::on_curve && reading.quantified_from && x < *reading.quantified_from) {
        remarks.push_back(fmt::format("{}below the accepted standards, which begin at {:g} in the well",
                                      where, *reading.quantified_from));
    } else if (step.read.reach == Reach::on_curve && reading.quantified_to && x > *reading.quantified_to) {
        remarks.push_back(fmt::format("{}above the accepted standards, which end at {:g} in the well", where,
                                      *reading.quantified_to));
    }
    if (step.read.reach == Reach::on_curve && reading.detected_from && x < *reading.detected_from) {
        remarks.push_back(fmt::format(
            "{}below the detection limit of this plate, {} in the well, {} undiluted", where,
            short_text(*reading.detected_from), short_text(*reading.detected_from * step.dilution)));
    }
    if (step.read.reach == Reach::on_curve && step.of_wells.size() < step.responses.n) {
        remarks.push_back(where + "not all of its wells lie on the curve");
    }
    if (step.responses.n == 1) {
        remarks.push_back(where + "one well: nothing is known of its own scatter");
    } else if (!step.responses.cv) {
        remarks.push_back(where + "no CV: the response is not above the blank");
    }
    remark_on_scatter(material, step, where, reading.settings);
}

bool disagrees(const Parallelism& parallelism, const PlateSettings& settings) {
    return parallelism.verdict == Parallel::no || parallelism.cv > settings.most_cv_over_dilutions;
}

void remark_on_parallelism(Material& material, const PlateSettings& settings) {
    if (!material.parallelism || !disagrees(*material.parallelism, settings)) {
        return;
    }
    const auto& p = *material.parallelism;
    std::string words;
    if (p.verdict == Parallel::no) {
        words = fmt::format("not parallel to the standards: its result changes by {} ({} to {}) with each "
                            "doubling of the dilution; ",
                            percent(p.change_per_doubling), percent(p.lower), percent(p.upper));
    }
    if (p.cv > settings.most_cv_over_dilutions) {
        words += fmt::format("the results of its dilutions have a CV of {}, over {}; ", percent(p.cv),
                             percent(settings.most_cv_over_dilutions));
    }
    const auto step = std::ranges::find(material.steps, Reach::on_curve,
                                        [](const DilutionStep& one) { return one.read.reach; });
    doubt(material, DoubtAbout::dilutions, step->responses, words + "the interval reaches over all of them");
}

Recovery accepted(Recovery recovery, double most_off) {
    recovery.is_accepted = std::abs(recovery.value - 1.0) <= most_off;
    return recovery;
}

void remark_on_recovery(Material& material, double most_off) {
    if (material.recovery && !material.recovery->is_accepted) {
        doubt(material, DoubtAbout::recovery, material.steps.front().responses,
              fmt::format("recovered to {}, outside {} to {}", percent(material.recovery->value),
                          percent(1.0 - most_off), percent(1.0 + most_off)));
    }
}

/// Of a control that lies beyond the curve: whether what it should hold can lie there too.
void remark_on_lost_control(Material& material, const Reading& reading) {
    const Known known = known_of(material.steps, reading.curve);
    const double most_off = reading.settings.control_recovery;
    const double low = *material.expected * (1.0 - most_off);
    const double high = *material.expected * (1.0 + most_off);
    if ((known.below && low >= *known.below) || (known.above && high <= *known.above)) {
        material.has_failed = true;
        doubt(material, DoubtAbout::recovery, material.steps.front().responses,
              fmt::format("failed: it should hold {} and reads {}", short_text(*material.expected),
                          material.beyond));
    } else {
        material.remarks.emplace_back("no recovery: what it should hold may lie beyond the curve as well");
    }
}

/// (spiked - sample) / added; both have the curve's errors in common.
Recovery spike_recovery(const Concentration& spiked, const Concentration& sample, double added,
                        const Reading& reading) {
    LogisticGradient gradient{};
    for (std::size_t k = 0; k < logistic_parameters; ++k) {
        gradient[k] = (spiked.value * spiked.by_parameters[k]) - (sample.value * sample.by_parameters[k]);
    }
    const double se = std::sqrt(reading.curve.variance(gradient) +
                                (spiked.value * spiked.value * spiked.response_variance) +
                                (sample.value * sample.value * sample.response_variance)) /
                      added;
    const double value = (spiked.value - sample.value) / added;
    const double reach = fit::two_sided_t(reading.settings.level, spiked.freedom) * se;
    return accepted({.value = value, .lower = value - reach, .upper = value + reach},
                    reading.settings.spike_recovery);
}

} // namespace

Material read_material(const std::vector<Group>& steps, const Reading& reading) {
    const Well& first = steps.front().first();
    Material material{.label = first.label};
    for (const auto& group : steps) {
        material.steps.push_back(read_step(group, reading));
        remark_on_step(material, material.steps.back(), steps.size() > 1, reading);
    }
    const OnCurve on = on_curve(material.steps);
    material.concentration = undiluted(on, reading);
    if (!material.concentration) {
        material.beyond = beyond_of(material.steps, reading.curve);
    }
    remark_on_contradictions(material, reading.curve);
    material.parallelism = parallelism_of(on, reading);
    if (material.parallelism && disagrees(*material.parallelism, reading.settings)) {
        widen(*material.concentration, on, reading);
    }
    remark_on_parallelism(material, reading.settings);
    if (first.kind == WellKind::control) {
        material.expected = first.expected;
    }
    if (first.kind == WellKind::spiked) {
        material.added = first.added;
    }
    if (material.expected && material.concentration) {
        const auto& c = *material.concentration;
        material.recovery = accepted({.value = c.value / *material.expected,
                                      .lower = c.lower / *material.expected,
                                      .upper = c.upper / *material.expected},
                                     reading.settings.control_recovery);
        remark_on_recovery(material, reading.settings.control_recovery);
    } else if (material.expected) {
        remark_on_lost_control(material, reading);
    }
    return material;
}

void recover_spikes(std::vector<Material>& spikes, const std::vector<Material>& samples,
                    const Reading& reading) {
    for (auto& spike : spikes) {
        const auto sample = std::ranges::find(samples, spike.label, &Material::label);
        if (sample == samples.end()) {
            spike.remarks.push_back("no recovery: no well of the sample without the spike counts");
        } else if (!sample->concentration || !spike.concentration) {
            spike.remarks.push_back("no recovery: it or its sample lies beyond the curve");
        } else {
            spike.recovery =
                spike_recovery(*spike.concentration, *sample->concentration, *spike.added, reading);
            remark_on_recovery(spike, reading.settings.spike_recovery);
        }
    }
}

} // namespace backeddy::condition::detail
