#include "app/questions.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "app/observe.hpp"
#include "findings/answer.hpp"
#include "study/declaration.hpp"

namespace backeddy::app {

namespace {

// Decisions that change numbers, by whether the treatment could be seen; empty when all were made without.
std::string sight_text(const std::vector<study::Decision>& decisions) {
    std::size_t all = 0;
    std::size_t hidden = 0;
    for (const auto& decision : decisions) {
        if (decision.act != study::DecisionAct::note) {
            ++all;
            hidden += decision.treatment == study::TreatmentSight::hidden ? 1 : 0;
        }
    }
    return hidden == all
               ? std::string()
               : fmt::format(
                     "of {} human decisions on spells {} {} made with the treatment hidden (decisions.csv, "
                     "treatment): compare the finding without them",
                     all, hidden, hidden == 1 ? "was" : "were");
}

using findings::Finding;
using findings::FoundPoint;

bool same_points(const Finding& a, const Finding& b) {
    return std::equal(a.points.begin(), a.points.end(), b.points.begin(), b.points.end(),
                      [](const FoundPoint& left, const FoundPoint& right) {
                          return left.row == right.row && left.value == right.value &&
                                 left.lower == right.lower && left.upper == right.upper;
                      });
}

findings::FoundVariant variant_of(const Finding& without, const Finding& with) {
    return {.rows = without.rows,
            .fish = without.fish,
            .effects = without.effects,
            .unanswered = without.unanswered,
            .is_same = same_points(without, with)};
}

} // namespace

std::vector<Finding> answer_questions(const Study& study, const ConditionAnswers& condition,
                                      const std::vector<FishAnswer>& fish,
                                      const std::vector<FishAnswer>* without, Threads threads) {
    const auto& questions = study.brief.questions;
    if (questions.empty()) {
        return {};
    }
    const auto rows = observe(study, fish, condition);
    const auto rows_without =
        without == nullptr ? std::vector<findings::Observations>() : observe(study, *without, condition);
    const auto sight = sight_text(study.tables.decisions);
    const auto met = study::first_met(study.tables);
    std::vector<Finding> out(questions.size());
    parallel_for(questions.size(), threads, [&](std::size_t i) {
        out[i] = findings::answer_question(questions[i], rows_for(questions[i], rows));
        if (without != nullptr) {
            const auto other = findings::answer_question(questions[i], rows_for(questions[i], rows_without));
            out[i].without_human = variant_of(other, out[i]);
            if (!sight.empty() && !out[i].without_human->is_same) {
                out[i].warnings.push_back(sight);
            }
        }
        const auto state = study::declared_state(questions[i], study.tables.declarations, met);
        out[i].declared = state.declared;
        out[i].declared_text = state.text;
    });
    findings::correct_families(out);
    return out;
}

} // namespace backeddy::app
