#pragma once
// Fate: of each fish, when it was last known alive, whether and between which looks it died, of what and at
// which stage; and of many fish the shares, with and without those of a control.
//
//   const auto fate = fate_of(records);                       // of one fish, in any order
//   fate.ending;  fate.last_alive;  fate.found_dead;  fate.doubts;
//   const auto hours = hours_from(fate, released_at);         // a row of stats::CensoredOutcome
//   const auto day = mortality(fates, origins, Duration::hours(24.0));   // day->proportion->exact
//   control_corrected({3, 30}, {1, 28})->value;               // Abbott's
//
// Nobody watches all the time: a death lies between two looks, and is kept so (stats/turnbull.hpp,
// stats/censored.hpp).

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "condition/doubt.hpp"
#include "series/instant.hpp"
#include "stats/competing.hpp"
#include "stats/counts.hpp"
#include "stats/interval.hpp"
#include "stats/survival.hpp"

namespace backeddy::condition {

/// Where in the study's day a fish was.
enum class FateStage : std::uint8_t { play, tube, transfer, chamber, chase, holding, after_release };

enum class FateKind : std::uint8_t {
    seen_alive, ///< by a person's look
    tagged,
    held,
    released,
    detected,   ///< its tag by a receiver: alive, unless a dead fish or what ate it carries the tag
    recaptured, ///< alive
    tag_shed,   ///< known to be off from then on
    lost,       ///< to follow-up: escaped, out of reach, nobody looks any more
    dead,       ///< found dead, or killed
};

enum class TagPlace : std::uint8_t { external, implant };
struct Tag {
    std::string type;
    std::string serial;
    TagPlace place = TagPlace::external;
};

struct FateRecord {
    FateKind kind = FateKind::seen_alive;
    Instant at;                        ///< of dead: when it was found, or seen to die
    std::optional<Instant> last_alive; ///< of dead and lost: when it was last seen alive, if written there
    std::optional<FateStage> stage;
    std::string cause;
    std::optional<Tag> tag; ///< of tagged, detected, tag_shed
    std::size_t row = 0;
};

enum class FateEnding : std::uint8_t { alive, lost, dead };

struct Fate {
    FateEnding ending = FateEnding::alive; ///< when last heard of
    std::optional<Instant> last_alive;     ///< nothing: no record says so
    std::optional<Instant> found_dead;     ///< of dead only; equal to last_alive: seen to die
    std::optional<Instant> lost;           ///< of lost only
    std::optional<Instant> released;       ///< the first time
    std::optional<FateStage> stage;        ///< of the death or loss; else of the last record that has one
    std::string cause;                     ///< of the death or loss
    std::vector<Doubt> doubts;             ///< by row
};

struct FateOptions {
    /// Whether a detection shows a living fish. No: it is kept out of last_alive.
    bool is_detection_alive = true;
};

/// Of one fish's records in any order; none gives an ending of alive with nothing known. The first death
/// stands; what says alive after it does not count. last_alive is the latest of all that shows life, up to
/// the death; a tag that was shed shows none (one of the same place, and of the same type and serial where
/// both are written). A loss that is followed by life, seen or written beside a later record, is over; of two
/// losses without life between them the first stands. Doubts, none of them mended: lost twice, alive,
/// released, tagged or detected after death, two deaths, last alive after found dead, detected by a tag that
/// was shed, detected before it was tagged, lost after death.
[[nodiscard]] Fate fate_of(std::span<const FateRecord> records, const FateOptions& options = {});

// ---- one fish for the models of times

/// Hours from `origin` to death as far as known: (last alive, found dead] or (last alive, infinite): a row of
/// stats::CensoredOutcome, as turnbull() reads it. Of a death not seen alive since `origin`, from 0. Fails
/// with bad_relation (dead before or at `origin`: it has no time at risk; mortality() counts one found dead
/// at `origin` itself) or too_few (nothing known of it since `origin`).
[[nodiscard]] Expected<stats::Interval> hours_from(const Fate& fate, Instant origin);

/// For curves that want one time: the death's is when it was found, late by up to the time since the last
/// look, which makes survival look better; where looks are far apart use hours_from() and turnbull(). Fails
/// as hours_from().
[[nodiscard]] Expected<stats::FollowUp> follow_up(const Fate& fate, Instant origin);

/// The same among fates that compete: `fates` are causes of death, and "lost" where a fish lost counts as a
/// fate (escaped), at the time it was missed; else one that is lost is censored when last seen. Fails as
/// follow_up(), and with unknown_name (a death of a cause that is not among them, or of none).
[[nodiscard]] Expected<stats::FateTime> fate_time(const Fate& fate, Instant origin,
                                                  const std::vector<std::string>& fates);

// ---- many fish

/// Of those whose state at the horizon is known.
struct Mortality {
    stats::Share share;      ///< dead of known
    std::size_t unknown = 0; ///< censored before the horizon, or dead between two looks about it
    std::optional<stats::Proportion> proportion; ///< exact limits: Clopper and Pearson 1934; nothing of none
    stats::Interval can_be;                      ///< of all, the unknown all alive and all dead
};

/// Dead within `horizon` (> 0) of each fish's origin, found dead at it included: holding studies from the
/// start of holding, tagging studies from release. Fish that are unknown for a reason that goes with dying
/// make `share` wrong; `can_be` holds whatever the reason. Fails with bad_relation (another number of
/// origins, hours_from()), bad_setting (horizon, level) or too_few (no fish).
[[nodiscard]] Expected<Mortality> mortality(std::span<const Fate> fates, std::span<const Instant> origins,
                                            Duration horizon, double level = 0.95);

/// Deaths that the treatment adds to those that die anyway.
struct CorrectedMortality {
    double value = 0.0;       ///< (P - C) / (1 - C); below 0 when the control did worse: kept so
    stats::Interval interval; ///< 1 less Koopman's score limits of the ratio of survivals
    /// 1 less Katz's, normal on the log scale; nothing when none or all of a group survived.
    std::optional<stats::Interval> log_interval;
};

/// Dead of the treated and of the control: 1 - S_treated / S_control (Abbott 1925, J Econ Entomol 18:265),
/// the interval by that of a ratio of two shares (Koopman 1984; Katz et al. 1978; stats/counts.hpp). Assumes
/// that what kills the control kills the treated as much, and independently. Fails with degenerate (no
/// control survived) and as stats::ratio_of_shares() does.
[[nodiscard]] Expected<CorrectedMortality> control_corrected(stats::Share dead_treated,
                                                             stats::Share dead_control, double level = 0.95);

/// Share of tags that stay on, from fish with two.
struct Retention {
    double value = 0.0;
    stats::Interval interval;
};
/// Seen again with both tags and with one only: 2 both / (2 both + one), each tag lost alike and
/// independently (Seber 1982, The Estimation of Animal Abundance, section 3.2.3; from memory). Of fish seen
/// with at least one, both have it with probability r / (2 - r), so that Clopper and Pearson's limits of that
/// share give exact ones of r. Fails with too_few (none seen) or bad_setting (level).
[[nodiscard]] Expected<Retention> tag_retention(std::uint64_t both, std::uint64_t one, double level = 0.95);

/// What was left of two tags when the fish was last in somebody's hands.
struct TagsLeft {
    TagPlace place = TagPlace::external; ///< of both, as their type is
    std::string type;
    std::size_t left = 0; ///< 0 to 2
};
/// Of one fish's records in any order: of each kind of tag (place and type) of which it was given two, how
/// many were left. It was in somebody's hands after the tagging where it was recaptured, found dead, or its
/// tag was found to be off; a detection or a look from afar shows no tag. Fish with another number of tags of
/// a kind, or not in hand again, say nothing.
[[nodiscard]] std::vector<TagsLeft> tags_left(std::span<const FateRecord> records);

} // namespace backeddy::condition
