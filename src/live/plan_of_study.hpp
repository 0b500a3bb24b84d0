#pragma once
// The watch's plan from the study's own tables: what stands there is not entered twice.

#include <string>
#include <vector>

#include "base/error.hpp"
#include "instruments/station.hpp"
#include "study/brief.hpp"
#include "study/nouns.hpp"
#include "watch/plan.hpp"

namespace backeddy::live {

/// One chamber for each assembly that holds at `now`, by its id; volumes, flow, lag and mixing time from its
/// row, salinity, pressure and temperature where the brief gives a constant (fresh water at 101.325 kPa and
/// 12 degC where not; channels of the station go before). Fails with missing_column for an assembly without a
/// flow: without it a failing pump cannot be told from a weak one; and with too_few where no assembly holds.
[[nodiscard]] Expected<watch::Plan>
plan_of_study(const study::Brief& brief, const std::vector<study::Assembly>& assemblies, Instant now);

/// What had to be believed of the water since nobody said it, a sentence each: with a wrong salinity every
/// level is wrong, and a flush that works looks like one that fails.
[[nodiscard]] std::vector<std::string> believed_of_water(const study::Brief& brief,
                                                         const instruments::Station& station);

} // namespace backeddy::live
