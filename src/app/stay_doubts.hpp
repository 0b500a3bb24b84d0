#pragma once
// What a stay's states and decisions look like together: a pump column read upside down, two decisions about
// one spell, a fish without a blank.

#include <span>
#include <vector>

#include "app/stay_answers.hpp"
#include "study/complaint.hpp"

namespace backeddy::app {

/// Oxygen that falls while the chamber is said to be flushed and rises while it is said to be sealed: the
/// words or numbers of the pump are the other way round. Of states that a pump or a timetable gave.
[[nodiscard]] std::vector<study::Complaint> inverted_pumps(std::span<const StayAnswer> stays,
                                                           Threads threads);

/// Two decisions about one sealed spell that contradict each other: the later row wins.
[[nodiscard]] std::vector<study::Complaint> rival_decisions(std::span<const StayAnswer> stays);

/// Fish in an assembly of which no blank within [background] reach_h serves: what the microbes took stays in
/// their uptake. Once for each assembly; nothing where blanks_used is none or side_by_side.
[[nodiscard]] std::vector<study::Complaint> fish_without_blank(const Study& study);

/// Stays that cannot be computed, with their reasons (not those whose chamber could not be built, of which
/// the chamber's own complaint tells), and stays without a sealed spell.
[[nodiscard]] std::vector<study::Complaint> stays_without_spell(const Chambers& chambers,
                                                                std::span<const StayAnswer> stays);

/// Stays with a hole in their readings of oxygen, at an end or inside, of over a tenth of their time and two
/// minutes (choice): what happened in it is in none of their numbers. Of stays that were computed.
[[nodiscard]] std::vector<study::Complaint> stays_with_holes(std::span<const StayAnswer> stays);

/// Assemblies whose sealed spells begin, by their median, outside 75 to 130 % of air saturation, which
/// flushed water rarely is (choice): oxygen in another unit than said, or a calibration far off. Once for
/// each assembly.
[[nodiscard]] std::vector<study::Complaint> strange_water(std::span<const StayAnswer> stays);

/// Stays of fish in which the blanks take, by the median of the spells, over a fifth of the uptake (choice):
/// a fish forgotten in a blank, states that were found wrongly in it, or dirt. Once for each assembly.
[[nodiscard]] std::vector<study::Complaint> large_backgrounds(std::span<const StayAnswer> stays);

/// Lines in twice, out without in, or never out: their rod-hours are missing or uncertain.
[[nodiscard]] std::vector<study::Complaint> doubtful_lines(const Study& study);

/// All of them.
[[nodiscard]] std::vector<study::Complaint> stay_doubts(const Study& study, const Chambers& chambers,
                                                        std::span<const StayAnswer> stays, Threads threads);

} // namespace backeddy::app
