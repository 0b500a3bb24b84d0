#pragma once
// Columns of a fish's condition for questions: blood at its first draw, fins, reflexes, bleeding, handling,
// death.

#include <map>
#include <optional>

#include "app/condition_answers.hpp"
#include "app/fish_answers.hpp"
#include "findings/observations.hpp"

namespace backeddy::app::detail {

/// Of each analyte the matter of blood that most fish have it of at their first draw: values of others are
/// not put together with it.
using AnalyteMatrices = std::map<condition::Analyte, condition::Matrix>;
[[nodiscard]] AnalyteMatrices matrices_of(const ConditionAnswers& condition);

/// What a run found wins over a typed cell; where it found nothing the typed one stays.
void set_derived(findings::Observations& rows, std::size_t row, const char* name, findings::Cell cell);

void set_blood(findings::Observations& rows, std::size_t row, const FishCondition& fish,
               const AnalyteMatrices& matrices);
/// Fins, bleeding, reflexes; words in their order are in order_scores().
void set_scores(findings::Observations& rows, std::size_t row, const FishCondition& fish,
                const study::Brief& brief);
void order_scores(findings::Observations& rows, const study::Brief& brief);
/// fight_s, air_s and handling_s of this encounter; of its first where nothing else is known.
void set_handling(findings::Observations& rows, std::size_t row, const FishCondition& fish,
                  const study::Encounter* met);
/// Hours from capture to death: between two looks, or longer than it was watched.
[[nodiscard]] findings::Cell death_cell(const FishCondition& fish);
/// mL/kg drawn before the window of an event's peak; before the event where it has no peak.
[[nodiscard]] findings::Cell bled_cell(const Study& study, const FishAnswer& fish,
                                       const FishCondition& condition, const EventAnswer* event);

} // namespace backeddy::app::detail
