#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "quantity/measured.hpp"
#include "stats/agreement.hpp"
#include "stats/paired.hpp"

namespace backeddy::findings::detail {

namespace {

struct Pairs {
    std::vector<std::string> whose;
    std::vector<double> first;         ///< under the reference level; logarithms for ratios
    std::vector<double> second;        ///< under the other
    std::vector<double> uncertainties; ///< of second less first; empty unless each is known
};

const std::string& whose_at(const Frame& frame, std::size_t place) {
    const auto& factor = frame.table.factor(frame.question.within);
    return factor.levels[factor.codes[place]];
}

std::size_t level_at(const Frame& frame, std::size_t place) {
    return frame.table.factor(frame.compare_name).codes[place];
}

const Value& value_at(const Frame& frame, std::size_t place) {
    return std::get<Value>(frame.outcome.cells[frame.kept[place]]);
}

// Standard uncertainty of second less first: what both share by name cancels.
double difference_uncertainty(const Value& first, const Value& second, bool is_ratio) {
    const auto measured = [](const Value& value) {
        return value.contributions.empty() ? Measured(value.value)
                                           : Measured(value.value, value.contributions);
    };
    if (first.contributions.empty() || second.contributions.empty()) {
        const double a = *first.uncertainty / (is_ratio ? first.value : 1.0);
        const double b = *second.uncertainty / (is_ratio ? second.value : 1.0);
        return std::hypot(a, b);
    }
    const auto difference =
        is_ratio ? log(measured(second)) - log(measured(first)) : measured(second) - measured(first);
    return difference.standard_uncertainty();
}

bool has_uncertainty(const Value& value) {
    return value.uncertainty && *value.uncertainty > 0.0;
}

// Pairs in the order of the rows; make_frame() has left out who has one side only.
Pairs pairs_of(const Frame& frame) {
    std::map<std::string, std::array<std::optional<std::size_t>, 2>> found;
    std::vector<std::string> order;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        auto& pair = found[whose_at(frame, place)];
        if (!pair[0] && !pair[1]) {
            order.push_back(whose_at(frame, place));
        }
        pair[level_at(frame, place)] = place;
    }
    const bool is_ratio = frame.family == study::QuestionFamily::log_normal;
    const auto outcomes = frame.outcomes();
    Pairs pairs;
    bool all_known = true;
    for (const auto& whose : order) {
        const auto& [first, second] = found[whose];
        pairs.whose.push_back(whose);
        pairs.first.push_back(outcomes[*first]);
        pairs.second.push_back(outcomes[*second]);
        const auto& a = value_at(frame, *first);
        const auto& b = value_at(frame, *second);
        all_known = all_known && has_uncertainty(a) && has_uncertainty(b);
        pairs.uncertainties.push_back(all_known ? difference_uncertainty(a, b, is_ratio) : 0.0);
    }
    if (!all_known) {
        pairs.uncertainties.clear();
    }
    return pairs;
}

std::string scaled(double value, const Scale& scale, const FoundNumber& like) {
    return rounded(scale.is_ratio() ? std::exp(value) : value, like);
}

// The same question put in other ways, each in a sentence with its numbers.
void add_other_ways(const stats::Differences& differences, const Pairs& pairs, const Scale& scale,
                    const FoundNumber& headline, Finding& out) {
    const auto interval = [&](const stats::Interval& limits) {
        return fmt::format("{} to {}", scaled(limits.lower, scale, headline),
                           scaled(limits.upper, scale, headline));
    };
    if (const auto ranks = stats::signed_rank(differences)) {
        out.tests.push_back(
            {.name = "Wilcoxon signed rank",
             .text = fmt::format("{} ({}, {} pairs that differ)", p_text(ranks->p.two_sided),
                                 ranks->is_exact ? "exact" : "normal approximation", ranks->n),
             .p = ranks->p.two_sided});
    }
    if (const auto shift = stats::hodges_lehmann(differences)) {
        out.tests.push_back(
            {.name = "Hodges-Lehmann estimate",
             .text = fmt::format("{} ({:.1f} % interval {})", scaled(shift->value, scale, headline),
                                 100.0 * shift->level_reached, interval(shift->interval))});
    }
    if (const auto bootstrap = stats::paired_bootstrap(differences)) {
        out.tests.push_back({.name = "bootstrap of the pairs",
                             .text = fmt::format("95 % interval {} (studentised, 9999 draws)",
                                                 interval(bootstrap->interval))});
    }
    if (const auto weighted = pairs.uncertainties.empty()
                                  ? Expected<stats::WeightedDifference>(fail({}))
                                  : stats::weighted_difference(differences, pairs.uncertainties)) {
        const auto number = found(weighted->difference, scale);
        out.tests.push_back(
            {.name = "weighed by measurement uncertainty",
             .text = fmt::format("{}, {}; true differences between fish: standard deviation {}{}",
                                 with_interval(number), p_text(weighted->p.two_sided),
                                 significant_text(weighted->between_sd, 2),
                                 scale.is_ratio() ? " of the logarithm" : ""),
             .p = weighted->p.two_sided});
    }
}

void add_agreement(const Pairs& pairs, const Scale& scale, const FoundNumber& headline, Finding& out) {
    if (const auto limits = stats::limits_of_agreement(pairs.second, pairs.first)) {
        const auto limit = [&](const stats::Limit& one) {
            return fmt::format("{} ({} to {})", scaled(one.value, scale, headline),
                               scaled(one.interval.lower, scale, headline),
                               scaled(one.interval.upper, scale, headline));
        };
        out.tests.push_back(
            {.name = "limits of agreement",
             .text = fmt::format("95 % of fish differ between {} and {} (intervals in brackets; "
                                 "Bland and Altman)",
                                 limit(limits->lower), limit(limits->upper))});
    }
    if (const auto agreement = stats::concordance(pairs.second, pairs.first)) {
        out.tests.push_back(
            {.name = "concordance",
             .text = fmt::format("{:.2f} (95 % interval {:.2f} to {:.2f}; Lin)", agreement->value,
                                 agreement->interval.lower, agreement->interval.upper)});
    }
}

void check_pairs(const stats::Differences& differences, Finding& out) {
    const auto n = static_cast<double>(differences.values.size());
    double mean = 0.0;
    for (const auto value : differences.values) {
        mean += value / n;
    }
    double square = 0.0;
    double farthest = 0.0;
    for (const auto value : differences.values) {
        square += (value - mean) * (value - mean);
        farthest = std::max(farthest, std::fabs(value - mean));
    }
    // The largest |d - mean| / sd that n values can show is (n - 1) / sqrt(n) (Thompson 1935).
    const double sd = std::sqrt(square / (n - 1.0));
    const double largest = farthest / sd;
    const bool is_far = largest > 3.0;
    out.checks.push_back(
        {.name = "differences",
         .verdict = is_far ? FoundCheck::Verdict::look : FoundCheck::Verdict::fine,
         .text = is_far ? fmt::format("one difference lies {:.1f} standard deviations from the mean: look "
                                      "at that fish, and at the ranks beside the t",
                                      largest)
                        : fmt::format("no difference lies more than {:.1f} standard deviations from "
                                      "their mean",
                                      largest)});
    if (differences.values.size() < 6) {
        out.warnings.push_back(fmt::format("{} pairs: too few to judge whether differences are normal",
                                           differences.values.size()));
    }
}

} // namespace

bool is_paired(const Frame& frame) {
    if (frame.question.within.empty() || !frame.compares_groups || frame.levels().size() != 2 ||
        !frame.adjust.empty() || frame.random.size() != 1) {
        return false;
    }
    std::map<std::pair<std::string, std::size_t>, std::size_t> seen;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        if (++seen[{whose_at(frame, place), level_at(frame, place)}] > 1 ||
            !std::holds_alternative<Value>(frame.outcome.cells[frame.kept[place]])) {
            return false;
        }
    }
    return true;
}

void answer_paired(const Frame& frame, Finding& out) {
    const auto pairs = pairs_of(frame);
    const auto differences = stats::differences_of(pairs.second, pairs.first);
    if (!differences) {
        return give_up(out, differences.error());
    }
    const auto t = stats::paired_t(*differences);
    if (!t) {
        return give_up(out, t.error());
    }
    const bool is_ratio = frame.family == study::QuestionFamily::log_normal;
    const Scale scale{is_ratio ? EffectScale::ratio : EffectScale::difference, frame.outcome.unit};
    out.scale = scale.scale;
    out.model = fmt::format("{} under {} less {}, within {}",
                            is_ratio ? "log " + frame.outcome.title : frame.outcome.title, frame.levels()[1],
                            frame.levels()[0], frame.question.within);
    out.method = fmt::format("Paired t on {} {}, {} degrees of freedom", pairs.whose.size(),
                             is_ratio ? "differences of logarithms" : "differences", pairs.whose.size() - 1);
    auto effect = found(t->difference, scale);
    effect.name = fmt::format("{} against {}", frame.levels()[1], frame.levels()[0]);
    out.tests.push_back(
        {.name = "effect size",
         .text = fmt::format("d_z = {:.2f} (95 % interval {:.2f} to {:.2f}): mean difference over the "
                             "standard deviation of the differences",
                             t->effect_size, t->effect_size_interval.lower, t->effect_size_interval.upper)});
    add_other_ways(*differences, pairs, scale, effect, out);
    add_agreement(pairs, scale, effect, out);
    check_pairs(*differences, out);
    if (frame.question.weigh_by_uncertainty) {
        out.warnings.push_back(
            pairs.uncertainties.empty()
                ? "not every pair has an uncertainty: all count alike"
                : "in the headline all pairs count alike; weighed by their uncertainty they stand "
                  "among the tests");
    }
    auto words = effect_words(frame, frame.levels()[1], frame.levels()[0]);
    words.where =
        fmt::format("In the same {} {},", pairs.whose.size(),
                    frame.question.within == "fish" ? "fish" : "levels of " + frame.question.within);
    out.sentence = effect_sentence(effect, scale.scale, words);
    out.effects.push_back(std::move(effect));
    plan_pairs(frame, pairs.whose.size(), t->sd, out);
}

} // namespace backeddy::findings::detail
