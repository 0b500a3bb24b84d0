#include "app/questions.hpp"

#include <algorithm>
#include <mutex>
#include <string>

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

/// Several questions are answered at a time and one line tells of it: the first that simulates has the line
/// until it is done.
class SimulationLine {
  public:
    explicit SimulationLine(const Progress& progress) : progress_(progress) {}

    void tell(const std::string& question, std::size_t done, std::size_t total) {
        const std::lock_guard lock(guard_);
        if (told_.empty()) {
            told_ = question;
        }
        if (question == told_) {
            progress_(question, done, total, "draws");
            if (done == total) {
                told_.clear();
            }
        }
    }

    [[nodiscard]] findings::AnswerOptions options(const std::string& question, Threads threads) {
        return {.threads = threads,
                .simulated = [this, what = fmt::format("question {}, simulating", question)](
                                 std::size_t done, std::size_t total) { tell(what, done, total); }};
    }

  private:
    const Progress& progress_;
    std::mutex guard_;
    std::string told_;
};

// What is estimated beside the values (a sensor's noise) can move an answer that weighs by uncertainty.
bool same_effects(const Finding& a, const Finding& b) {
    return std::equal(a.effects.begin(), a.effects.end(), b.effects.begin(), b.effects.end(),
                      [](const findings::FoundNumber& left, const findings::FoundNumber& right) {
                          return left.name == right.name && left.value == right.value &&
                                 left.lower == right.lower && left.upper == right.upper && left.p == right.p;
                      });
}

findings::FoundVariant variant_of(const Finding& without, const Finding& with) {
    return {.rows = without.rows,
            .fish = without.fish,
            .effects = without.effects,
            .unanswered = without.unanswered,
            .is_same = same_points(without, with) && same_effects(without, with)};
}

} // namespace

std::vector<Finding> answer_questions(const Study& study, const ConditionAnswers& condition,
                                      const std::vector<FishAnswer>& fish,
                                      const std::vector<FishAnswer>* without, Threads threads,
                                      const Progress& progress) {
    const auto& questions = study.brief.questions;
    if (questions.empty()) {
        return {};
    }
    const auto rows = observe(study, fish, condition);
    const auto rows_without =
        without == nullptr ? std::vector<findings::Observations>() : observe(study, *without, condition);
    const auto sight = sight_text(study.tables.decisions);
    const auto met = study::first_met(study.tables);
    const auto settings = study::settings_sha256(study.brief);
    std::vector<Finding> out(questions.size());
    SimulationLine line(progress);
    parallel_for(questions.size(), threads, [&](std::size_t i) {
        const auto& question = questions[i];
        const auto& its_rows = rows_for(question, rows);
        out[i] = findings::answer_question(question, its_rows, line.options(question.name, threads));
        if (without != nullptr) {
            const auto& undone = rows_for(question, rows_without);
            const auto other =
                findings::is_same_to(question, its_rows, undone)
                    ? out[i]
                    : findings::answer_question(
                          question, undone, line.options(question.name + " with human acts undone", threads));
            out[i].without_human = variant_of(other, out[i]);
            if (!sight.empty() && !out[i].without_human->is_same) {
                out[i].warnings.push_back(sight);
            }
        }
        const auto state = study::declared_state({question, settings}, study.tables.declarations, met);
        out[i].declared = state.declared;
        out[i].declared_text = state.text;
    });
    findings::correct_families(out);
    return out;
}

} // namespace backeddy::app
