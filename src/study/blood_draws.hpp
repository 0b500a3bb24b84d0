#pragma once
// Each time a fish was bled: of blood.csv, and of the events "blood" that tell of a draw which is not there.
//
//   const auto draws = blood_draws(fish.id, tables.sheets.blood, tables);
//   condition::bled_ml_per_kg(mass_kg, volumes_of(draws), peak_at);

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "condition/blood.hpp"
#include "study/nouns.hpp"

namespace backeddy::study {

/// An event and a row of blood.csv this far apart, or less, are one draw, written down twice (choice).
inline constexpr double same_draw_s = 900.0;
/// Further apart, and up to this, they are two draws, and it is asked whether they are (choice).
inline constexpr double may_be_same_draw_s = 3600.0;

struct BloodDraw {
    Instant at;                          ///< by blood.csv where it has the draw
    std::optional<double> volume_ml;     ///< of the whole draw; of several volumes the largest
    std::vector<const BloodRow*> rows;   ///< of blood.csv; none: only events.csv tells of it
    std::vector<const Event*> events;    ///< "blood" of events.csv that tell of it, as in the table
    const Event* volume_event = nullptr; ///< by which its volume counts; nullptr: by blood.csv, or by none

    [[nodiscard]] const Place& place() const {
        return rows.empty() ? events.front()->place : rows.front()->place;
    }
    /// The nearest to the draw; nullptr: none tells of it.
    [[nodiscard]] const Event* event() const;
    [[nodiscard]] std::string who() const;
};

/// By time. `rows` of any fish; those of one moment are one draw. An event "blood" of the fish, or of a stay
/// of its, is the nearest draw of `rows` within same_draw_s, else a draw of its own, so that no blood goes
/// uncounted; several events near one draw are that draw. A volume counts in mL, uL or L; one of another
/// unit is not known. Points into `rows` and `tables`.
[[nodiscard]] std::vector<BloodDraw> blood_draws(const FishId& fish, std::span<const BloodRow> rows,
                                                 const Tables& tables);

/// Those of which the volume is known and above 0, by time.
[[nodiscard]] std::vector<condition::Draw> volumes_of(std::span<const BloodDraw> draws);

/// Of an event "blood": its value in mL. Nothing where it has none, not above 0, or in a unit that is none of
/// volume; a value without a unit is none.
[[nodiscard]] std::optional<double> volume_ml_of(const Event& event);

} // namespace backeddy::study
