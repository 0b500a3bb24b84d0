#pragma once
// Human decisions onto sealed spells: a decision names a moment, never an ordinal, and is found again
// whatever the states say today.

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "series/instant.hpp"
#include "study/nouns.hpp"
#include "uptake/spell_uptake.hpp"

namespace backeddy::study {

/// When a spell was sealed: [from, to).
struct SpellSpan {
    Instant from;
    Instant to;
};

/// What people said of one spell, all acts taken together in the order of the table: a later act undoes an
/// earlier one of its kind.
struct SpellVerdict {
    std::vector<std::size_t> acts;        ///< indices into the decisions given
    std::optional<bool> is_excluded;      ///< nothing: nobody said; false: included by hand
    std::optional<uptake::Mark> mark;     ///< by hand
    std::optional<Instant> first_reading; ///< move_start
    std::optional<Instant> last_reading;  ///< move_end

    [[nodiscard]] bool is_touched() const { return !acts.empty(); }
};

struct Projection {
    std::vector<SpellVerdict> spells;       ///< one per span
    std::vector<std::size_t> of_the_stay;   ///< decisions without a moment: they mean every spell
    std::vector<std::size_t> without_spell; ///< decisions whose moment lies in no spell: to be complained of
};

/// `decisions` of one stay, `spells` ascending and not overlapping. A moment in the flush before a spell
/// belongs to none.
[[nodiscard]] Projection project(std::span<const Decision> decisions, std::span<const SpellSpan> spells);

/// The decisions about one stay, in the order of the table.
[[nodiscard]] std::vector<Decision> decisions_of(const StayId& stay, std::span<const Decision> decisions);

} // namespace backeddy::study
