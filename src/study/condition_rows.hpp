#pragma once
// Rows of the sheets of a fish's condition (blood.csv, samples.csv, plates.csv, wells.csv, fins.csv,
// body.csv, reflexes.csv, fates.csv), as typed. condition_sheets.hpp checks them and hands them to
// condition/.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "condition/blood.hpp"
#include "condition/fate.hpp"
#include "condition/fins.hpp"
#include "condition/plate_well.hpp"
#include "series/instant.hpp"
#include "study/free_cell.hpp"
#include "study/id.hpp"

namespace backeddy::study {

// ---- blood.csv

/// "4.2", "<0.5", ">20".
struct ValueOrLimit {
    double value = 0.0; ///< of below and above the limit; at least 0
    condition::Known known = condition::Known::exactly;

    friend bool operator==(const ValueOrLimit&, const ValueOrLimit&) = default;
};

/// One value of one draw, or a draw of which nothing was measured yet. Rows of one fish and moment are one
/// draw.
struct BloodRow {
    FishId fish;
    Instant drawn_at;
    std::optional<condition::Analyte> analyte;
    std::optional<ValueOrLimit> value; ///< in `unit`
    std::string unit;
    std::string device;
    std::optional<double> volume_ml; ///< of the whole draw, > 0; in one of its rows
    std::optional<condition::Matrix> matrix;
    condition::Haemolysis haemolysis = condition::Haemolysis::not_said;
    SampleId sample;
    std::string who;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- samples.csv

struct SampleRow {
    SampleId id; ///< the tube's label
    FishId fish;
    Instant taken_at; ///< of a part of another sample: when that was taken from the fish
    std::optional<condition::Matrix> matrix;
    SampleId split_of;
    std::optional<double> volume_ul;
    std::string freezer;
    std::optional<std::size_t> thaws;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- plates.csv, wells.csv

/// What parts the cells of a file, and its decimal mark.
enum class CellsPartedBy : std::uint8_t { comma, semicolon, tab, spaces };
enum class DecimalIs : std::uint8_t { point, comma };

/// What the reader's file does not tell by itself; all of it may be left to be found (intake/plate_file.hpp).
struct PlateFileHelp {
    std::size_t rows = 8; ///< of the plate
    std::size_t columns = 12;
    std::string block; ///< words that stand at it, or its number
    std::optional<std::size_t> first_line;
    std::string value_column; ///< a header, or the number of the field
    std::string well_column;  ///< likewise
    std::string only_column;  ///< likewise: of a list, the column that must hold `only_value`
    std::string only_value;
    std::optional<CellsPartedBy> delimiter;
    std::optional<DecimalIs> decimal;
};

struct PlateRow {
    PlateId id;
    std::string file; ///< what the plate's reader wrote, inside the study folder
    condition::Analyte analyte = condition::Analyte::cortisol;
    std::string unit; ///< of all concentrations of the plate
    std::optional<Instant> run_at;
    std::string who;
    PlateFileHelp help;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

struct WellRow {
    PlateId plate;
    std::size_t row = 0;    ///< from 1: A, B, ...
    std::size_t column = 0; ///< from 1
    condition::WellKind kind = condition::WellKind::empty;
    std::string label;                   ///< of samples and spiked samples as in samples.csv
    std::optional<double> concentration; ///< of standards; of controls what is expected
    std::optional<double> dilution;      ///< > 0; nothing: 1
    std::optional<double> added;         ///< of spiked samples
    std::string excluded;                ///< why it does not count; empty: it counts
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- fins.csv, body.csv

/// The fins of condition::Fin in its order, and all that the brief asks for at once.
enum class ScoredFin : std::uint8_t {
    dorsal,
    caudal,
    anal,
    left_pectoral,
    right_pectoral,
    left_pelvic,
    right_pelvic,
    adipose,
    all,
};

struct FinRow {
    FishId fish;
    condition::Occasion occasion = condition::Occasion::landing;
    ScoredFin fin = ScoredFin::all;
    std::string score; ///< a level of [fins] scale by its word or number; empty: not scored
    std::optional<bool> is_split;
    std::optional<bool> is_frayed;
    std::optional<bool> has_net_marks;
    std::string scorer;
    std::optional<Instant> at;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

/// The areas of condition::BodyArea in its order, all of these at once, and what is scored beside scales.
enum class ScoredPart : std::uint8_t {
    head,
    back,
    left_flank,
    right_flank,
    belly,
    tail,
    all,
    left_eye,
    right_eye,
    hook_wound, ///< how much it bleeds: condition::Bleeding
};

struct BodyRow {
    FishId fish;
    condition::Occasion occasion = condition::Occasion::landing;
    ScoredPart part = ScoredPart::all;
    std::string score; ///< a level of [body] scale; of hook_wound none, slight, moderate, heavy
    std::string scorer;
    std::optional<Instant> at;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- reflexes.csv

struct ReflexRow {
    FishId fish;
    Instant at;
    std::string test;             ///< as in [reflexes] tests
    std::optional<bool> is_there; ///< nothing: not tested
    std::string who;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

// ---- fates.csv

struct FateRow {
    FishId fish;
    Instant at; ///< of dead: when it was found
    condition::FateKind what = condition::FateKind::seen_alive;
    std::optional<Instant> last_alive; ///< of dead and lost
    std::optional<condition::FateStage> stage;
    std::string cause;
    std::optional<condition::Tag> tag;
    std::string note;
    std::vector<FreeCell> free;
    Place place;
};

struct ConditionSheets {
    std::vector<BloodRow> blood;
    std::vector<SampleRow> samples;
    std::vector<PlateRow> plates;
    std::vector<WellRow> wells;
    std::vector<FinRow> fins;
    std::vector<BodyRow> body;
    std::vector<ReflexRow> reflexes;
    std::vector<FateRow> fates;
    std::uint64_t blood_refused = 0; ///< rows of blood.csv that could not be read: whose blood, nobody knows

    /// The first of that name; nullptr when there is none. Valid until the table changes.
    [[nodiscard]] const SampleRow* find(const SampleId& id) const;
    [[nodiscard]] const PlateRow* find(const PlateId& id) const;
};

} // namespace backeddy::study
