#pragma once
// Questions to findings.

#include <cstddef>
#include <functional>
#include <vector>

#include "base/parallel.hpp"
#include "findings/finding.hpp"
#include "findings/observations.hpp"
#include "study/question.hpp"

namespace backeddy::findings {

struct AnswerOptions {
    Threads threads; ///< for what is simulated: the answer is the same with any number of them
    /// Of outcomes that are simulated: so many are done, of so many. Called from one thread at a time.
    std::function<void(std::size_t done, std::size_t total)> simulated;
};

/// One question put to its rows. Never fails: a question that cannot be answered is a finding that says why
/// (unknown column with the nearest name, a factor with one level, fewer fish than parameters, missing pairs
/// by fish). Intervals are at 95 %.
[[nodiscard]] Finding answer_question(const study::Question& question, const Observations& rows,
                                      const AnswerOptions& options = {});

/// Whether two sets of rows say the same to a question: the same rows with the same cells, and the same told
/// of them, in each column that it names. The answers are then the same.
[[nodiscard]] bool is_same_to(const study::Question& question, const Observations& one,
                              const Observations& other);

/// Corrects across each family of tests: the headline p of every question of one family_of_tests, by Holm
/// (1979, Scand J Stat 6:65); one without an answer counts as p = 1. Says in each finding of how many.
void correct_families(std::vector<Finding>& findings);

} // namespace backeddy::findings
