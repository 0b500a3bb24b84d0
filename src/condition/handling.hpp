#pragma once
// How long a fish was fought, held in air, and out of its tube: from the events where there are any, checked
// against what was typed by hand.
//
//   const auto times = handling_times(moments);          // of one encounter, in any order
//   times.fight->seconds;  times.air->seconds;  times.doubts;
//   disagreement("fight time", times.fight, typed);      // words, where the two cannot both be right

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "condition/doubt.hpp"
#include "series/instant.hpp"

namespace backeddy::condition {

enum class HandlingKind : std::uint8_t {
    hook_up,
    landed,
    air_start,
    air_end,
    back_in_water,
    sealed,
    chase_start,
    chase_end,
    blood,
    released,
};

struct HandlingMoment {
    HandlingKind kind = HandlingKind::hook_up;
    Instant at;
    std::optional<Duration> uncertainty; ///< standard; nothing: nobody said
    std::size_t row = 0;                 ///< the caller's own number of it, for what is doubtful
};

/// A length of time with its standard uncertainty; nothing where an end's is not known.
struct Elapsed {
    double seconds = 0.0;
    std::optional<double> uncertainty_s;

    friend bool operator==(const Elapsed&, const Elapsed&) = default;
};

/// Between two moments read independently: u^2 = u_from^2 + u_to^2 (JCGM 100:2008, 5.1.2). Two readings of
/// one clock share its offset, which cancels: what is wanted is each reading's own.
[[nodiscard]] Elapsed elapsed(const HandlingMoment& from, const HandlingMoment& to);

/// Nothing where its moments are not there or contradict each other; then `doubts` says so.
struct HandlingTimes {
    std::optional<Elapsed> fight;                   ///< hook_up to landed
    std::optional<Elapsed> handling;                ///< landed to back_in_water
    std::optional<Elapsed> air;                     ///< all spells that begin before any chase
    std::optional<Elapsed> air_after_chase;         ///< all other spells
    std::optional<Elapsed> chase;                   ///< all of them
    std::optional<Elapsed> landed_to_sealed;        ///< the first sealed after landing, before any chase
    std::optional<Elapsed> back_in_water_to_sealed; ///< the same
    std::vector<Doubt> doubts;                      ///< by row
};

/// Of one fish's one encounter (a capture, and a chase that follows it). Air and chase are sums over spells;
/// one spell that lacks an end leaves no sum, since any would be too short; one from the chase on leaves the
/// sum before it. Of two moments in the wrong order neither counts for any time. No air_start at all is no
/// air time, not zero: nobody may have looked. Doubts: a second hook_up, or a second landed; landed before
/// hook_up; back in water before landed; sealed before it was back in water; a spell without its end, without
/// its start, or that ends before it starts.
[[nodiscard]] HandlingTimes handling_times(std::span<const HandlingMoment> moments);

/// A time noted to the whole minute: 60 s / sqrt(12) (JCGM 100:2008, 4.3.7). For uncertainties that nobody
/// stated (our choice).
inline constexpr double noted_to_the_minute_s = 17.320508075688775;

/// In words, when the events' time and the one typed by hand differ by more than twice their combined
/// uncertainty, one that is not known counting as `unstated_s`; nothing when they agree or one is not there.
/// Of a time below 0 typed by hand it says just that.
[[nodiscard]] std::optional<std::string> disagreement(std::string_view what,
                                                      const std::optional<Elapsed>& by_events,
                                                      const std::optional<Elapsed>& typed,
                                                      double unstated_s = noted_to_the_minute_s);

} // namespace backeddy::condition
