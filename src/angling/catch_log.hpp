#pragma once
// Start here: the catch, from what the crew wrote down (lines in and out, bites, hook-ups, losses,
// landings) to rod-hours and to the chain bite -> hook-up -> landed, rod by rod.
//
//   const auto log = angling::read_catch(entries);
//   for (const auto& rig : angling::by_rig(log)) { rig.bites, rig.rod_hours ... }

#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "series/instant.hpp"

namespace backeddy::angling {

/// In the order in which they happen within one minute: a rig is changed by lines out, then in.
enum class CatchKind : std::uint8_t { lines_out, lines_in, bite, hook_up, lost, landed };

/// One line of the deck's log. A text that nobody wrote is empty.
struct CatchEntry {
    Instant at;
    CatchKind kind = CatchKind::bite;
    std::string rod; ///< which line: the rod's name, or its angler's; empty: there is only one
    std::string rig; ///< empty: the rod's since its lines went in
    std::string angler;
    std::string fish;    ///< its name; empty before it has one
    std::string species; ///< of what was on the hook
    std::string reason;  ///< of a loss, or why a bite came to nothing
    std::size_t row = 0; ///< the caller's own number of it, for what is doubtful
};

/// A line in the water.
struct Effort {
    std::string rod;
    std::string rig;
    std::string angler;
    Instant from;
    Instant to; ///< after `from`

    [[nodiscard]] double rod_hours() const { return (to - from).hours(); }
};

/// What one fish did to one line, as far as it went. At least one moment is there.
struct Strike {
    std::string rod;
    std::string rig;
    std::string angler;
    std::string fish;
    std::string species;
    std::string reason; ///< why it went no further, as written down
    std::optional<Instant> bite;
    std::optional<Instant> hook_up;
    std::optional<Instant> landed;
    std::optional<Instant> lost;

    /// Hooked for certain: a fish that was landed or lost had been, whether or not it was written down.
    [[nodiscard]] bool was_hooked() const { return hook_up || landed || lost; }
    /// Of its moments the one that stands first in the chain: the bite, else the hook-up ...
    [[nodiscard]] Instant at() const;
};

struct CatchDoubt {
    std::size_t row = 0;
    std::string found;
    std::string remedy;
};

/// Longest times between steps that belong together; more, and they are two fish (our choices).
struct CatchSettings {
    Duration bite_to_hook_up = Duration::minutes(10.0);
    Duration hook_up_to_end = Duration::hours(2.0);
};

/// A line that went in and of which nobody wrote down that it came out: its hours are not known.
struct OpenLine {
    std::string rod;
    std::string rig;
    Instant from;
};

struct CatchLog {
    std::vector<Effort> effort;      ///< by start
    std::vector<OpenLine> never_out; ///< by start
    std::vector<Strike> strikes;     ///< by their first moment
    std::vector<CatchDoubt> doubts;  ///< lines in twice, out without in, never out; by row
};

/// Entries in any order. A hook-up belongs to the last bite before it that came to nothing so far, a landing
/// or a loss to the last hook-up that has no end: on the same rod and rig as far as they are named, or of the
/// same named fish; steps that name two different fish never belong together. A line that never came out has
/// no effort, and a doubt says so; nor has one that went in once more without coming out: its hours count
/// from the second lines_in, since a lines_out forgotten at night would else make the night fishing.
[[nodiscard]] CatchLog read_catch(std::vector<CatchEntry> entries, const CatchSettings& settings = {});

/// Of a species that the study is not after. `species`: those it is after; empty: all.
[[nodiscard]] bool is_bycatch(const Strike& strike, std::span<const std::string> species);

/// How many fish went how far.
struct Chain {
    std::size_t bites = 0;    ///< written down, or hooked without: every hooked fish had bitten
    std::size_t hook_ups = 0; ///< hooked for certain
    std::size_t landed = 0;
    std::size_t wanted = 0; ///< of the landed, of a species that the study is after; of an unknown one: none
};

/// What one line in the water did.
struct LineCatch {
    Effort effort;
    Chain chain;
};

/// In the order of log.effort. A strike belongs to the line of its rod (and rig, where both are named) that
/// was in the water at its first moment; `unplaced` counts those that belong to none.
struct ByLine {
    std::vector<LineCatch> lines;
    std::size_t unplaced = 0;
};
[[nodiscard]] ByLine by_line(const CatchLog& log, std::span<const std::string> species = {});

/// How much more the bites of single lines scatter about their rig's rate than chance alone (Poisson) would
/// have it, 1 being as much: Pearson's chi-squared over its degrees of freedom (McCullagh and Nelder 1989,
/// Generalized Linear Models, section 6.2.3). Of rigs without a bite nothing is known. Nothing when no rig
/// with bites has two lines.
[[nodiscard]] std::optional<double> bite_dispersion(const ByLine& by_line);

/// What one rig did. Species other than the study's are bycatch.
struct RigCatch {
    std::string rig; ///< empty: nobody said
    std::size_t lines = 0;
    double rod_hours = 0.0;
    std::size_t never_out = 0; ///< lines of which the hours are not known
    Chain all;
    Chain in_hours;               ///< what its lines did in these hours (see ByLine): what a rate may count
    std::size_t unseen_bites = 0; ///< of the bites: only known from what came after
    std::size_t lost = 0;
    std::map<std::string, std::size_t> misses;  ///< bites without a hook-up, by reason; "": none was given
    std::map<std::string, std::size_t> losses;  ///< by reason; "": none was given
    std::map<std::string, std::size_t> species; ///< of the landed; "": not written down

    /// Hooked, and neither landed nor lost as far as anybody wrote down.
    [[nodiscard]] std::size_t open_ends() const { return all.hook_ups - all.landed - lost; }
};

/// By rig, in alphabetical order, the one that nobody named first. `species`: those the study is after;
/// empty: all.
[[nodiscard]] std::vector<RigCatch> by_rig(const CatchLog& log, std::span<const std::string> species = {});

} // namespace backeddy::angling
