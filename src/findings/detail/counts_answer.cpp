#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "stats/counts.hpp"
#include "study/words.hpp"

namespace backeddy::findings::detail {

namespace {

using stats::Counted;
using stats::Share;

bool is_plain_pair(const Frame& frame) {
    return frame.compares_groups && frame.levels().size() == 2 && frame.adjust.empty() &&
           frame.random.empty();
}

std::size_t level_at(const Frame& frame, std::size_t place) {
    return frame.table.factor(frame.compare_name).codes[place];
}

stats::Margin margin_of(const study::Question& question) {
    return {.value = *question.margin,
            .better =
                question.better == study::BetterIs::higher ? stats::Better::higher : stats::Better::lower};
}

bool has_margin(const study::Question& question) {
    return question.margin && question.better != study::BetterIs::not_said;
}

void say_margin(const Frame& frame, const Expected<stats::NonInferiority>& judged, Finding& out) {
    out.margin_text = judged ? fmt::format("Against the margin of {} ({} is better): {}",
                                           exact_text(*frame.question.margin),
                                           study::word_of(frame.question.better), judged->words)
                             : judged.error().text();
}

// Where the interval tells two shares apart and Fisher's exact test does not, nothing that rests on their
// being apart is said as shown.
std::string disputed_margin_text(const stats::NonInferiority& judged, const stats::Margin& margin, double p) {
    const bool is_higher = margin.better == stats::Better::higher;
    const auto loss =
        fmt::format("one of {} or {}", significant_text(judged.bound, 3), is_higher ? "lower" : "higher");
    const auto start = fmt::format("The difference is {}", significant_text(judged.estimate, 3));
    switch (judged.shown) {
    case stats::Shown::better:
    case stats::Shown::little_worse:
        return fmt::format("{}, with 97.5 % confidence {} {}: {} is excluded. Whether it is {} at all is not "
                           "shown: the interval "
                           "says so, Fisher's exact test does not ({}).",
                           start, is_higher ? "above" : "below", significant_text(judged.limit, 3), loss,
                           judged.shown == stats::Shown::better ? "better" : "worse", p_text(p));
    case stats::Shown::worse:
        return fmt::format(
            "{}, and by its interval {} is sure, while Fisher's exact test does not even tell the "
            "two apart ({}): worse by more than the margin is not shown; more fish would tell.",
            start, loss, p_text(p));
    case stats::Shown::not_worse:
    case stats::Shown::nothing:
        break;
    }
    return fmt::format("{} Fisher's exact test does not tell the two apart ({}): neither better nor worse is "
                       "shown.",
                       judged.words, p_text(p));
}

// ---------------------------------------------------------------- shares

void add_share_groups(const Frame& frame, const std::array<Share, 2>& shares, Finding& out) {
    for (std::size_t level = 0; level < shares.size(); ++level) {
        if (const auto share = stats::proportion(shares[level])) {
            auto number = found(frame.levels()[level], share->value, share->exact, std::nan(""), "");
            number.method = fmt::format("{} of {}; exact interval", shares[level].count, shares[level].of);
            out.groups.push_back(std::move(number));
        }
    }
}

void add_share_ways(const std::array<Share, 2>& shares, const stats::OddsRatio& odds, Finding& out) {
    out.tests.push_back(
        {.name = "Fisher's exact test",
         .text = fmt::format("{}; odds ratio {} (exact interval {} to {})", p_text(odds.p.two_sided),
                             ratio_text(odds.conditional), ratio_text(odds.exact.lower),
                             std::isfinite(odds.exact.upper) ? ratio_text(odds.exact.upper)
                                                             : std::string("no limit")),
         .p = odds.p.two_sided});
    if (const auto ratio = stats::ratio_of_shares(shares[1], shares[0]);
        ratio && std::isfinite(ratio->value)) {
        out.tests.push_back(
            {.name = "ratio of the shares",
             .text = fmt::format("{} (95 % interval {} to {}, by the score)", ratio_text(ratio->value),
                                 ratio_text(ratio->interval.lower),
                                 std::isfinite(ratio->interval.upper) ? ratio_text(ratio->interval.upper)
                                                                      : std::string("no limit"))});
    }
}

// The interval excludes no difference where the exact test does not.
bool is_interval_alone(const FoundNumber& effect) {
    const bool excludes = (effect.lower && *effect.lower > 0.0) || (effect.upper && *effect.upper < 0.0);
    return excludes && effect.p && *effect.p >= 0.05;
}

// The reverse: small p beside an interval that holds no difference.
void tell_small_p(Finding& out) {
    const auto& effect = out.effects.front();
    const bool holds = effect.lower && effect.upper && *effect.lower <= 0.0 && *effect.upper >= 0.0;
    if (holds && effect.p && *effect.p < 0.05) {
        out.sentence +=
            fmt::format(" Fisher's exact test tells the two apart all the same ({}): the two ways "
                        "disagree, and more rows would tell.",
                        p_text(*effect.p));
    }
}

void say_shares(const Frame& frame, const std::array<Share, 2>& shares, const std::string& yes,
                Finding& out) {
    auto words = effect_words(frame, frame.levels()[1], frame.levels()[0]);
    words.outcome = fmt::format("the share with {} = {}", frame.outcome.title, yes);
    out.sentence = fmt::format("{} {} of {} {} and {} of {} {}: ", where_text(frame), shares[1].count,
                               shares[1].of, words.higher_in, shares[0].count, shares[0].of, words.than);
    words.where.clear();
    const auto& effect = out.effects.front();
    if (!is_interval_alone(effect)) {
        out.sentence += effect_sentence(effect, out.scale, words).substr(1);
        return;
    }
    // The interval leans on large samples where Fisher's test does not.
    out.sentence +=
        fmt::format("{} differs by {} {} against that {} (95 % interval {}), and Fisher's exact test "
                    "does not tell the two apart ({}): which is higher stays open.",
                    words.outcome, rounded(*effect.value, effect), words.higher_in, words.than,
                    interval_text(effect), p_text(*effect.p));
    out.warnings.push_back(fmt::format(
        "of {} and {} {} the interval excludes no difference, and Fisher's exact test ({}) does not: so few "
        "show no direction; take the exact test",
        shares[0].of, shares[1].of, frame.rows.nouns(), p_text(*effect.p)));
}

} // namespace

Expected<Successes> successes_of(const Frame& frame) {
    std::vector<std::string> words;
    for (const auto row : frame.kept) {
        const auto& cell = frame.outcome.cells[row];
        const auto* word = std::get_if<Word>(&cell);
        const auto* value = std::get_if<Value>(&cell);
        const auto truth = word != nullptr ? yes_or_no(word->text) : std::nullopt;
        words.push_back(truth              ? (*truth ? "yes" : "no")
                        : word != nullptr  ? word->text
                        : value != nullptr ? exact_text(value->value)
                                           : std::string());
    }
    auto kinds = words;
    std::sort(kinds.begin(), kinds.end());
    kinds.erase(std::unique(kinds.begin(), kinds.end()), kinds.end());
    if (kinds.size() != 2) {
        return fail(
            {.code = kinds.size() < 2 ? ErrorCode::degenerate : ErrorCode::bad_setting,
             .found = kinds.size() < 2
                          ? fmt::format("{} is \"{}\" for all {} that take part", frame.outcome.name,
                                        kinds.front(), words.size())
                          : fmt::format("{} has {} different values", frame.outcome.name, kinds.size()),
             .expected = "an outcome of two kinds, such as yes and no",
             .remedy = kinds.size() < 2 ? "there is nothing to compare: give each group's share with its "
                                          "exact limits instead"
                                        : "ask with family = \"ordinal\" where the values have an order"});
    }
    Successes out{.yes = kinds[1]};           // "yes" after "no", "1" after "0"
    const auto& order = frame.question.order; // from least to most
    const auto place = [&](const std::string& word) {
        return std::ranges::find(order, word) - order.begin();
    };
    if (place(kinds[0]) != std::ssize(order) && place(kinds[0]) > place(kinds[1])) {
        out.yes = kinds[0];
    }
    for (const auto& word : words) {
        out.list.push_back(word == out.yes);
    }
    return out;
}

bool is_plain_shares(const Frame& frame) {
    return frame.family == study::QuestionFamily::binomial && is_plain_pair(frame);
}

void answer_plain_shares(const Frame& frame, Finding& out) {
    const auto successes = successes_of(frame);
    if (!successes) {
        return give_up(out, successes.error());
    }
    std::array<Share, 2> shares;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        auto& share = shares[level_at(frame, place)];
        share.count += successes->list[place] ? 1 : 0;
        ++share.of;
        out.points[place].value = successes->list[place] ? 1.0 : 0.0;
    }
    const auto difference = stats::difference_of_shares(shares[1], shares[0]);
    const auto odds = stats::odds_ratio(shares[1], shares[0]);
    if (!difference || !odds) {
        return give_up(out, !difference ? difference.error() : odds.error());
    }
    out.scale = EffectScale::difference;
    out.model =
        fmt::format("share of {} = {} by {}", frame.outcome.title, successes->yes, frame.compare_name);
    // A margin is judged by one limit alone, where Newcombe's errs: then the interval shown is the one
    // judged.
    const bool is_judged = has_margin(frame.question);
    out.method = fmt::format("Difference of two shares, {} interval; p by Fisher's exact test",
                             is_judged ? "Miettinen and Nurminen's" : "Newcombe's");
    out.effects.push_back(found(fmt::format("{} against {}", frame.levels()[1], frame.levels()[0]),
                                difference->value, is_judged ? difference->score : difference->interval,
                                odds->p.two_sided, ""));
    add_share_groups(frame, shares, out);
    add_share_ways(shares, *odds, out);
    say_shares(frame, shares, successes->yes, out);
    tell_small_p(out);
    if (is_judged) {
        auto judged = stats::judge_shares(shares[1], shares[0], margin_of(frame.question));
        if (judged && is_interval_alone(out.effects.front())) {
            judged->words = disputed_margin_text(*judged, margin_of(frame.question), *out.effects.front().p);
        }
        say_margin(frame, judged, out);
    }
    plan_shares(frame, shares[0].value(), {shares[0].of, shares[1].of}, out);
}

// ---------------------------------------------------------------- rates

Expected<Counts> counts_of(const Frame& frame) {
    const auto* exposure =
        frame.outcome.exposure.empty() ? nullptr : frame.rows.column(frame.outcome.exposure);
    Counts out;
    for (const auto row : frame.kept) {
        const auto* cell = std::get_if<Value>(&frame.outcome.cells[row]);
        const Value value = cell == nullptr ? Value{.value = -1.0} : *cell;
        const auto* much = exposure == nullptr ? nullptr : std::get_if<Value>(&exposure->cells[row]);
        const bool is_count = value.value >= 0.0 && value.value == std::floor(value.value);
        if (!is_count || (exposure != nullptr && (much == nullptr || !(much->value > 0.0)))) {
            return fail({.code = ErrorCode::out_of_range,
                         .found = fmt::format("{} of {} is {} in {}", frame.outcome.name,
                                              frame.rows.label(row), exact_text(value.value),
                                              much == nullptr ? "nothing" : exact_text(much->value)),
                         .expected = "a whole number of at least 0, counted in an exposure above 0",
                         .remedy = "look at that row"});
        }
        out.counts.push_back(value.value);
        out.exposures.push_back(much == nullptr ? 1.0 : much->value);
    }
    return out;
}

std::string rate_unit(const Frame& frame) {
    return frame.outcome.exposure.empty() ? std::string() : "per " + frame.outcome.exposure;
}

bool is_plain_rates(const Frame& frame) {
    return frame.family == study::QuestionFamily::poisson && is_plain_pair(frame);
}

namespace {

// Pearson's chi-squared of the rows about their group's rate (McCullagh and Nelder 1989, 6.2.3).
void warn_of_scatter(const Frame& frame, const Counts& counts, const std::array<Counted, 2>& sums,
                     Finding& out) {
    double chi_squared = 0.0;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        const auto& sum = sums[level_at(frame, place)];
        const double expected = static_cast<double>(sum.count) / sum.exposure * counts.exposures[place];
        if (expected > 0.0) {
            const double off = counts.counts[place] - expected;
            chi_squared += off * off / expected;
        }
    }
    const double freedom = static_cast<double>(frame.kept.size()) - 2.0;
    if (freedom > 0.0 && stats::chi_squared_upper(chi_squared, freedom) < 0.05) {
        out.warnings.push_back(fmt::format(
            "the counts of rows vary {} times as much as Poisson's: the interval is too narrow; ask with "
            "family = \"negative_binomial\"",
            significant_text(chi_squared / freedom, 3)));
    }
}

} // namespace

void answer_plain_rates(const Frame& frame, Finding& out) {
    const auto counts = counts_of(frame);
    if (!counts) {
        return give_up(out, counts.error());
    }
    std::array<Counted, 2> sums;
    for (std::size_t place = 0; place < frame.kept.size(); ++place) {
        auto& sum = sums[level_at(frame, place)];
        sum.count += static_cast<std::uint64_t>(counts->counts[place]);
        sum.exposure += counts->exposures[place];
        out.points[place].weight = counts->exposures[place];
    }
    const auto ratio = stats::ratio_of_rates(sums[1], sums[0]);
    if (!ratio) {
        return give_up(out, ratio.error());
    }
    out.scale = EffectScale::ratio;
    out.model = fmt::format("{} {} by {}", frame.outcome.title, rate_unit(frame), frame.compare_name);
    out.method =
        "Ratio of two Poisson rates, exact; where counts scatter more than Poisson's (days, shoals) ask with "
        "family = \"negative_binomial\" and random = [\"day\"]";
    out.effects.push_back(found(fmt::format("{} against {}", frame.levels()[1], frame.levels()[0]),
                                ratio->value, ratio->interval, ratio->p.two_sided, ""));
    out.effects.back().is_ratio = true;
    for (std::size_t level = 0; level < sums.size(); ++level) {
        if (const auto rate = stats::rate_of(sums[level])) {
            auto number =
                found(frame.levels()[level], rate->value, rate->interval, std::nan(""), rate_unit(frame));
            number.method = fmt::format("{} in {}; exact interval", sums[level].count,
                                        significant_text(sums[level].exposure, 4));
            out.groups.push_back(std::move(number));
        }
    }
    warn_of_scatter(frame, *counts, sums, out);
    out.sentence = effect_sentence(out.effects.front(), out.scale,
                                   effect_words(frame, frame.levels()[1], frame.levels()[0]));
    if (has_margin(frame.question)) {
        say_margin(frame, stats::judge_rates(sums[1], sums[0], margin_of(frame.question)), out);
    }
}

} // namespace backeddy::findings::detail
