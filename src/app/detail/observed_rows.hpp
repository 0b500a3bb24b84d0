#pragma once
// The rows of app/observe.hpp, one function a kind.

#include "app/condition_answers.hpp"
#include "app/fish_answers.hpp"
#include "app/study.hpp"
#include "findings/observations.hpp"

namespace backeddy::app::detail {

[[nodiscard]] findings::Observations fish_rows(const Study& study, const std::vector<FishAnswer>& fish,
                                               const ConditionAnswers& condition);
[[nodiscard]] findings::Observations after_rows(const Study& study, const std::vector<FishAnswer>& fish,
                                                const ConditionAnswers& condition);
[[nodiscard]] findings::Observations spell_rows(const Study& study, const std::vector<FishAnswer>& fish,
                                                const ConditionAnswers& condition);
[[nodiscard]] findings::Observations strike_rows(const Study& study);
[[nodiscard]] findings::Observations fishing_rows(const Study& study);

/// Columns of fish.csv and of the encounter that the row belongs to (nullptr: of none), its day, and the
/// seconds of its handling. Where the fish was met at other times too and they say something else, the row
/// tells.
void set_fish_columns(const Study& study, const FishAnswer& fish, const FishCondition& condition,
                      const study::Encounter* met, findings::Observations& rows, std::size_t row);

/// Words, or an empty cell.
[[nodiscard]] findings::Cell word_cell(const std::string& text);

/// Titles, units and design roles, by study/observed.hpp and the brief's [columns].
void describe_columns(const study::Brief& brief, findings::Observations& rows);

} // namespace backeddy::app::detail
