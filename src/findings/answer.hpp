#pragma once
// Questions to findings.

#include <span>
#include <string>
#include <vector>

#include "base/parallel.hpp"
#include "findings/finding.hpp"
#include "findings/observations.hpp"
#include "study/question.hpp"

namespace backeddy::findings {

/// One question put to its rows. Never fails: a question that cannot be answered is a finding that says why
/// (unknown column with the nearest name, a factor with one level, fewer fish than parameters, missing pairs
/// by fish). `is_score`: of ordinal questions see QuestionFamily. Intervals are at 95 %.
[[nodiscard]] Finding answer_question(const study::Question& question, const Observations& rows);

/// Corrects across each family of tests: the headline p of every question of one family_of_tests, by Holm
/// (1979, Scand J Stat 6:65); says in each finding of how many.
void correct_families(std::vector<Finding>& findings);

} // namespace backeddy::findings
