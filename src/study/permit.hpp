#pragma once
// The study's counts against what its permit allows. The program counts and reminds; whoever holds the permit
// decides, and what was done is written down whatever the permit says.

#include <vector>

#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// Warnings, each with whom to ask: more rows in fish.csv than [permit] fish; more chases of one fish than
/// chases_per_fish; a fish in air at a time, from air_start to air_end or as typed where no event says it,
/// for longer than air_s. Not part of check_relations: a row is taken whatever this says of it.
[[nodiscard]] std::vector<Complaint> check_permit(const Brief& brief, const Tables& tables);

} // namespace backeddy::study
