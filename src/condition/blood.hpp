#pragma once
// Blood: how much may be drawn and has been, and analytes in one unit each, what is below an assay kept as
// such.
//
//   const auto room = before_draw(0.85, 0.8, drawn, at, {.ml_per_kg = 1.5});   // before the needle
//   room->words;
//   const auto lactate = determined({.analyte = Analyte::lactate, .value = 43.0, .unit = "mg/dL"});
//   lactate->value;          // 4.77 mmol/L
//   lactate->known_within;   // a row of stats::CensoredOutcome
//   lactate->notes;          // in words; nothing is ever taken out

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.hpp"
#include "condition/doubt.hpp"
#include "condition/handling.hpp"
#include "condition/meter.hpp"
#include "series/instant.hpp"
#include "stats/interval.hpp"

namespace backeddy::condition {

/// For the report and wherever blood is planned.
inline constexpr std::string_view blood_caution =
    "Blood is drawn by trained hands named on the permit; how much, how often and from where is the permit "
    "holder's decision. Needles go straight into a sharps bin, uncapped. Fish blood can carry infection, and "
    "heparin and preservatives are chemicals: gloves, covered cuts, washed hands, and the site's own rules.";

enum class Analyte : std::uint8_t {
    cortisol,
    glucose,
    lactate,
    haematocrit,
    osmolality,
    sodium,
    potassium,
    calcium,
    magnesium,
    chloride,
};

/// What was measured. Values of different matrices are never put together.
enum class Matrix : std::uint8_t { plasma, serum, whole_blood, water, mucus, faeces, other };

enum class Haemolysis : std::uint8_t { not_said, none, slight, marked };

/// How much a value says: itself, or only that the truth is below (the assay's limit) or above (its range).
enum class Known : std::uint8_t { exactly, below, above };

/// g/mol, by the conventional atomic weights of IUPAC 2021 (H 1.008, C 12.011, O 15.999).
inline constexpr double cortisol_g_per_mol = 362.466;   ///< C21 H30 O5
inline constexpr double glucose_g_per_mol = 180.156;    ///< C6 H12 O6
inline constexpr double lactate_g_per_mol = 89.070;     ///< C3 H5 O3-, the ion
inline constexpr double lactic_acid_g_per_mol = 90.078; ///< C3 H6 O3

/// "cortisol", "glucose" ...
[[nodiscard]] std::string_view name_of(Analyte analyte);
/// In which values are given: ng/mL (cortisol), mmol/L, % (haematocrit), mOsm/kg (osmolality).
[[nodiscard]] std::string_view usual_unit(Analyte analyte);
/// All units the analyte may be written in, the usual one first.
///   cortisol                ng/mL, ug/L (the same), nmol/L, ug/dL, pg/mL
///   glucose                 mmol/L, mg/dL, mg/L
///   lactate                 mmol/L, mg/dL and mg/L (both of lactic acid, the usual sense: 9.008 mg/dL a
///                           mmol/L), "mg/dL lactate" and "mg/L lactate" of the ion, 1.1 % less
///   haematocrit             %, fraction (also L/L)
///   osmolality              mOsm/kg, mmol/kg (the same)
///   ions                    mmol/L, mEq/L (charge times mmol/L), mg/L, mg/dL
[[nodiscard]] std::vector<std::string> units_of(Analyte analyte);

/// `value` in another unit of the same analyte; linear, exact to rounding. Case, blanks and the micro sign do
/// not matter ("NG/ML", "µg/dL"). Fails with bad_unit, naming near ones, or out_of_range (not finite).
[[nodiscard]] Expected<double> converted(Analyte analyte, double value, std::string_view from,
                                         std::string_view to);

/// One result, as a sheet or a plate gives it.
struct Assayed {
    Analyte analyte = Analyte::cortisol;
    double value = 0.0; ///< >= 0; of Known::below and above the limit itself, in the same unit
    Known known = Known::exactly;
    std::string unit; ///< empty: the usual one
    std::string device;
    Matrix matrix = Matrix::plasma;
    bool is_matrix_said = true; ///< no: `matrix` is what it is taken for
};

/// The same in its usual unit.
struct Determined {
    double value = 0.0; ///< of Known::below and above: the limit, which is no value
    Known known = Known::exactly;
    std::string unit;
    /// Where the truth is: [value, value], [0, limit] or [limit, infinite): a row of stats::CensoredOutcome.
    stats::Interval known_within;
    /// Standard, of a corrected meter's value; nothing where nobody told.
    std::optional<double> uncertainty;
    std::vector<std::string> notes; ///< what is odd about it, in words; the value stands all the same
    /// Those of `notes` that must be looked at before the value is used.
    std::vector<std::string> doubts;
    /// Of a meter's glucose or lactate whose matter nobody wrote down: published ranges say nothing of it.
    bool is_matrix_unknown = false;
};

/// Into the usual unit, corrected if `meter` (its pairs in the usual unit) is given, and looked at: outside
/// the published range of salmonids (blood only), beyond the meter's calibration (a doubt), haematocrit that
/// looks like a fraction; glucose or lactate by a device without its matter, which may be whole blood (a
/// doubt). Limits are corrected as values are. A meter's corrected value below 0 is
/// given as Known::below 0 plus two of its uncertainties. Fails with bad_unit or out_of_range (not finite,
/// below 0, Known::below 0, haematocrit above 100 %).
[[nodiscard]] Expected<Determined> determined(const Assayed& assayed, const MeterCorrection* meter = nullptr);

/// What red plasma does to what was measured in it, in one sentence for all of a draw; empty where nobody saw
/// any. Of no analytes: to whatever is measured in it later.
[[nodiscard]] std::string haemolysis_note(Haemolysis haemolysis, std::span<const Analyte> analytes);

/// What salmonid blood is found with, from rest to exhaustion, in the usual unit; wide on purpose.
struct PublishedRange {
    stats::Interval range;
    std::string_view source; ///< says how well it is known
};
[[nodiscard]] const PublishedRange& published_range(Analyte analyte);

// ---- how much

struct Draw {
    Instant at;
    double volume_ml = 0.0; ///< > 0
};

/// As the permit has it; there is no default.
struct BloodCeiling {
    double ml_per_kg = 0.0;         ///< > 0
    std::optional<Duration> within; ///< draws older than this no longer count; nothing: all count
};

struct RoomToDraw {
    double drawn_ml_per_kg = 0.0; ///< that still count
    double planned_ml_per_kg = 0.0;
    double ceiling_ml_per_kg = 0.0;
    double left_ml = 0.0; ///< before the planned draw; 0 when it is used up
    bool is_within = false;
    std::string words; ///< one sentence, before the draw as after it
};

/// Whether `planned_ml` (>= 0) at `at` keeps within the ceiling, draws in any order, those after `at` not
/// counted. Exactly the ceiling is within (to 1e-9 of it). Fails with out_of_range (mass not above 0, a
/// volume that cannot be) or bad_setting (ceiling).
[[nodiscard]] Expected<RoomToDraw> before_draw(double mass_kg, double planned_ml, std::span<const Draw> draws,
                                               Instant at, const BloodCeiling& ceiling);

/// mL per kg drawn up to and at a moment: the covariate of a peak that is measured afterwards. Fails with
/// out_of_range as before_draw().
[[nodiscard]] Expected<double> bled_ml_per_kg(double mass_kg, std::span<const Draw> draws, Instant until);

/// How long after what a sample was drawn.
struct DrawTimes {
    std::optional<Elapsed> since_hook_up; ///< the last before the draw; nothing when there is none
    std::optional<Elapsed> since_sealed;
    std::vector<Doubt> doubts; ///< a fish bled before it was hooked
};
/// `draw` of any kind. Moments of one fish in any order; of several hook-ups or sealings the last at or
/// before the draw counts.
[[nodiscard]] DrawTimes draw_times(const HandlingMoment& draw, std::span<const HandlingMoment> moments);

} // namespace backeddy::condition
