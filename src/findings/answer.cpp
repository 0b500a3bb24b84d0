#include "findings/answer.hpp"

#include <algorithm>
#include <cmath>
#include <exception>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/number_text.hpp"
#include "findings/detail/answers.hpp"
#include "findings/detail/frame.hpp"
#include "findings/detail/wording.hpp"
#include "stats/interval.hpp"
#include "stats/multiplicity.hpp"
#include "study/words.hpp"

namespace backeddy::findings {

namespace {

void name_question(const study::Question& question, const Observations& rows, Finding& out) {
    out.name = question.name;
    out.ask = question.sentence();
    out.outcome = question.outcome;
    out.compare = question.compare;
    out.within = question.within;
    out.adjusted_for = question.adjust_for;
    out.random = question.random;
    out.family_of_tests = question.family_of_tests;
    out.row_noun = rows.noun();
    out.outcome_title = question.outcome;
    if (const auto* column = rows.column(question.outcome)) {
        out.outcome_title = column->title;
        out.outcome_unit = column->unit;
    }
}

void answer_frame(const detail::Frame& frame, Finding& out) {
    using study::QuestionFamily;
    switch (frame.family) {
    case QuestionFamily::automatic: // make_frame() has chosen
    case QuestionFamily::normal:
    case QuestionFamily::log_normal:
        return detail::is_paired(frame)    ? detail::answer_paired(frame, out)
               : detail::has_limits(frame) ? detail::answer_censored(frame, out)
                                           : detail::answer_linear(frame, out);
    case QuestionFamily::binomial:
        return detail::is_plain_shares(frame) ? detail::answer_plain_shares(frame, out)
                                              : detail::answer_generalised(frame, out);
    case QuestionFamily::poisson:
        return detail::is_plain_rates(frame) ? detail::answer_plain_rates(frame, out)
                                             : detail::answer_generalised(frame, out);
    case QuestionFamily::negative_binomial:
        return detail::answer_generalised(frame, out);
    case QuestionFamily::ordinal:
        return detail::answer_scores(frame, out);
    case QuestionFamily::time:
        return detail::answer_censored(frame, out);
    }
}

// The test of the compared column as a whole, where there are more than two groups: by simulation where that
// was made, since chi-squared is then not to be trusted.
const FoundTest* test_of_groups(const Finding& finding) {
    if (finding.effects.size() < 2) {
        return nullptr;
    }
    for (const auto& name : {finding.compare + ", by simulation", finding.compare}) {
        const auto at = std::ranges::find_if(
            finding.tests, [&](const FoundTest& test) { return test.p && test.name == name; });
        if (at != finding.tests.end()) {
            return &*at;
        }
    }
    return nullptr;
}

// Of "C against A".
std::pair<std::string, std::string> levels_of(const FoundNumber& pair,
                                              const std::vector<std::string>& levels) {
    for (const auto& later : levels) {
        for (const auto& earlier : levels) {
            if (pair.name == fmt::format("{} against {}", later, earlier)) {
                return {later, earlier};
            }
        }
    }
    return {levels.back(), levels.front()};
}

// Of three groups or more the sentence begins with all, and goes on with the pair that is told apart best.
void say_groups(const detail::Frame& frame, Finding& out) {
    const auto* all = test_of_groups(out);
    if (all == nullptr) {
        return;
    }
    const auto p_of = [](const FoundNumber& pair) { return pair.p_corrected.value_or(pair.p.value_or(1.0)); };
    const auto best = std::ranges::min_element(out.effects, {}, p_of);
    const auto [later, earlier] = levels_of(*best, frame.levels());
    const auto clear =
        std::ranges::count_if(out.effects, [&](const auto& pair) { return p_of(pair) < 0.05; });
    out.sentence = fmt::format(
        "{} {} groups of {} {} ({} of all together); {} of their {} pairs are told apart. The clearest: {}",
        detail::where_text(frame), frame.levels().size(), out.compare,
        *all->p < 0.05 ? "differ" : "are not shown to differ", detail::p_text(*all->p), clear,
        out.effects.size(),
        detail::effect_sentence(*best, out.scale, detail::effect_words(frame, later, earlier)));
}

// "<LOD", "n.d.": different ones, as far as a warning has room for.
std::string first_words(const study::Question& question, const Finding& out) {
    constexpr std::size_t most = 3;
    std::vector<std::string> words;
    for (const auto& row : out.left_out) {
        const auto from = row.why.find('"');
        if (row.column != question.outcome || !row.why.ends_with(detail::no_number_no_limit) ||
            from == std::string::npos) {
            continue;
        }
        auto word = row.why.substr(from, row.why.size() - from - detail::no_number_no_limit.size());
        if (std::ranges::find(words, word) == words.end() && words.size() < most) {
            words.push_back(std::move(word));
        }
    }
    return fmt::format("{}", fmt::join(words, ", "));
}

// Who is left out because of the outcome itself changes what the answer is of; and many may, whatever for.
void warn_of_left_out(const study::Question& question, Finding& out) {
    const auto words =
        static_cast<std::size_t>(std::ranges::count_if(out.left_out, [&](const LeftOutRow& row) {
            return row.column == question.outcome && row.why.ends_with(detail::no_number_no_limit);
        }));
    if (words > 0) {
        out.warnings.push_back(fmt::format(
            "{} of {} {} left out because {} holds a word there ({}): a value that lies below a limit "
            "of detection is written <0.3, with that limit; left out, it takes the low ones away",
            words, out.rows + out.left_out.size(), words == 1 ? "row is" : "rows are", question.outcome,
            first_words(question, out)));
    }
    const auto gone =
        static_cast<std::size_t>(std::ranges::count_if(out.left_out, [&](const LeftOutRow& row) {
            return row.column == question.outcome && row.why.ends_with("is not above 0");
        }));
    if (gone > 0) {
        out.warnings.push_back(fmt::format(
            "{} of {} {} left out because {} is not above 0, where this family has no place for it: the "
            "answer is "
            "of the others alone, which the outcome itself has chosen; ask with family = \"normal\"",
            gone, out.rows + out.left_out.size(), gone == 1 ? "row is" : "rows are", question.outcome));
    } else if (2 * out.left_out.size() > out.rows) {
        out.warnings.push_back(
            fmt::format("{} of {} rows are left out: see why, and whether they differ from those "
                        "that answer",
                        out.left_out.size(), out.rows + out.left_out.size()));
    }
}

/// Looked at for so much longer, a fish has more time to be seen to die.
constexpr double telling_follow_up = 1.25;

std::string hours_text(double hours) {
    return exact_text(std::round(10.0 * hours) / 10.0);
}

// "No" about what may still come holds as far as anybody looked.
void tell_follow_up(const detail::Frame& frame, Finding& out) {
    const auto& outcome = frame.outcome;
    if (frame.family != study::QuestionFamily::binomial || outcome.negative.empty() ||
        !out.unanswered.empty()) {
        return;
    }
    std::optional<stats::Interval> of_no;
    double longest = 0.0;
    for (const auto row : frame.kept) {
        const auto* word = std::get_if<Word>(&outcome.cells[row]);
        const auto hours = outcome.followed_h[row];
        if (word == nullptr || !hours) {
            continue;
        }
        longest = std::max(longest, *hours);
        if (detail::yes_or_no(word->text) == false) {
            of_no = of_no ? stats::Interval{std::min(of_no->lower, *hours), std::max(of_no->upper, *hours)}
                          : stats::Interval{*hours, *hours};
        }
    }
    std::string when;
    if (of_no) {
        const auto first = hours_text(of_no->lower);
        const auto last = hours_text(of_no->upper);
        when = fmt::format(", {} h after capture", first == last ? first : first + " to " + last);
    }
    out.method += fmt::format("; {} = no says: {}{}", outcome.title, outcome.negative, when);
    if (of_no && longest > telling_follow_up * of_no->lower) {
        out.warnings.push_back(fmt::format(
            "fish were not followed equally long ({} = no: {}{}, the longest followed {} h): one that "
            "was "
            "watched longer could more easily be seen to die; ask outcome = \"{}\", which counts the hours",
            outcome.title, outcome.negative, when, hours_text(longest), outcome.time_to_it));
    }
}

// Whoever reads warnings alone must hear of a check that fails.
void warn_of_checks(Finding& out) {
    for (const auto& check : out.checks) {
        if (check.verdict != FoundCheck::Verdict::fine) {
            out.warnings.push_back(fmt::format(
                "the check \"{}\" {}: {}", check.name,
                check.verdict == FoundCheck::Verdict::look ? "asks for a look" : "fails", check.text));
        }
    }
}

/// With fewer rows to a coefficient a model meets its rows whatever is true (our choice, and generous: ten to
/// twenty are advised where an outcome is to be foretold, Harrell 2015, Regression Modeling Strategies, 4.4).
constexpr std::size_t least_rows_of_coefficient = 3;

void warn_of_overfit(Finding& out) {
    const auto coefficients = out.coefficients.size();
    if (coefficients > 2 && out.rows < least_rows_of_coefficient * coefficients) {
        out.warnings.push_back(
            fmt::format("{} rows for {} coefficients, fewer than {} each: so many columns meet so few rows "
                        "whatever is true; take columns out of adjust_for",
                        out.rows, coefficients, least_rows_of_coefficient));
    }
}

// The sentence and the table of coefficients may hold two intervals of one number.
void tell_limits(Finding& out) {
    const bool is_walds = std::ranges::any_of(
        out.coefficients, [](const FoundNumber& number) { return number.lower && !number.freedom; });
    if (!is_walds) {
        return;
    }
    for (auto& number : out.coefficients) {
        number.method = "limits and p by Wald";
    }
    out.method += "; limits and p in the table of coefficients are Wald's";
    if (out.effects.size() == 1 && !out.effects.front().method.empty()) {
        out.method += ", those of the effect are not: " + out.effects.front().method;
    }
}

constexpr std::size_t least_rows_of_group = 5;

// An interval of so few stands or falls with the model's assumptions, which so few cannot show to be wrong.
void warn_of_few(const detail::Frame& frame, Finding& out) {
    if (!frame.compares_groups) {
        return;
    }
    const auto& factor = frame.table.factor(frame.compare_name);
    for (std::size_t level = 0; level < factor.levels.size(); ++level) {
        const auto n = static_cast<std::size_t>(std::ranges::count(factor.codes, level));
        if (n < least_rows_of_group) {
            out.warnings.push_back(
                fmt::format("{} {} only {} {}: the answer rests on the model's assumptions, which "
                            "so few cannot show to be wrong",
                            n, n == 1 ? frame.rows.noun() : frame.rows.nouns(), frame.compare.preposition,
                            factor.levels[level]));
        }
    }
}

Finding answered(const study::Question& question, const Observations& rows, const AnswerOptions& options) {
    std::vector<LeftOutRow> left_out;
    auto frame = detail::make_frame(question, rows, left_out);
    Finding out = frame ? detail::begun(*frame) : Finding();
    out.left_out = std::move(left_out);
    name_question(question, rows, out);
    if (!frame) {
        detail::give_up(out, frame.error());
        return out;
    }
    frame->options = options;
    answer_frame(*frame, out);
    warn_of_checks(out);
    warn_of_few(*frame, out);
    warn_of_overfit(out);
    if (out.unanswered.empty()) {
        tell_limits(out);
        say_groups(*frame, out);
        detail::judge_margin(*frame, out);
    }
    tell_follow_up(*frame, out);
    warn_of_left_out(question, out);
    if (frame->family != study::QuestionFamily::time) {
        detail::warn_of_fates(*frame, out);
    }
    detail::plan_nothing(*frame, out);
    return out;
}

} // namespace

Finding answer_question(const study::Question& question, const Observations& rows,
                        const AnswerOptions& options) {
    // Libraries below throw where numbers run out; one question must not take all other answers with it.
    try {
        return answered(question, rows, options);
    } catch (const std::exception& error) {
        Finding out;
        name_question(question, rows, out);
        out.unanswered =
            fmt::format("the computation failed ({}): a fault of the program; look for a value far from "
                        "all others, and ask in another way",
                        error.what());
        return out;
    }
}

bool is_same_to(const study::Question& question, const Observations& one, const Observations& other) {
    if (one.rows() != other.rows()) {
        return false;
    }
    for (std::size_t row = 0; row < one.rows(); ++row) {
        if (one.label(row) != other.label(row) || one.fish(row) != other.fish(row) ||
            one.series(row) != other.series(row)) {
            return false;
        }
    }
    const auto columns = detail::named_columns(question, one);
    const auto others = detail::named_columns(question, other);
    return std::ranges::equal(columns, others, [](const ObservedColumn* a, const ObservedColumn* b) {
        return a->name == b->name && a->cells == b->cells && a->told == b->told && a->doubts == b->doubts &&
               a->followed_h == b->followed_h;
    });
}

namespace {

// What a family of tests counts of a question: of three groups and more all together.
std::optional<double> headline_p(const Finding& finding) {
    if (const auto* all = test_of_groups(finding)) {
        return all->p;
    }
    return finding.effects.empty() ? std::nullopt : finding.effects.front().p;
}

} // namespace

void correct_families(std::vector<Finding>& findings) {
    std::map<std::string, std::vector<Finding*>> families;
    for (auto& finding : findings) {
        if (!finding.family_of_tests.empty()) {
            families[finding.family_of_tests].push_back(&finding);
        }
    }
    for (const auto& [name, members] : families) {
        std::vector<double> p;
        std::size_t without = 0;
        for (const auto* finding : members) {
            const auto own = headline_p(*finding);
            p.push_back(own.value_or(1.0)); // asked is asked: to lose its answer makes no other one surer
            without += own ? 0 : 1;
        }
        const auto corrected = stats::holm(p);
        for (std::size_t i = 0; i < members.size(); ++i) {
            if (!headline_p(*members[i])) {
                continue;
            }
            members[i]->correction = fmt::format(
                "Holm's, over the {} questions of \"{}\"{}; intervals are of each question by itself",
                members.size(), name,
                without == 0 ? std::string()
                             : fmt::format(", of which {} without an answer count{} as p = 1", without,
                                           without == 1 ? "s" : ""));
            if (test_of_groups(*members[i]) != nullptr) { // p of its pairs is Tukey's
                members[i]->correction +=
                    fmt::format("; of all groups together {} so corrected", detail::p_text(corrected[i]));
            } else {
                members[i]->effects.front().p_corrected = corrected[i];
            }
        }
    }
}

} // namespace backeddy::findings
