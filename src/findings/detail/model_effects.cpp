#include "findings/detail/model_effects.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "findings/detail/answers.hpp"

namespace backeddy::findings::detail {

namespace {

/// Groups with fewer levels tell nothing of a variance between levels: they become fixed terms.
constexpr std::size_t least_random_levels = 4;

FoundNumber on_response(const stats::Estimate& estimate, const EffectModel& model) {
    const Scale plain{EffectScale::difference, model.response_unit};
    auto at = estimate;
    at.value = model.response(estimate.value);
    at.lower = model.response(estimate.lower);
    at.upper = model.response(estimate.upper);
    auto out = found(at, plain);
    out.p.reset(); // of a mean being 0: nobody asks
    out.se.reset();
    out.freedom.reset();
    return out;
}

void add_pairs(const Frame& frame, const std::vector<stats::Mean>& means, const EffectModel& model,
               Finding& out) {
    const bool is_family = means.size() > 2;
    const auto pairs =
        stats::compare(means, model.contrast,
                       {.adjustment = is_family ? stats::Adjustment::tukey : stats::Adjustment::none});
    if (!pairs) {
        return give_up(out, pairs.error());
    }
    // In the order of compare(): later less earlier.
    const auto& levels = frame.levels();
    std::size_t at = 0;
    for (std::size_t i = 0; i < levels.size(); ++i) {
        for (std::size_t j = i + 1; j < levels.size() && at < pairs->size(); ++j, ++at) {
            const auto& pair = (*pairs)[at];
            auto number = found(pair.estimate, model.scale);
            number.name = fmt::format("{} against {}", levels[j], levels[i]);
            if (is_family) {
                number.p_corrected = number.p;
                number.p = pair.p_alone;
            }
            out.effects.push_back(std::move(number));
        }
    }
    if (is_family) {
        out.method += fmt::format("; the {} comparisons by Tukey's range", pairs->size());
    }
}

void add_groups(const Frame& frame, const EffectModel& model, Finding& out) {
    const auto means = stats::marginal_means(model.design, {.of = {frame.compare_name}}, model.contrast);
    if (!means) {
        return give_up(out, means.error());
    }
    for (const auto& mean : *means) {
        if (model.response) {
            auto number = on_response(mean.estimate, model);
            number.name = mean.of.front();
            out.groups.push_back(std::move(number));
        }
    }
    add_pairs(frame, *means, model, out);
}

std::vector<double> drawn_values(std::span<const double> values) {
    const auto [least, most] = std::minmax_element(values.begin(), values.end());
    constexpr int steps = 40;
    std::vector<double> out;
    for (int i = 0; i <= steps; ++i) {
        out.push_back(*least + (*most - *least) * i / steps);
    }
    return out;
}

void add_curve(const Frame& frame, const EffectModel& model, Finding& out) {
    const bool is_log = frame.compare_name != frame.compare.name;
    const auto values = drawn_values(frame.table.numbers(frame.compare_name));
    const auto means = stats::marginal_means(
        model.design, {.of = {frame.compare_name}, .at = {{frame.compare_name, values}}}, model.contrast);
    FoundCurve curve;
    for (std::size_t i = 0; means && i < means->size(); ++i) {
        const auto at = on_response((*means)[i].estimate, model);
        if (at.value && at.lower && at.upper) {
            curve.x.push_back(is_log ? std::exp(values[i]) : values[i]);
            curve.y.push_back(*at.value);
            curve.lower.push_back(*at.lower);
            curve.upper.push_back(*at.upper);
        }
    }
    out.curves.push_back(std::move(curve));
}

// Between the mean of the column and one (or a doubling) more, averaged over what it interacts with.
void add_slope(const Frame& frame, const EffectModel& model, Finding& out) {
    const bool is_log = frame.compare_name != frame.compare.name;
    double mean = 0.0;
    const auto values = frame.table.numbers(frame.compare_name);
    for (const auto value : values) {
        mean += value / static_cast<double>(values.size());
    }
    const double step = is_log ? std::log(2.0) : 1.0;
    const auto means = stats::marginal_means(
        model.design, {.of = {frame.compare_name}, .at = {{frame.compare_name, {mean, mean + step}}}},
        model.contrast);
    if (!means) {
        return give_up(out, means.error());
    }
    auto weights = (*means)[1].weights;
    for (std::size_t k = 0; k < weights.size(); ++k) {
        weights[k] -= (*means)[0].weights[k];
    }
    const auto slope = model.contrast(frame.compare_name, weights);
    auto number = found(slope, model.scale);
    const auto& unit = frame.compare.unit;
    number.name = is_log
                      ? "doubling of " + frame.compare.title
                      : fmt::format("{} more of {}", unit.empty() ? "1" : "1 " + unit, frame.compare.title);
    out.effects.push_back(std::move(number));
    if (model.response) {
        add_curve(frame, model, out);
    }
}

} // namespace

void add_effects(const Frame& frame, const EffectModel& model, Finding& out) {
    out.scale = model.scale.scale;
    if (frame.compares_groups) {
        add_groups(frame, model, out);
    } else {
        add_slope(frame, model, out);
    }
    if (out.unanswered.empty() && !out.effects.empty()) {
        say_effect(frame, out);
    }
}

void say_effect(const Frame& frame, Finding& out) {
    const auto& levels = frame.levels();
    const auto words =
        frame.compares_groups ? effect_words(frame, levels[1], levels[0]) : effect_words(frame, "", "");
    out.sentence = effect_sentence(out.effects.front(), out.scale, words);
}

std::optional<std::size_t> own_column(const Frame& frame, const stats::Design& design) {
    std::optional<std::size_t> own;
    for (std::size_t k = 0; k < design.columns(); ++k) {
        const auto term = design.term_of(k);
        if (!term) {
            continue;
        }
        const auto& columns = design.made_of().terms[*term].columns;
        if (std::find(columns.begin(), columns.end(), frame.compare_name) == columns.end()) {
            continue;
        }
        if (columns.size() > 1 || own) {
            return std::nullopt;
        }
        own = k;
    }
    return own;
}

void take_likelihood(const Frame& frame, const stats::Design& design, const LimitsOf& limits_of,
                     const std::vector<stats::TermChiSquared>& tests, Finding& out) {
    const auto own = out.effects.size() == 1 ? own_column(frame, design) : std::nullopt;
    const auto limits = own ? limits_of(*own) : std::nullopt;
    if (!limits) {
        return;
    }
    const bool is_doubling = !frame.compares_groups && frame.compare_name != frame.compare.name;
    const double step = is_doubling ? std::log(2.0) : 1.0;
    const bool is_ratio = out.scale != EffectScale::difference;
    const auto shown = [&](double limit) {
        const double value = is_ratio ? std::exp(step * limit) : step * limit;
        return std::isfinite(limit) ? std::optional(value) : std::nullopt;
    };
    auto& effect = out.effects.front();
    effect.lower = shown(limits->lower);
    effect.upper = shown(limits->upper);
    effect.method = "interval by profile likelihood, p by likelihood ratio";
    const auto test = std::find_if(tests.begin(), tests.end(),
                                   [&](const auto& one) { return one.term == frame.compare_name; });
    if (test != tests.end()) {
        effect.p = test->test.p;
    }
    say_effect(frame, out);
}

bool take_simulated(const Frame& frame, const stats::Design& design,
                    const Expected<stats::TermBootstrap>& simulated, const std::string& few,
                    const LimitsOf& limits_of, Finding& out) {
    if (!simulated) {
        out.warnings.push_back(
            fmt::format("few to judge by ({}), and chance could not be simulated ({}): the "
                        "interval may be too short",
                        few, simulated.error().found));
        return false;
    }
    out.tests.push_back(
        {.name = fmt::format("{}, by simulation", frame.compare_name),
         .text = fmt::format("{}: of {} outcomes simulated without the effect so many differ as "
                             "much; with {} trust this before chi-squared",
                             p_text(simulated->p), simulated->draws, few),
         .p = simulated->p});
    if (out.effects.size() != 1 || !own_column(frame, design) || !std::isfinite(simulated->critical)) {
        return false;
    }
    take_likelihood(frame, design, limits_of, {{.term = frame.compare_name, .test = {.p = simulated->p}}},
                    out);
    out.effects.front().method = "p and the interval's width by simulation without the effect";
    return true;
}

std::optional<std::size_t> own_term(const Frame& frame, const stats::Design& design) {
    const auto& terms = design.terms();
    const auto at = std::find(terms.begin(), terms.end(), frame.compare_name);
    return at == terms.end() ? std::nullopt : std::optional(static_cast<std::size_t>(at - terms.begin()));
}

void add_coefficients(const std::vector<stats::Estimate>& coefficients, const Scale& scale, Finding& out) {
    for (const auto& coefficient : coefficients) {
        auto number = found(coefficient, scale);
        if (coefficient.name != "intercept") {
            number.unit.clear(); // per unit of its column
        } else {
            number.is_ratio = false; // a mean, a rate or the odds themselves
        }
        out.coefficients.push_back(std::move(number));
    }
}

void add_likelihood_tests(const std::vector<stats::TermChiSquared>& tests, Finding& out) {
    for (const auto& test : tests) {
        out.tests.push_back(
            {.name = test.term,
             .text = fmt::format("likelihood ratio, chi-squared({:.0f}) = {:.2f}, {}", test.test.freedom,
                                 test.test.chi_squared, p_text(test.test.p)),
             .p = test.test.p});
    }
}

stats::ContrastTest contrast_of(std::vector<double> values, std::vector<double> covariance, double freedom) {
    return [values = std::move(values), covariance = std::move(covariance),
            freedom](std::string name, std::span<const double> weights) {
        const auto width =
            static_cast<std::size_t>(std::lround(std::sqrt(static_cast<double>(covariance.size()))));
        double value = 0.0;
        double variance = 0.0;
        for (std::size_t i = 0; i < values.size(); ++i) {
            value += weights[i] * values[i];
            for (std::size_t j = 0; j < values.size(); ++j) {
                variance += weights[i] * weights[j] * covariance[i * width + j];
            }
        }
        return stats::make_estimate(std::move(name), value, std::sqrt(std::max(variance, 0.0)), freedom);
    };
}

stats::Terms fixed_terms(const Frame& frame, const std::vector<std::string>& more) {
    stats::Terms out;
    out.terms.push_back({{frame.compare_name}});
    out.terms.insert(out.terms.end(), frame.adjust.begin(), frame.adjust.end());
    for (const auto& column : more) {
        out.terms.push_back({{column}});
    }
    return out;
}

std::string model_text(const std::string& outcome, const stats::Terms& fixed,
                       const std::vector<study::QuestionRandom>& random) {
    std::vector<std::string> parts;
    for (const auto& term : fixed.terms) {
        parts.push_back(fmt::format("{}", fmt::join(term.columns, " x ")));
    }
    for (const auto& one : random) {
        parts.push_back(one.slope.empty() ? fmt::format("({})", one.group)
                                          : fmt::format("({} within {})", one.slope, one.group));
    }
    return fmt::format("{} = {}", outcome, fmt::join(parts, " + "));
}

std::vector<study::QuestionRandom> random_groups(const Frame& frame, std::vector<std::string>& fixed,
                                                 Finding& out) {
    std::vector<study::QuestionRandom> kept;
    for (const auto& random : frame.random) {
        const auto levels = frame.table.factor(random.group).levels.size();
        if (levels == 1) {
            out.warnings.push_back(
                fmt::format("{} is the same in every row: it takes no part", random.group));
        } else if (levels < least_random_levels && random.slope.empty() &&
                   random.group != frame.compare_name) {
            fixed.push_back(random.group);
            out.warnings.push_back(
                fmt::format("{} has {} levels only, too few to tell how much they vary: it is a "
                            "fixed term instead of a random one",
                            random.group, levels));
        } else {
            kept.push_back(random);
        }
    }
    return kept;
}

} // namespace backeddy::findings::detail
