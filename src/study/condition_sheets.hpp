#pragma once
// The sheets of a fish's condition (condition_rows.hpp), held against each other and against the rest of the
// study, and handed on as condition/ takes them.
//
//   const auto checked = check_sheets(brief, tables);
//   checked.sound.blood;      // what counts
//   checked.complaints;       // why the others do not
//
// A fault of these sheets stops no run: its row is left out of the fish's condition and told, and all else is
// computed. fates.csv alone is as strict as events.csv, since with a row left out a dead fish would count as
// living.

#include <compare>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "condition/blood.hpp"
#include "condition/fate.hpp"
#include "condition/fins.hpp"
#include "condition/reflexes.hpp"
#include "study/brief.hpp"
#include "study/complaint.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

struct SheetCheck {
    ConditionSheets sound;             ///< the rows that count, in their order
    std::vector<Complaint> complaints; ///< by place
};

/// Left out: rows of an unknown fish or plate, wells of an unknown sample; a label of two fish; a sample
/// split from itself, in a circle or from another fish's; blood drawn before the fish was caught or after it
/// left (released or lost and not met again; dead for over an hour); a value without analyte or unit, or in a
/// unit that is none of its; a well twice, outside of 8 x 12, or without what it must say; an unknown level
/// or test; the same score twice; a look at fins, body or reflexes, a death or a loss before the fish was
/// first met. Told: two volumes of one draw, a draw over the permit's ceiling, times of a sample and its
/// blood that differ, what is odd about a value (condition::determined()), fates that contradict each other
/// (condition::fate_of()), alive or let go before it was met, a tag on two fish at once or never given.
[[nodiscard]] SheetCheck check_sheets(const Brief& brief, const Tables& tables);

/// A row with analyte and value; the matrix its own, else its sample's, else plasma; of
/// haematocrit, the cells' share of whole blood, always whole blood.
[[nodiscard]] condition::Assayed assayed(const BloodRow& row, const ConditionSheets& sheets);

// ---- scores; of rows that count (SheetCheck::sound)

/// What one person scored of one fish at one time.
struct Look {
    FishId fish;
    condition::Occasion occasion = condition::Occasion::landing;
    std::string scorer;
    std::optional<Instant> at;

    friend auto operator<=>(const Look&, const Look&) = default;
};

struct FinLook {
    Look look;
    std::vector<condition::FinScore> scores;
};
/// By fish, occasion, scorer and time. Of a row of `all` each cell holds for every fin of the settings that
/// has none of its own.
[[nodiscard]] std::vector<FinLook> fin_looks(const ConditionSheets& sheets, const FinSettings& settings);

struct BodyLook {
    Look look;
    std::vector<condition::BodyScore> areas; ///< of scale loss
    std::optional<std::size_t> left_eye;     ///< levels of the same scale
    std::optional<std::size_t> right_eye;
    std::optional<condition::Bleeding> bleeding; ///< at the hook's wound
};
[[nodiscard]] std::vector<BodyLook> body_looks(const ConditionSheets& sheets, const BodySettings& settings);

struct ReflexLook {
    FishId fish;
    Instant at;
    std::vector<condition::ReflexTest> tests;
};
[[nodiscard]] std::vector<ReflexLook> reflex_looks(const ConditionSheets& sheets);

/// Where the hook sat, as a sheet words it: a word of HookPlace, in any case, or another that is common
/// ("deep", "swallowed", "throat" and the like: the gullet; "jaw", "lip", "mouth": the lower jaw; "foul": the
/// outside). Nothing: not understood.
[[nodiscard]] std::optional<condition::HookPlace> hook_place_of(std::string_view text);

// ---- fate

/// All that is known of one fish's fate.
struct FateRecords {
    std::vector<condition::FateRecord> records;
    std::vector<Place> places; ///< of the record of that FateRecord::row
    /// Deaths and losses of events.csv and stays.csv from before the fish was met: of another fish, or a
    /// slip. They are in `records` no more than such rows of fates.csv are.
    struct SetAside {
        condition::FateKind kind = condition::FateKind::dead;
        Instant at;
        Place place;
    };
    std::vector<SetAside> set_aside;
};
/// `fates`, rows of fates.csv that count, of any fish; events tagged, released and died, unless fates.csv
/// says the same within an hour (choice); stays that ended escaped, and, where no other row tells of a death,
/// died: found dead at their end.
[[nodiscard]] FateRecords fate_records(const FishId& fish, std::span<const FateRow> fates, const Brief& brief,
                                       const Tables& tables);
/// Whether a moment lies before all that says when the fish came into somebody's hands (encounters, hook-ups,
/// landings) by more than a minute and two of their uncertainties; no where nothing says that.
[[nodiscard]] bool is_before_capture(Instant moment, const FishId& fish, const Brief& brief,
                                     const Tables& tables);

} // namespace backeddy::study
