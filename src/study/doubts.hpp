#pragma once
// What is possible and yet looks like a slip: a mass in another unit, a chamber in millilitres, a name in the
// brief that nothing bears. Warnings, but for names that can only be wrong.

#include <string>
#include <vector>

#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// Fish whose mass does not go with their length: a condition factor 100 M / L^3 (g, cm) outside 0.3 to 3,
/// between which fishes of usual shape lie (choice, no source). Eels and sunfishes lie outside: a warning.
[[nodiscard]] std::vector<Complaint> check_condition(const Tables& tables);

/// Fish whose condition factor is over twice, or under half, the median of the others of their species, of
/// which there must be four: a mass in pounds or of another fish, though 0.3 to 3 lets it pass. Half to twice
/// is a choice; salmon and trout of one season lie within about 0.7 to 1.5 of one another (from memory, no
/// source). Where no length is known: a mass over 30 times, or under a thirtieth of, the median of the others
/// of the species (choice: a wrong unit is 1000, one study's fish of one species rarely 30).
[[nodiscard]] std::vector<Complaint> check_masses(const Tables& tables);

/// A study in which no fish has a mass, in fish.csv or weighed in events.csv: said once.
[[nodiscard]] std::vector<Complaint> check_any_mass(const Tables& tables);

/// Stays in chambers that hold over 1000 litres for each kilogram of fish (choice, no source: far outside of
/// what gives a slope). Once for each fish and chamber. Loops that hold more than their chamber.
[[nodiscard]] std::vector<Complaint> check_room(const Tables& tables);

/// A row of calibrations.csv once its unit is known.
struct PointRead {
    const Calibration* row = nullptr; ///< outlives the call
    double reading = 0.0;             ///< in the unit that the sensor logs
    double should_read = 0.0;         ///< of air-saturated water there and then, in the same unit; above 0
    std::string unit;                 ///< that unit, for a person
    bool is_concentration = false;    ///< read in mg/L or the like, not in per cent or pressure
};

/// Points of one sensor that read far from what they should: an air point outside 85 to 115 % of air
/// saturation, or as a concentration outside 70 to 135 % of it or 5 to 16 mg/L (`reading` in mg/L); a zero
/// point over 10 % of the last air point before it, or of the first after it, away from 0; an air point over
/// 10 % from the one before it, each as a share of what it should read, so that warmth between the two is no
/// drift. Bounds are choices, no source. Warnings, at the row.
[[nodiscard]] std::vector<Complaint> check_points(std::vector<PointRead> points);

/// Names in the brief: an assembly of a timetable that is in no table stops; a clock that a trace names and
/// no check bears while another one nearly does, a species that [study] does not list, a column that makes
/// groups and is in no table are warnings.
[[nodiscard]] std::vector<Complaint> check_brief_names(const Brief& brief, const Tables& tables);

/// Names of fish that look alike and are different bytes: two rows where one is meant.
[[nodiscard]] std::vector<Complaint> check_look_alikes(const Tables& tables);

/// All of them.
[[nodiscard]] std::vector<Complaint> check_doubts(const Brief& brief, const Tables& tables);

} // namespace backeddy::study
