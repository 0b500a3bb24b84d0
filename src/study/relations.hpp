#pragma once
// Start here for the checks of a study's relations: rows that contradict each other. Each check is a pure
// function of the tables (and, where it must, of the brief) and reports all it finds, not the first only.
// Several fish in one tube on one day, one after the other, are normal; a fish not weighed is no complaint.

#include <optional>
#include <span>
#include <vector>

#include "series/instant.hpp"
#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// Everything below, sorted by place.
[[nodiscard]] std::vector<Complaint> check_relations(const Brief& brief, const Tables& tables);

/// The same key twice in a table: fish, encounter, stay (whose rows must follow each other), calibration
/// (sensor, time, point), clock check (clock, shown), an event written twice (a warning).
[[nodiscard]] std::vector<Complaint> check_keys(const Tables& tables);
/// Encounters of fish that are in no table.
[[nodiscard]] std::vector<Complaint> check_encounters(const Tables& tables);
/// A study without a stay has nothing to compute, unless it is one of catch, blood, scores and fates alone:
/// then a warning.
[[nodiscard]] std::vector<Complaint> check_any_stay(const Brief& brief, const Tables& tables);
/// Unknown fish or assembly, dates swapped, role intervals that overlap or leave a gap (a warning), last_good
/// outside, a role that does not fit (a blank with a fish), overlapping stays of one fish, two stays in one
/// assembly at once, a stay that no row of its assembly covers, a sensor swapped inside (a warning that names
/// where it splits), a fish larger than its chamber.
[[nodiscard]] std::vector<Complaint> check_stays(const Brief& brief, const Tables& tables);
/// Unknown fish, stay or assembly; a stay that is another fish's; an event outside its stay by more than
/// twice its uncertainty; chase, air and capture steps out of order; something, or a stay, after a death (an
/// event, or a stay that ended so); a death or release inside a stay that goes on, a swapped sensor that
/// assemblies.csv does not tell (warnings).
[[nodiscard]] std::vector<Complaint> check_events(const Brief& brief, const Tables& tables);
/// Dates swapped, rows of one assembly that overlap, one sensor or oxygen channel in two assemblies at once,
/// a channel of a trace that the brief does not have.
[[nodiscard]] std::vector<Complaint> check_assemblies(const Brief& brief, const Tables& tables);
/// Sensors never calibrated, or at zero alone, and calibrations of sensors in no assembly (warnings), zero
/// not below air.
[[nodiscard]] std::vector<Complaint> check_calibrations(const Tables& tables);
/// Checks of one clock that cannot both be true (it ran backward, or two readings of one moment differ by
/// more than their uncertainties, or they are over 5 % or half an hour apart), a drift that no working clock
/// has (a warning: a slip, or a wrong entry), one that is off by whole hours (a warning: a zone), clocks that
/// no trace uses (a warning), clocks that are compared with each other in a circle.
[[nodiscard]] std::vector<Complaint> check_clocks(const Brief& brief, const Tables& tables);
/// The clocks that have checks, each after those it is compared with; those of a circle, and what hangs on
/// them, are left out.
[[nodiscard]] std::vector<ClockId> clocks_in_order(const Tables& tables);
/// Decisions about no stay or a moment outside it, without a reason or an author, moved boundaries outside
/// the stay; a start moved to or past the end that is moved with the same moment.
[[nodiscard]] std::vector<Complaint> check_decisions(const Tables& tables);

/// Names in [columns] and in questions that are no column of a table nor one that a run makes
/// (observed.hpp). Warnings: the question says itself that it found no such column.
[[nodiscard]] std::vector<Complaint> check_named_columns(const Brief& brief, const Tables& tables);

/// Rows of declarations.csv: a hash that is none, nobody who declared (a warning), a question that is no
/// longer asked (a warning: it is not forgotten), no fish met where the tables have one before (a warning).
[[nodiscard]] std::vector<Complaint> check_declarations(const Brief& brief, const Tables& tables);

/// Where the assembly's rows split a stay: each row that overlaps [stay.from, stay.to), ascending, with the
/// part of the stay it holds for. No slope crosses from one to the next.
struct StaySplit {
    const Assembly* assembly = nullptr; ///< points into the tables
    Instant from;
    Instant to;
};
[[nodiscard]] std::vector<StaySplit> splits_of(const Stay& stay, const Tables& tables);

/// After which no reading of the stay is the fish's: its last_good, its death or release (events died and
/// released) inside the stay, whichever came first; nothing where none is known.
[[nodiscard]] std::optional<Instant> last_good_of(const Stay& stay, const Tables& tables);

/// Instants at which the assembly was cleaned (events of kind cleaning), ascending; those that name no
/// assembly hold for all.
[[nodiscard]] std::vector<Instant> cleanings_of(const AssemblyId& assembly, const Tables& tables);

} // namespace backeddy::study
