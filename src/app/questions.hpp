#pragma once
// The brief's questions put to a study's answers.

#include <vector>

#include "app/condition_answers.hpp"
#include "app/fish_answers.hpp"
#include "app/progress.hpp"
#include "app/study.hpp"
#include "base/parallel.hpp"
#include "findings/finding.hpp"

namespace backeddy::app {

/// In the order of the brief. `without`: the fish with human acts undone, or nothing when there are none;
/// each finding then says what it would be without them. `progress` hears of questions whose chance is
/// simulated, which can take a minute.
[[nodiscard]] std::vector<findings::Finding>
answer_questions(const Study& study, const ConditionAnswers& condition, const std::vector<FishAnswer>& fish,
                 const std::vector<FishAnswer>* without, Threads threads, const Progress& progress);

} // namespace backeddy::app
