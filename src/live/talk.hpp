#pragma once
// What the watch and those who look at it say to each other: lines of JSON. Pure texts, no socket.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "watch/watch.hpp"

namespace backeddy::live {

/// What the keeper adds to what the watch knows.
struct Surroundings {
    std::uint64_t through = 0;        ///< the last sample on disk
    std::vector<std::string> devices; ///< "probe_a lost: no answer for 3 s": those that are not there
    std::string samples_fault;        ///< why samples are not being kept; empty: they are
};

/// The state of everything, one line: the document WatchNow of the API.
[[nodiscard]] std::string now_json(const watch::Watch& watch, const watch::Now& now,
                                   const Surroundings& around);

/// One event, one line, as it is kept among the samples.
[[nodiscard]] std::string event_json(const watch::Event& event, const watch::Plan& plan);

/// The same for people, or nothing where it is not worth a line: "c1: sealed for 10 min, as planned".
[[nodiscard]] std::string event_words(const watch::Event& event, const watch::Plan& plan);

/// {"chamber":"shore 1","by":"A. Keen","act":"hold","minutes":5}: a hand's act, from outside. Without a
/// chamber it is about the station. Fails with bad_row, saying what was expected; whether it may be done now
/// the watch itself answers.
[[nodiscard]] Expected<watch::Hand> hand_from(std::string_view json, const watch::Plan& plan);

} // namespace backeddy::live
