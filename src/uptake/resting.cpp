#include "uptake/resting.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>
#include <utility>

#include "base/number_text.hpp"
#include "base/random.hpp"
#include "fit/bootstrap.hpp"
#include "fit/lowest.hpp"
#include "fit/mixture.hpp"
#include "fit/quantile.hpp"
#include "uptake/detail/cut_off.hpp"
#include "uptake/detail/deconvolve.hpp"
#include "uptake/detail/recovery_parts.hpp"

namespace backeddy::uptake {

namespace {

constexpr std::size_t low_count = 10; // Chabot and others 2016: the ten lowest ...
constexpr std::size_t dropped = 5;    // ... and the lowest tenth after the five lowest are dropped
constexpr double low_share = 0.1;
constexpr double normal_95 = 1.959963984540054;
// Of the noise correction's size, left over or overshot in simulations of 40 to 100 values: its standard
// uncertainty.
constexpr double correction_doubt = 0.25;
// A draw of the lowest normal costs a fit: 300 draws of an ordinary night, 100 of a season's stay (the spread
// of 100 draws is known to 7 %).
constexpr std::size_t mixture_draws = 300;
constexpr std::size_t least_mixture_draws = 100;
constexpr std::size_t mixture_values = 60'000; // draws times values that are affordable

double quantile_of(RestingMethod method) {
    switch (method) {
    case RestingMethod::quantile_10:
        return 0.10;
    case RestingMethod::quantile_15:
        return 0.15;
    case RestingMethod::quantile_20:
        return 0.20;
    case RestingMethod::quantile_25:
        return 0.25;
    case RestingMethod::quantile_30:
        return 0.30;
    default:
        return std::numeric_limits<double>::quiet_NaN();
    }
}

bool is_quantile(RestingMethod method) {
    return std::isfinite(quantile_of(method));
}

RestingMethod method_of_quantile(double p) {
    for (const auto method : all_resting_methods) {
        if (std::abs(quantile_of(method) - p) < 1e-9) {
            return method;
        }
    }
    return RestingMethod::quantile_20;
}

Error too_few(std::size_t found, std::size_t needed, const std::string& what) {
    return {.code = ErrorCode::too_few,
            .found = std::to_string(found) + " usable values",
            .expected = what + " needs at least " + std::to_string(needed),
            .remedy = "look at the marks of the stay's spells, or use a longer stay",
            .place = {},
            .context = {}};
}

// Which of the values carry how much of an estimate: every estimator here is a weighted sum of them.
std::vector<double> low_weights(std::span<const double> values, std::size_t skip, std::size_t used) {
    std::vector<std::size_t> order(values.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](auto a, auto b) {
        return values[a] != values[b] ? values[a] < values[b] : a < b; // one order for equal values
    });
    std::vector<double> weights(values.size(), 0.0);
    for (std::size_t i = skip; i < skip + used; ++i) {
        weights[order[i]] = 1.0 / static_cast<double>(used);
    }
    return weights;
}

std::vector<double> quantile_weights(std::span<const double> values, double p) {
    std::vector<std::size_t> order(values.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](auto a, auto b) {
        return values[a] != values[b] ? values[a] < values[b] : a < b; // one order for equal values
    });
    const auto place = fit::quantile_place(values.size(), p, fit::QuantileType::gumbel);
    std::vector<double> weights(values.size(), 0.0);
    weights[order[place.lower]] += 1.0 - place.weight;
    weights[order[place.upper]] += place.weight;
    return weights;
}

double density(double x, const fit::NormalComponent& component) {
    const double z = (x - component.mean) / component.sd;
    constexpr double far = 40.0; // exp(-800) is nothing beside any component that is nearer
    return std::abs(z) > far ? 0.0 : component.weight / component.sd * std::exp(-0.5 * z * z);
}

std::vector<double> component_weights(std::span<const double> values, const fit::NormalMixture& mixture,
                                      std::size_t lowest) {
    std::vector<double> weights(values.size(), 0.0);
    double sum = 0.0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        double all = 0.0;
        for (const auto& component : mixture.components) {
            all += density(values[i], component);
        }
        weights[i] = all > 0.0 ? density(values[i], mixture.components[lowest]) / all : 0.0;
        sum += weights[i];
    }
    for (auto& weight : weights) {
        weight /= sum;
    }
    return weights;
}

// The values of a night that count, on one clock, with the errors that belong to each alone.
struct Night {
    std::vector<SpellUptake> spells;
    std::vector<double> values;
    std::vector<double> own_errors;
    SystematicSums systematic; ///< of the spells
    std::size_t block = 1;     ///< values per block of the bootstrap
};

Night night_of(std::vector<SpellUptake> spells, const RestingSettings& settings) {
    Night out;
    out.systematic = SystematicSums(spells);
    std::vector<double> steps;
    for (std::size_t i = 0; i < spells.size(); ++i) {
        out.values.push_back(spells[i].uptake_mg_per_h.value());
        out.own_errors.push_back(out.systematic.own_error(i));
        if (i > 0) {
            steps.push_back((spells[i].middle() - spells[i - 1].middle()).hours());
        }
    }
    if (!steps.empty()) {
        const double step = fit::quantile(steps, 0.5).value_or(0.0);
        if (step > 0.0) {
            out.block = static_cast<std::size_t>(std::max(1.0, std::round(settings.block_h / step)));
        }
    }
    // A short night still has to hold two blocks.
    out.block = std::max<std::size_t>(1, std::min(out.block, out.values.size() / 2));
    out.spells = std::move(spells);
    return out;
}

// One estimator's value and its weights.
struct Computed {
    double value = 0.0;
    std::vector<double> weights;
};

struct Lowest {
    fit::NormalMixture mixture;
    fit::LowestNormal normal;
    std::size_t index = 0;
};

Expected<Lowest> lowest_of(std::span<const double> values, const RestingSettings& settings) {
    if (values.size() < settings.least_for_lowest_normal) {
        return fail(too_few(values.size(), settings.least_for_lowest_normal, "the lowest normal"));
    }
    auto choice = fit::choose_mixture(values, 4, {.seed = settings.seed});
    if (!choice) {
        return fail(std::move(choice).error().within("the lowest normal"));
    }
    const auto normal = fit::lowest_normal(choice->best, values, settings.least_component_share);
    if (!normal) {
        return fail({.code = ErrorCode::degenerate,
                     .found = "no component that holds " +
                              fixed_text(100.0 * settings.least_component_share, 0) + " % of the values",
                     .expected = "the lowest normal needs one",
                     .remedy = "read the quantiles instead",
                     .place = {},
                     .context = {}});
    }
    Lowest out{.mixture = std::move(choice->best), .normal = *normal, .index = 0};
    while (out.mixture.components[out.index].weight < settings.least_component_share) {
        ++out.index;
    }
    return out;
}

Expected<Computed> compute(RestingMethod method, const Night& night, const std::optional<Lowest>& lowest,
                           const RestingSettings& settings) {
    Computed out;
    if (method == RestingMethod::mean_of_ten_lowest) {
        const auto mean = fit::mean_of_lowest(night.values, low_count);
        if (!mean) {
            return fail(too_few(night.values.size(), low_count, "the mean of the ten lowest"));
        }
        out.value = mean->mean;
        out.weights = low_weights(night.values, 0, low_count);
        return out;
    }
    if (method == RestingMethod::lowest_tenth) {
        const auto mean = fit::mean_of_lowest_share(night.values, low_share, dropped);
        if (!mean || night.values.size() < 2 * low_count) {
            return fail(
                too_few(night.values.size(), 2 * low_count, "the lowest tenth after five are dropped"));
        }
        out.value = mean->mean;
        out.weights = low_weights(night.values, mean->dropped, mean->used);
        return out;
    }
    if (method == RestingMethod::lowest_normal) {
        if (!lowest) {
            return fail(too_few(night.values.size(), settings.least_for_lowest_normal, "the lowest normal"));
        }
        out.value = lowest->normal.mean;
        out.weights = component_weights(night.values, lowest->mixture, lowest->index);
        return out;
    }
    const double p = quantile_of(method);
    auto value = fit::quantile(night.values, p);
    if (!value) {
        return fail(std::move(value).error());
    }
    out.value = *value;
    out.weights = quantile_weights(night.values, p);
    return out;
}

// Which of the ascending values a low mean is taken over.
struct LowSpan {
    std::size_t skip = 0;
    std::size_t used = 0;
};

LowSpan low_span(RestingMethod method, std::size_t n) {
    if (method == RestingMethod::mean_of_ten_lowest) {
        return {.skip = 0, .used = low_count};
    }
    const auto rest = static_cast<double>(n - dropped);
    return {.skip = dropped, .used = static_cast<std::size_t>(std::max(1.0, std::round(low_share * rest)))};
}

// How the estimators that order statistics make, and the median, spread over the draws.
struct Resampled {
    std::map<RestingMethod, fit::BootstrapResult> by_method;
    std::optional<fit::BootstrapResult> median;
};

fit::BootstrapOptions draws_of(const Night& night, std::size_t draws, const RestingSettings& settings) {
    return {.draws = draws, .block = night.block, .seed = settings.seed, .threads = {.count = 1}};
}

// All in one pass over the same draws. `methods`: those that this night can have.
Resampled resampled(const Night& night, std::span<const RestingMethod> methods,
                    const RestingSettings& settings) {
    const std::size_t n = night.values.size();
    std::vector<fit::QuantilePlace> places;
    std::vector<LowSpan> spans;
    for (const auto method : methods) {
        const double p = is_quantile(method) ? quantile_of(method) : 0.5;
        places.push_back(fit::quantile_place(n, p, fit::QuantileType::gumbel));
        spans.push_back(is_quantile(method) ? LowSpan{} : low_span(method, n));
    }
    const auto middle = fit::quantile_place(n, 0.5, fit::QuantileType::gumbel);
    const auto draws = fit::block_bootstrap_counted(
        night.values, methods.size() + 1,
        [&](const fit::CountedSample& draw, std::span<double> out) {
            for (std::size_t k = 0; k < methods.size(); ++k) {
                out[k] = is_quantile(methods[k]) ? draw.quantile(places[k])
                                                 : draw.mean_of_lowest(spans[k].skip, spans[k].used);
            }
            out.back() = draw.quantile(middle);
        },
        draws_of(night, settings.draws, settings));
    Resampled out;
    if (draws) {
        for (std::size_t k = 0; k < methods.size(); ++k) {
            out.by_method.emplace(methods[k], (*draws)[k]);
        }
        out.median = draws->back();
    }
    return out;
}

Expected<fit::BootstrapResult> resampled(const Lowest& lowest, const Night& night,
                                         const RestingSettings& settings) {
    auto ascending = night.values;
    std::sort(ascending.begin(), ascending.end());
    const auto refit = fit::refit_of(ascending, lowest.mixture);
    const std::size_t draws = std::min(
        settings.draws, std::clamp(mixture_values / night.values.size(), least_mixture_draws, mixture_draws));
    auto out = fit::block_bootstrap_counted(
        night.values, 1,
        [&](const fit::CountedSample& draw, std::span<double> mean) {
            const auto components = refit(draw.times());
            mean[0] =
                components ? (*components)[lowest.index].mean : std::numeric_limits<double>::quiet_NaN();
        },
        draws_of(night, draws, settings));
    if (!out) {
        return fail(std::move(out).error());
    }
    return out->front();
}

// Sampling and systematic halves in quadrature, each side for itself, about the corrected value.
Interval combined_interval(double raw, const Interval& sampling, double corrected, double systematic) {
    const double below = std::max(0.0, raw - sampling.low);
    const double above = std::max(0.0, sampling.high - raw);
    return {.low = corrected - std::hypot(below, normal_95 * systematic),
            .high = corrected + std::hypot(above, normal_95 * systematic)};
}

RestingEstimate estimate_of(RestingMethod method, const Night& night, const Computed& computed,
                            const std::optional<fit::BootstrapResult>& draws, const detail::NoiseBias& noise,
                            const std::string& stay) {
    RestingEstimate out;
    out.method = method;
    out.values_used = static_cast<std::size_t>(
        std::count_if(computed.weights.begin(), computed.weights.end(), [](double w) { return w > 1e-6; }));
    UptakeRate systematic = night.systematic.of(computed.weights);
    // The weights give the value to rounding; the mixture's to its convergence. The estimator's own value is
    // shown.
    systematic = moved(systematic, computed.value - systematic.mg_per_h.value());
    const double systematic_sd = systematic.mg_per_h.standard_uncertainty();
    out.sampling_interval_mg_per_h = {.low = computed.value, .high = computed.value};
    if (draws) {
        out.sampling_sd_mg_per_h = draws->se;
        out.sampling_interval_mg_per_h = {.low = draws->lower, .high = draws->upper};
    }
    out.raw = with_uncertainty(systematic, out.sampling_sd_mg_per_h, "resting sampling:" + stay);
    out.noise_bias_mg_per_h = noise.bias;
    out.noise_bias_error_mg_per_h = noise.bias_error;
    const double doubt = std::hypot(correction_doubt * noise.bias, noise.bias_error);
    out.corrected = with_uncertainty(moved(out.raw, -noise.bias), doubt, "resting noise correction:" + stay);
    const auto& sampling = out.sampling_interval_mg_per_h;
    out.raw_interval_mg_per_h = combined_interval(computed.value, sampling, computed.value, systematic_sd);
    out.interval_mg_per_h = combined_interval(computed.value, sampling, computed.value - noise.bias,
                                              std::hypot(systematic_sd, doubt));
    if (const double ratio = per_kilogram(out.corrected); ratio > 0.0) {
        const double raw = out.raw.mg_per_kg_h->value();
        const Interval scaled{.low = sampling.low * ratio, .high = sampling.high * ratio};
        const double with_mass = systematic.mg_per_kg_h->standard_uncertainty();
        out.raw_interval_mg_per_kg_h = combined_interval(computed.value * ratio, scaled, raw, with_mass);
        out.interval_mg_per_kg_h =
            combined_interval(computed.value * ratio, scaled, out.corrected.mg_per_kg_h->value(),
                              std::hypot(with_mass, doubt * ratio));
    }
    return out;
}

// Noise biases of the estimators that order statistics make, in one simulation; the lowest normal's is 0:
// noise widens a component and does not move its mean.
std::vector<detail::NoiseBias> noise_biases(const Night& night, std::span<const RestingMethod> methods,
                                            const RestingSettings& settings) {
    const auto statistics = [&](std::span<const double> ascending) {
        std::vector<double> out;
        for (const auto method : methods) {
            if (is_quantile(method)) {
                out.push_back(fit::quantile_of_sorted(ascending, quantile_of(method)));
                continue;
            }
            const auto [skip, used] = low_span(method, ascending.size());
            const auto part = ascending.subspan(skip, used);
            out.push_back(std::accumulate(part.begin(), part.end(), 0.0) / static_cast<double>(used));
        }
        return out;
    };
    return detail::noise_bias(detail::deconvolved(night.values, night.own_errors), night.own_errors,
                              statistics, settings.noise_draws, settings.seed);
}

// Fills out.estimates; returns the draws, which the routine level needs too.
Resampled add_estimates(RestingUptake& out, const Night& night, const std::optional<Lowest>& lowest,
                        const Reason& no_lowest, const std::string& stay, const RestingSettings& settings) {
    std::vector<RestingMethod> ordered;
    for (const auto method : all_resting_methods) {
        if (method != RestingMethod::lowest_normal && compute(method, night, lowest, settings)) {
            ordered.push_back(method);
        }
    }
    const auto biases = noise_biases(night, ordered, settings);
    auto draws = resampled(night, ordered, settings);
    for (const auto method : all_resting_methods) {
        RestingEntry entry{.method = method, .estimate = std::nullopt, .skipped = {}};
        auto computed = compute(method, night, lowest, settings);
        if (!computed) {
            entry.skipped = method == RestingMethod::lowest_normal
                                ? no_lowest
                                : Reason{"few_values", computed.error().text()};
        } else {
            detail::NoiseBias bias;
            for (std::size_t k = 0; k < ordered.size(); ++k) {
                bias = ordered[k] == method ? biases[k] : bias;
            }
            std::optional<fit::BootstrapResult> spread;
            if (method == RestingMethod::lowest_normal) {
                const auto refits = resampled(*lowest, night, settings);
                spread = refits ? std::optional(*refits) : std::nullopt;
            } else if (const auto found = draws.by_method.find(method); found != draws.by_method.end()) {
                spread = found->second;
            }
            entry.estimate = estimate_of(method, night, *computed, spread, bias, stay);
        }
        out.estimates.push_back(std::move(entry));
    }
    return draws;
}

// Robust standard deviation of values: 1.4826 times the median distance from their median.
double robust_sd(std::vector<double> values) {
    const double middle = fit::quantile(values, 0.5).value_or(0.0);
    for (auto& value : values) {
        value = std::abs(value - middle);
    }
    return 1.4826 * fit::quantile(values, 0.5).value_or(0.0);
}

// Standard error of a median of n values: 1.2533 sd/sqrt(n) (normal, large n).
double median_error(double sd, std::size_t n) {
    return 1.2533 * sd / std::sqrt(static_cast<double>(n));
}

RoutineUptake routine_of(const Night& night, const std::optional<fit::BootstrapResult>& median_draws,
                         const std::string& stay, const RestingSettings& settings) {
    RoutineUptake out;
    out.values = night.values.size();
    out.utc_offset = settings.utc_offset;
    std::map<int, std::vector<std::size_t>> by_hour;
    for (std::size_t i = 0; i < night.spells.size(); ++i) {
        by_hour[detail::hour_of_day(night.spells[i].middle(), settings.utc_offset)].push_back(i);
    }
    // Of the whole night: the few values of one hour tell next to nothing of their own scatter.
    const double scatter = robust_sd(night.values);
    const double whole_sd = median_draws ? median_draws->se : median_error(scatter, night.values.size());
    out.whole_night = with_uncertainty(night.systematic.of(quantile_weights(night.values, 0.5)), whole_sd,
                                       "routine sampling:" + stay);
    for (const auto& [hour, spells] : by_hour) {
        if (spells.size() < std::max<std::size_t>(settings.least_per_hour, 1)) {
            continue;
        }
        RoutineHour entry{.hour_of_day = hour, .values = spells.size(), .median = {}};
        // Shared sources are told from own ones over the whole night: an hour of three spells alone could
        // not.
        std::vector<double> values;
        for (const std::size_t i : spells) {
            values.push_back(night.values[i]);
        }
        const auto own_weights = quantile_weights(values, 0.5);
        std::vector<double> weights(night.spells.size(), 0.0);
        for (std::size_t k = 0; k < spells.size(); ++k) {
            weights[spells[k]] = own_weights[k];
        }
        entry.median = with_uncertainty(night.systematic.of(weights), median_error(scatter, spells.size()),
                                        "routine sampling:" + stay + " hour " + std::to_string(hour));
        out.hours.push_back(std::move(entry));
    }
    return out;
}

void add_cautions(RestingUptake& out, const Night& night, const RestingSettings& settings) {
    if (out.standing == RestingStanding::not_recovered) {
        out.reasons.push_back({"not_recovered", out.cut_off_why});
    }
    if (out.stay_h < settings.short_stay_h) {
        out.reasons.push_back({"short_stay", "the stay is " + fixed_text(out.stay_h, 1) + " h long, under " +
                                                 fixed_text(settings.short_stay_h, 0) +
                                                 " h: compare only with stays alike"});
    }
    if (night.values.size() < settings.least_for_lowest_normal) {
        out.reasons.push_back(
            {"few_values", "only " + std::to_string(night.values.size()) + " values count"});
    }
    const auto doubtful = std::ranges::count_if(
        night.spells, [](const SpellUptake& spell) { return spell.mark == Mark::doubtful; });
    if (2 * static_cast<std::size_t>(doubtful) > night.spells.size()) {
        out.reasons.push_back({"most_spells_doubtful",
                               std::to_string(doubtful) + " of the " + std::to_string(night.spells.size()) +
                                   " spells that count are doubtful: look at their reasons first"});
    }
    const auto [least, greatest] = std::minmax_element(night.values.begin(), night.values.end());
    if (*least == *greatest) {
        out.reasons.push_back({"equal_values", "all values are equal"});
    }
    if (*least < 0.0) {
        const auto below =
            std::count_if(night.values.begin(), night.values.end(), [](double v) { return v < 0.0; });
        out.reasons.push_back({"negative_uptake", std::to_string(below) + " of " +
                                                      std::to_string(night.values.size()) +
                                                      " values are below 0: look at the background"});
    }
}

} // namespace

std::string word(RestingMethod method) {
    switch (method) {
    case RestingMethod::mean_of_ten_lowest:
        return "mean_of_ten_lowest";
    case RestingMethod::lowest_tenth:
        return "lowest_tenth";
    case RestingMethod::lowest_normal:
        return "lowest_normal";
    default:
        return "quantile_" + fixed_text(100.0 * quantile_of(method), 0);
    }
}

std::string description(RestingMethod method) {
    switch (method) {
    case RestingMethod::mean_of_ten_lowest:
        return "mean of the ten lowest values";
    case RestingMethod::lowest_tenth:
        return "mean of the lowest tenth after the five lowest are dropped";
    case RestingMethod::lowest_normal:
        return "mean of the lowest normal component";
    default:
        return fixed_text(quantile_of(method), 2) + " quantile";
    }
}

RestingMethod method_by_rule(std::optional<double> lowest_normal_cv_percent,
                             const RestingSettings& settings) {
    return lowest_normal_cv_percent && *lowest_normal_cv_percent <= settings.cv_limit_percent
               ? RestingMethod::lowest_normal
               : method_of_quantile(settings.rule_quantile);
}

Expected<double> estimate_plain(RestingMethod method, std::span<const double> values,
                                const RestingSettings& settings) {
    for (const double value : values) {
        if (!std::isfinite(value)) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = "a value that is not finite",
                         .expected = "a resting estimate needs finite values",
                         .remedy = "leave out what is missing",
                         .place = {},
                         .context = {}});
        }
    }
    if (values.empty()) {
        return fail(too_few(0, 1, description(method)));
    }
    Night night;
    night.values.assign(values.begin(), values.end());
    std::optional<Lowest> lowest;
    if (method == RestingMethod::lowest_normal) {
        auto found = lowest_of(values, settings);
        if (!found) {
            return fail(std::move(found).error());
        }
        lowest = std::move(*found);
    }
    auto computed = compute(method, night, lowest, settings);
    if (!computed) {
        return fail(std::move(computed).error());
    }
    return computed->value;
}

RoutineUptake::Level RoutineUptake::at(Instant moment) const {
    const auto median_of = [&](int hour) {
        const auto found = std::find_if(hours.begin(), hours.end(),
                                        [&](const RoutineHour& entry) { return entry.hour_of_day == hour; });
        return found == hours.end() ? nullptr : &found->median;
    };
    const auto between = detail::mid_hours(moment, utc_offset);
    const auto* before = median_of(between.before);
    const auto* after = median_of(between.after);
    Level out{.rate = whole_night,
              .hour_matched = median_of(detail::hour_of_day(moment, utc_offset)) != nullptr};
    if (before != nullptr || after != nullptr) {
        out.rate = ((before != nullptr ? *before : whole_night) * (1.0 - between.share)) +
                   ((after != nullptr ? *after : whole_night) * between.share);
    }
    return out;
}

Expected<RestingUptake> resting_uptake(const RestingInput& input, const RestingSettings& settings) {
    std::vector<std::size_t> usable;
    for (std::size_t i = 0; i < input.spells.size(); ++i) {
        if (input.spells[i].is_usable() && std::isfinite(input.spells[i].uptake_mg_per_h.value())) {
            usable.push_back(i);
        }
    }
    std::sort(usable.begin(), usable.end(), [&](auto a, auto b) {
        return std::pair(input.spells[a].middle(), a) < std::pair(input.spells[b].middle(), b);
    });
    if (usable.size() < std::max<std::size_t>(settings.least_values, 2)) {
        return fail(
            too_few(usable.size(), std::max<std::size_t>(settings.least_values, 2), "a resting uptake")
                .within("stay " + input.stay));
    }
    std::vector<double> hours;
    std::vector<double> begins;
    std::vector<double> values;
    for (const auto i : usable) {
        begins.push_back((input.spells[i].from - input.handled).hours());
        hours.push_back((input.spells[i].middle() - input.handled).hours());
        values.push_back(input.spells[i].uptake_mg_per_h.value());
    }

    RestingUptake out;
    out.stay_h = (input.spells[usable.back()].to - input.spells[usable.front()].sealed_from).hours();
    const auto cut = detail::find_cut_off(hours, begins, values, settings);
    out.cut_off_why = cut.why;
    out.cut_off_curve = detail::cut_off_curve(hours, values, settings);
    std::vector<SpellUptake> counted;
    double temperature = 0.0;
    double background = 0.0;
    double total = 0.0;
    for (std::size_t k = cut.first; k < usable.size(); ++k) {
        const auto& spell = input.spells[usable[k]];
        out.counted.push_back(usable[k]);
        counted.push_back(spell);
        temperature += spell.temperature_mean_celsius;
        background += spell.background_mg_per_h.value();
        total += spell.total_mg_per_h.value();
    }
    out.counted_from = counted.front().from;
    out.cut_off_h = (out.counted_from - input.handled).hours();
    out.temperature_mean_celsius = temperature / static_cast<double>(counted.size());
    if (total > 0.0) {
        out.background_share = background / total;
    }
    out.standing = !cut.recovered                       ? RestingStanding::not_recovered
                   : out.stay_h < settings.short_stay_h ? RestingStanding::overnight
                                                        : RestingStanding::standard;
    out.name = out.standing == RestingStanding::standard    ? "SMR"
               : out.standing == RestingStanding::overnight ? "resting, overnight"
                                                            : "resting, not recovered";

    const Night night = night_of(std::move(counted), settings);
    std::optional<Lowest> lowest;
    Reason no_lowest;
    if (auto found = lowest_of(night.values, settings)) {
        lowest = std::move(*found);
        LowestNormal shown;
        for (const auto& component : lowest->mixture.components) {
            shown.weights.push_back(component.weight);
            shown.means_mg_per_h.push_back(component.mean);
            shown.sds_mg_per_h.push_back(component.sd);
        }
        shown.lowest = lowest->index;
        shown.classified = lowest->normal.values;
        shown.cv_percent = lowest->normal.cv_percent;
        out.mixture = std::move(shown);
    } else {
        no_lowest = {"no_lowest_normal", found.error().text()};
    }
    const auto draws = add_estimates(out, night, lowest, no_lowest, input.stay, settings);
    out.chosen = method_by_rule(lowest ? std::optional(lowest->normal.cv_percent) : std::nullopt, settings);
    out.chosen_why = lowest
                         ? "values in the lowest normal vary by " + fixed_text(lowest->normal.cv_percent, 1) +
                               " % (limit " + fixed_text(settings.cv_limit_percent, 1) +
                               " %): " + description(out.chosen)
                         : description(out.chosen) + ", since there is no lowest normal: " + no_lowest.text;
    for (const auto& entry : out.estimates) {
        if (entry.method == out.chosen && entry.estimate) {
            out.value = *entry.estimate;
        }
    }
    out.routine = routine_of(night, draws.median, input.stay, settings);
    out.routine.standing = out.standing;
    out.routine.from = out.counted_from;
    out.routine.to = input.spells[usable.back()].to;
    out.routine.still_falling = detail::still_falls(hours, values, cut.first, settings);
    add_cautions(out, night, settings);
    return out;
}

} // namespace backeddy::uptake
