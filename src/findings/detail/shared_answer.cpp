#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/counts.hpp"
#include "study/words.hpp"

namespace backeddy::findings::detail {

stats::TermBootstrapOptions bootstrap_of(const Frame& frame) {
    return {.draws = bootstrap_draws, .threads = frame.options.threads, .drawn = frame.options.simulated};
}

std::string where_text(const Frame& frame) {
    const auto rows = frame.kept.size();
    const auto fish = frame.fish();
    if (fish == rows) {
        return fmt::format("Across {} fish,", fish);
    }
    return fish == 0 ? fmt::format("Across {} {},", rows, frame.rows.nouns())
                     : fmt::format("In {} {} of {} fish,", rows, frame.rows.nouns(), fish);
}

std::string advice_on_scatter(const Frame& frame, const char* ask_again) {
    if (frame.family == study::QuestionFamily::log_normal) {
        return {};
    }
    const auto values = frame.outcomes();
    const bool has_logarithms = std::ranges::all_of(values, [](double value) { return value > 0.0; });
    const bool has_ranks =
        frame.compares_groups && frame.levels().size() == 2 && frame.adjust.empty() && frame.random.empty();
    return has_logarithms ? fmt::format("{} with family = \"log_normal\"", ask_again)
           : has_ranks ? std::string("; values at or below 0 have no logarithm, but ranks: see Mann-Whitney "
                                     "among the tests")
                       : std::string();
}

namespace {

// "bites is higher" is no sentence: of counts their rate is, or their mean.
std::string outcome_words(const Frame& frame) {
    using study::QuestionFamily;
    const bool is_count =
        frame.family == QuestionFamily::poisson || frame.family == QuestionFamily::negative_binomial;
    if (frame.family == QuestionFamily::binomial) {
        const auto successes = successes_of(frame); // "the odds of landed", but of what else is counted
        return successes && successes->yes != "yes"
                   ? fmt::format("{} = {}", frame.outcome.title, successes->yes)
                   : frame.outcome.title;
    }
    return fmt::format("{}{}",
                       !is_count                        ? ""
                       : frame.outcome.exposure.empty() ? "the mean of "
                                                        : "the rate of ",
                       frame.outcome.title);
}

} // namespace

EffectWords effect_words(const Frame& frame, const std::string& level, const std::string& reference) {
    EffectWords out{.outcome = outcome_words(frame),
                    .is_time = frame.family == study::QuestionFamily::time,
                    .where = where_text(frame)};
    const auto& preposition = frame.compare.preposition;
    if (frame.compares_groups) {
        out.higher_in = fmt::format("{} {}", preposition, level);
        out.than = fmt::format("{} {}", preposition, reference);
    } else {
        const bool is_log = frame.compare_name != frame.compare.name;
        const auto& unit = frame.compare.unit;
        out.higher_in =
            is_log ? fmt::format("for each doubling of {}", frame.compare.title)
                   : fmt::format("for each {} more of {}", unit.empty() ? "1" : unit, frame.compare.title);
    }
    return out;
}

void give_up(Finding& out, const Error& error) {
    out.unanswered = error.remedy.empty()
                         ? fmt::format("{}; expected {}", error.found, error.expected)
                         : fmt::format("{}; expected {}; {}", error.found, error.expected, error.remedy);
}

void judge_margin(const Frame& frame, Finding& out) {
    const auto& question = frame.question;
    if (!question.margin || question.better == study::BetterIs::not_said || !out.margin_text.empty()) {
        return;
    }
    if (out.effects.size() != 1 || !out.effects.front().value) {
        out.margin_text = "The margin was not judged: it needs one effect, between two groups or of a slope.";
        return;
    }
    const bool is_ratio = out.scale != EffectScale::difference;
    const bool lower_is_better = question.better == study::BetterIs::lower;
    if (is_ratio && (lower_is_better ? *question.margin <= 1.0 : *question.margin >= 1.0)) {
        out.margin_text = fmt::format(
            "The margin was not judged: {} is no last acceptable ratio where {} is better; write one {}.",
            exact_text(*question.margin), study::word_of(question.better),
            lower_is_better ? "above 1, such as 1.2" : "between 0 and 1, such as 0.8");
        return;
    }
    const auto& effect = out.effects.front();
    // A ratio is judged by its logarithm: the margin is the largest acceptable loss there.
    const auto scaled = [&](double value) { return is_ratio ? std::log(value) : value; };
    constexpr double infinite = std::numeric_limits<double>::infinity();
    const stats::Interval limits{effect.lower ? scaled(*effect.lower) : -infinite,
                                 effect.upper ? scaled(*effect.upper) : infinite};
    const auto better =
        question.better == study::BetterIs::higher ? stats::Better::higher : stats::Better::lower;
    const auto judged = stats::judge_interval(
        scaled(*effect.value), limits, {.value = std::fabs(scaled(*question.margin)), .better = better});
    if (!judged) {
        out.margin_text = judged.error().text();
        return;
    }
    const auto shown = [&](double value) {
        return rounded(is_ratio ? std::exp(value) : value, out.effects.front());
    };
    const char* says = judged->shown == stats::Shown::better      ? "better, and so not worse by the margin"
                       : judged->shown == stats::Shown::not_worse ? "not worse by the margin"
                       : judged->shown == stats::Shown::little_worse ? "worse, by less than the margin"
                       : judged->shown == stats::Shown::worse        ? "worse by more than the margin"
                                                                     : "not decided: too few";
    out.margin_text = fmt::format(
        "Against the margin of {} ({} is better), {} is {}: the one-sided 97.5 % limit is {}.",
        shown(scaled(*question.margin)), study::word_of(question.better), out.effects.front().name, says,
        shown(judged->shown == stats::Shown::worse ? judged->other_limit : judged->limit));
}

} // namespace backeddy::findings::detail
