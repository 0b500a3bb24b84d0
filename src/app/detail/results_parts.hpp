#pragma once
// The parts of results_of(), one function a chapter.

#include "app/results.hpp"

namespace backeddy::app::detail {

/// "rig" and "unhooking" joined, or whatever [report] group_by names: the treatment group of a fish.
[[nodiscard]] std::string group_of(const Study& study, const study::Fish& fish);
/// The capture of a fish, or nothing: of several encounters the one before its first stay after capture,
/// without such a stay its first.
[[nodiscard]] const study::Encounter* capture_of(const Study& study, const study::FishId& fish);
/// The last encounter of a fish before a moment; its first where none is before it.
[[nodiscard]] const study::Encounter* encounter_before(const Study& study, const study::FishId& fish,
                                                       std::optional<Instant> moment);
/// Value of a column of encounters.csv or fish.csv (own or free) for this fish; empty when there is none.
[[nodiscard]] std::string column_of(const Study& study, const study::Fish& fish, const std::string& column);
/// Names of the columns that make the groups.
[[nodiscard]] std::vector<std::string> group_columns(const Study& study);

/// "capture", "chase", "handling".
[[nodiscard]] std::string event_word(uptake::PeakEvent event);

[[nodiscard]] report::Stay stay_of(const Answers& answers, const StayAnswer& stay);
[[nodiscard]] report::Metrics metrics_of(const Answers& answers, const FishAnswer& fish);
/// What became of it, by events and stays, else by all records of its fate: died, released, lost, alive when
/// last seen, or not written down; the text says when, where and how sure.
[[nodiscard]] report::Fate fate_of(const Answers& answers, const FishAnswer& fish);
[[nodiscard]] report::Fish fish_of(const Answers& answers, const FishAnswer& fish);
[[nodiscard]] report::Accounting accounting_of(const Answers& answers);
/// The deck's log, rig by rig.
[[nodiscard]] report::Fishing fishing_of(const Study& study);
[[nodiscard]] std::vector<report::Headline> headlines_of(const Answers& answers);
[[nodiscard]] std::vector<report::Exclusion> exclusions_of(const Answers& answers);

/// Mass-specific when the fish was weighed, else the whole-animal value kept back with its reason.
[[nodiscard]] report::Number specific(const uptake::UptakeRate& rate, std::string method);
[[nodiscard]] report::Number whole(const uptake::UptakeRate& rate, std::string method);
inline constexpr const char* not_weighed = "not weighed";

} // namespace backeddy::app::detail
