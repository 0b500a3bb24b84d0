#include "findings/answer.hpp"

#include <map>

#include <fmt/format.h>

#include "findings/detail/answers.hpp"
#include "findings/detail/frame.hpp"
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

} // namespace

Finding answer_question(const study::Question& question, const Observations& rows) {
    const auto frame = detail::make_frame(question, rows);
    Finding out = frame ? detail::begun(*frame) : Finding();
    name_question(question, rows, out);
    if (!frame) {
        detail::give_up(out, frame.error());
        return out;
    }
    answer_frame(*frame, out);
    if (out.unanswered.empty()) {
        detail::judge_margin(*frame, out);
    }
    if (frame->family != study::QuestionFamily::time) {
        detail::warn_of_fates(*frame, out);
    }
    detail::plan_nothing(*frame, out);
    return out;
}

void correct_families(std::vector<Finding>& findings) {
    std::map<std::string, std::vector<Finding*>> families;
    for (auto& finding : findings) {
        if (!finding.family_of_tests.empty() && !finding.effects.empty() && finding.effects.front().p) {
            families[finding.family_of_tests].push_back(&finding);
        }
    }
    for (const auto& [name, members] : families) {
        std::vector<double> p;
        for (const auto* finding : members) {
            const auto& headline = finding->effects.front();
            p.push_back(headline.p_corrected.value_or(*headline.p));
        }
        const auto corrected = stats::holm(p);
        for (std::size_t i = 0; i < members.size(); ++i) {
            members[i]->effects.front().p_corrected = corrected[i];
            members[i]->correction =
                fmt::format("Holm's, over the {} answered questions of \"{}\"; intervals are of "
                            "each question by itself",
                            members.size(), name);
        }
    }
}

} // namespace backeddy::findings
