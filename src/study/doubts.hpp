#pragma once
// What is possible and yet looks like a slip: a mass in another unit, a chamber in millilitres, a name in the
// brief that nothing bears. Warnings, but for names that can only be wrong.

#include <vector>

#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// Fish whose mass does not go with their length: a condition factor 100 M / L^3 (g, cm) outside 0.3 to 3,
/// between which fishes of usual shape lie (choice, no source). Eels and sunfishes lie outside: a warning.
[[nodiscard]] std::vector<Complaint> check_condition(const Tables& tables);

/// Stays in chambers that hold over 1000 litres for each kilogram of fish (choice, no source: far outside of
/// what gives a slope). Once for each fish and chamber.
[[nodiscard]] std::vector<Complaint> check_room(const Tables& tables);

/// Names in the brief: an assembly of a timetable that is in no table stops; a clock that a trace names and
/// no check bears while another one nearly does, a species that [study] does not list, a column that makes
/// groups and is in no table are warnings.
[[nodiscard]] std::vector<Complaint> check_brief_names(const Brief& brief, const Tables& tables);

/// Names of fish that look alike and are different bytes: two rows where one is meant.
[[nodiscard]] std::vector<Complaint> check_look_alikes(const Tables& tables);

/// All of them.
[[nodiscard]] std::vector<Complaint> check_doubts(const Brief& brief, const Tables& tables);

} // namespace backeddy::study
