#pragma once
// Each fish's stays -> uptake as a curve in time: through flushes where the inflow's oxygen and the flow are
// known, else the sealed spells alone.

#include <optional>
#include <vector>

#include "app/chambers.hpp"
#include "app/stay_answers.hpp"
#include "uptake/continuous.hpp"

namespace backeddy::app {

/// In the order of stays.list; nothing for a blank and where the brief wants no curve. A stay that gives none
/// holds the reason.
using Curves = std::vector<std::optional<Expected<uptake::ContinuousUptake>>>;

[[nodiscard]] Curves continuous_of(const Study& study, const Chambers& chambers, const StayAnswers& stays,
                                   Threads threads);

/// The curves of the stays that changed, anew.
void renew_curves(const Study& study, const Chambers& chambers, const StayAnswers& stays,
                  const std::vector<bool>& is_changed, Threads threads, Curves& curves);

} // namespace backeddy::app
