#pragma once
// When a fish came into somebody's hands: what is dated before the first of it is of another fish, or a slip.

#include <string>
#include <vector>

#include "study/brief.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// One time of it, with its standard uncertainty and what it is, for a sentence.
struct Catch {
    Instant at;
    double uncertainty_s = 0.0;
    std::string what; ///< "met at 2026-06-14T10:00:00Z (encounters.csv, line 2)"
};

/// Encounters, hook-ups and landings, ascending.
[[nodiscard]] std::vector<Catch> catches_of(const FishId& fish, const Brief& brief, const Tables& tables);

/// Whether there is a catch, and all of them are later than `moment` by over a minute (times are written to
/// it) and two of their uncertainties.
[[nodiscard]] bool is_before_all(Instant moment, const std::vector<Catch>& catches);

} // namespace backeddy::study
