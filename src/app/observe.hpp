#pragma once
// A study's answers as the rows that questions can be put to (findings/observations.hpp).

#include <string>
#include <vector>

#include "app/condition_answers.hpp"
#include "app/fish_answers.hpp"
#include "app/study.hpp"
#include "findings/observations.hpp"
#include "study/question.hpp"

namespace backeddy::app {

/// Five kinds of rows, each with the columns of the fish it belongs to:
///   fish          a row per fish: its metrics, its own columns and those of its encounter;
///   after events  a row per fish and event (`after`: capture, chase, handling): peak, scope, excess ...;
///   spells        a row per sealed spell that may be used: mo2 against hours since time zero;
///   strikes       a row per fish that bit, as far as it went: hooked, landed;
///   fishing       a row per line in the water: bites, hook_ups, landings in so many rod_hours.
/// `condition` as answer_condition() gives it of the same study.
[[nodiscard]] std::vector<findings::Observations>
observe(const Study& study, const std::vector<FishAnswer>& fish, const ConditionAnswers& condition);

/// The kind of rows that has all of the question's columns, or at least its outcome; the first of `all` when
/// none has.
[[nodiscard]] const findings::Observations& rows_for(const study::Question& question,
                                                     const std::vector<findings::Observations>& all);

} // namespace backeddy::app
