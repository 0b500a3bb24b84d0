#pragma once
// Each fish's stays -> its peaks, its rest, its scope and its recovery. What cannot be had is there with the
// reason.

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "app/stay_answers.hpp"
#include "uptake/adjust.hpp"
#include "uptake/pair.hpp"
#include "uptake/peak.hpp"
#include "uptake/recovery.hpp"
#include "uptake/resting.hpp"
#include "uptake/scope.hpp"

namespace backeddy::app {

/// A moment from which something is counted, and the word of the event that gave it.
struct TimeZeroMoment {
    Instant at;
    std::string word; ///< "back_in_water"; "stay_begins" when no event says more
    double uncertainty_s = 0.0;
    std::string not_from; ///< in words, when an event was passed over since its time cannot be; else empty
};

/// One outcome of a stay (ComputedStay::made): what was made of that very one is the same again.
using Computed = std::shared_ptr<const void>;

/// The peak after one event and the recovery from it.
struct EventAnswer {
    uptake::PeakEvent event = uptake::PeakEvent::capture;
    const StayAnswer* stay = nullptr;
    std::vector<std::size_t> spells; ///< indices into the stay's spells
    TimeZeroMoment zero;
    Instant closed; ///< when its chamber first closed
    std::vector<const study::Event*>
        late; ///< what should have come before that and is written down for later
    std::optional<Duration> air;
    Expected<uptake::PeakUptake> peak;
    Expected<uptake::PeakUptake> peak_alone; ///< before its recovery was known
    Expected<uptake::Recovery> recovery;
    Computed of_stay;     ///< what the peak was made of
    Computed of_recovery; ///< and, beside that and the resting value, the recovery
    std::optional<Expected<uptake::ScopeAnswer>> scope; ///< when there is a resting value
};

struct RestingAnswer {
    const StayAnswer* stay = nullptr;
    std::vector<std::size_t> spells;         ///< indices into the stay's spells
    std::vector<uptake::SpellUptake> values; ///< their answers
    Expected<uptake::RestingUptake> resting;
    Computed of_stay; ///< what it was made of
};

/// A metric this fish has none of.
struct Missing {
    std::string metric;
    std::string why;
};

struct FishAnswer {
    const study::Fish* fish = nullptr;
    std::vector<const StayAnswer*> stays;
    std::vector<const study::Event*> events; ///< by time
    std::vector<EventAnswer> after;          ///< capture, chase, handling; in time order
    std::optional<RestingAnswer> rest;
    std::optional<Expected<uptake::PeakPair>> pair;
    std::vector<Missing> missing;
    std::shared_ptr<const void> made; ///< another one each time a fish was computed; copies share it

    [[nodiscard]] const EventAnswer* after_event(uptake::PeakEvent event) const;
    /// It has a resting uptake, and that is of rest: what a fish took that never came to rest stands on its
    /// own page alone.
    [[nodiscard]] bool came_to_rest() const;
};

/// In the order of study.tables.fish.
[[nodiscard]] std::vector<FishAnswer> answer_fish(const Study& study, const StayAnswers& stays,
                                                  Threads threads, const Progress& progress);

/// `fish` again where only some stays (`is_changed`, of each) were computed anew: their fish are, the others
/// stay as they are.
void answer_fish_again(const Study& study, const StayAnswers& stays, const std::vector<bool>& is_changed,
                       std::vector<FishAnswer>& fish, Threads threads, const Progress& progress);

/// The same answers, as of a copy of their stays.
[[nodiscard]] std::vector<FishAnswer> of_copied_stays(std::vector<FishAnswer> fish, const StayAnswers& stays,
                                                      const StayAnswers& copy);

/// What the hours of a fish's spells, events and figures count from: the time zero of its first capture,
/// which is the event that [recovery] time_zero names (else the nearest in meaning that was written down).
/// Without a tube after capture the same rule over the fish's events; then its first chase or handling, then
/// its first stay ("stay_begins"). Nothing for a fish without stays and events.
[[nodiscard]] std::optional<TimeZeroMoment> time_zero_of(const Study& study, const FishAnswer& fish);

/// Landings, returns to the water and ends of chase or air that are written down for a time at which the
/// chamber of the stay that follows them was closed already: warnings at their rows, which say what time zero
/// is instead. Of stays with their states (look_at_states) or with all.
[[nodiscard]] std::vector<study::Complaint> late_events(const Study& study,
                                                        std::span<const StayAnswer> stays);

/// Events that may start recovery anew: blood, transfer, anaesthetic, disturbance, tagging, opening.
[[nodiscard]] bool is_handling(study::EventKind kind);

} // namespace backeddy::app
