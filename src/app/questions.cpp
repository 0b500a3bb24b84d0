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

namespace {

// All but the rows.
QuestionRows no_rows(const Study& study) {
    return {.rows = {},
            .without = {},
            .sight = sight_text(study.tables.decisions),
            .met = study::first_met(study.tables),
            .settings_sha256 = study::settings_sha256(study.brief),
            .declarations = study.tables.declarations};
}

using Plain = AskedBefore::Plain;

// The finding with what it would be without human acts, and what was said in advance.
Finding told(const study::Question& question, const QuestionRows& rows, const Plain& plain) {
    auto out = *plain.with;
    if (!rows.without.empty()) {
        out.without_human = variant_of(plain.without.value_or(*plain.with), out);
        if (!rows.sight.empty() && !out.without_human->is_same) {
            out.warnings.push_back(rows.sight);
        }
    }
    const auto state = study::declared_state({question, rows.settings_sha256}, rows.declarations, rows.met);
    out.declared = state.declared;
    out.declared_text = state.text;
    return out;
}

// What `plain` has not got yet.
void ask(const study::Question& question, const QuestionRows& rows, const OptionsFor& options, Plain& plain) {
    const auto& its_rows = rows_for(question, rows.rows);
    if (!plain.with) {
        plain.with = findings::answer_question(question, its_rows, options(question.name));
    }
    if (rows.without.empty()) {
        return;
    }
    const auto& undone = rows_for(question, rows.without);
    if (findings::is_same_to(question, its_rows, undone)) {
        plain.without.reset();
    } else if (!plain.without) {
        plain.without =
            findings::answer_question(question, undone, options(question.name + " with human acts undone"));
    }
}

// Whether these rows, of two answers of one study, say the same to the question.
bool say_the_same(const study::Question& question, const QuestionRows& one, const QuestionRows& other) {
    const auto& a = rows_for(question, one.rows);
    const auto& b = rows_for(question, other.rows);
    return &a - one.rows.data() == &b - other.rows.data() && findings::is_same_to(question, a, b);
}

} // namespace

QuestionRows question_rows(const Study& study, const ConditionAnswers& condition,
                           const std::vector<FishAnswer>& fish, const std::vector<FishAnswer>* without) {
    auto out = no_rows(study);
    out.rows = observe(study, fish, condition);
    if (without != nullptr) {
        out.without = observe(study, *without, condition);
    }
    return out;
}

Finding answer_one(const study::Question& question, const QuestionRows& rows, const OptionsFor& options) {
    Plain plain;
    ask(question, rows, options, plain);
    return told(question, rows, plain);
}

std::vector<Finding> answer_questions(const Study& study, const ConditionAnswers& condition,
                                      const std::vector<FishAnswer>& fish,
                                      const std::vector<FishAnswer>* without, AskedBefore& before,
                                      Threads threads, const Progress& progress) {
    const auto& questions = study.brief.questions;
    if (questions.empty()) {
        return {};
    }
    auto rows = no_rows(study);
    rows.rows = observe(study, fish, condition);
    if (without != nullptr) {
        const bool is_known = before.rows && !before.rows->without.empty();
        rows.without = is_known ? std::move(before.rows->without) : observe(study, *without, condition);
    }
    before.findings.resize(questions.size());
    std::vector<Finding> out(questions.size());
    SimulationLine line(progress);
    const OptionsFor options = [&](const std::string& what) { return line.options(what, threads); };
    parallel_for(questions.size(), threads, [&](std::size_t i) {
        auto& plain = before.findings[i];
        if (before.rows && !say_the_same(questions[i], *before.rows, rows)) {
            plain.with.reset();
        }
        ask(questions[i], rows, options, plain);
        out[i] = told(questions[i], rows, plain);
    });
    before.rows = std::move(rows);
    findings::correct_families(out);
    return out;
}

} // namespace backeddy::app
