#pragma once
// The brief's questions put to a study's answers.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "app/condition_answers.hpp"
#include "app/fish_answers.hpp"
#include "app/progress.hpp"
#include "app/study.hpp"
#include "base/parallel.hpp"
#include "findings/answer.hpp"
#include "findings/finding.hpp"
#include "findings/observations.hpp"
#include "series/instant.hpp"
#include "study/nouns.hpp"
#include "study/question.hpp"

namespace backeddy::app {

/// What questions are put to: the rows that one answer of a study gives, and what is said beside each
/// finding.
struct QuestionRows {
    std::vector<findings::Observations> rows;    ///< as observe() gives them
    std::vector<findings::Observations> without; ///< with human acts undone; empty where there are none
    std::string sight;          ///< of decisions that were made knowing the treatment; empty where none was
    std::optional<Instant> met; ///< the first fish
    std::string settings_sha256;
    std::vector<study::Declaration> declarations;
};

/// `without`: the fish with human acts undone, or nothing when there are none.
[[nodiscard]] QuestionRows question_rows(const Study& study, const ConditionAnswers& condition,
                                         const std::vector<FishAnswer>& fish,
                                         const std::vector<FishAnswer>* without);

/// How a question is simulated, by what is being simulated: "rig_peak".
using OptionsFor = std::function<findings::AnswerOptions(const std::string& what)>;

/// One question put to them; its family of tests is not corrected yet. The finding says what it would be
/// with human acts undone.
[[nodiscard]] findings::Finding answer_one(const study::Question& question, const QuestionRows& rows,
                                           const OptionsFor& options);

/// A study's questions as they were asked before: those whose rows say the same have the same answer.
struct AskedBefore {
    /// Of one question, of its rows alone.
    struct Plain {
        std::optional<findings::Finding> with;
        std::optional<findings::Finding> without; ///< human acts undone; nothing where that says the same
    };
    std::optional<QuestionRows> rows;
    std::vector<Plain> findings; ///< in the order of the brief
};

/// In the order of the brief. `without` as for question_rows; where there are such fish they are those of
/// `before`. `before`, of the same study, becomes what was asked now. `progress` hears of questions whose
/// chance is simulated, which can take a minute.
[[nodiscard]] std::vector<findings::Finding>
answer_questions(const Study& study, const ConditionAnswers& condition, const std::vector<FishAnswer>& fish,
                 const std::vector<FishAnswer>* without, AskedBefore& before, Threads threads,
                 const Progress& progress);

} // namespace backeddy::app
