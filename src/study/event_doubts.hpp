#pragma once
// What was written down of a fish's handling and looks like a slip of the clock, the fish or the rig.
// Warnings.

#include <vector>

#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// A fish landed or back in water more than 30 min (choice) from every encounter of it that has a time.
[[nodiscard]] std::vector<Complaint> check_landings(const Tables& tables);

/// A role after_capture that begins before the fish's first landing, or more than 2 h (choice) after the last
/// one before it. Fish without a landing written down are let pass.
[[nodiscard]] std::vector<Complaint> check_captures(const Tables& tables);

/// A role after_chase without a chase_end of the fish in the 2 h (choice) before it or within it, and a role
/// after_capture that begins at most 10 min (choice) after a chase_end: the roles look swapped.
[[nodiscard]] std::vector<Complaint> check_chases(const Tables& tables);

/// A stay or a chase of a fish that was released before, and of which no encounter, bite, hook-up or landing
/// is written down in between. Fish of which an encounter has no time are let pass.
[[nodiscard]] std::vector<Complaint> check_released(const Tables& tables);

/// An opening, a swapped sensor or an anaesthetic that names no stay, assembly or fish.
[[nodiscard]] std::vector<Complaint> check_nameless_acts(const Tables& tables);

/// A bite, hook-up or landing on another rig than that of the fish's encounter nearest in time.
[[nodiscard]] std::vector<Complaint> check_rigs(const Tables& tables);

/// Two masses of one fish at one moment that differ.
[[nodiscard]] std::vector<Complaint> check_weighings(const Tables& tables);

/// All of them.
[[nodiscard]] std::vector<Complaint> check_event_doubts(const Tables& tables);

} // namespace backeddy::study
