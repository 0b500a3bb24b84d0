#include "study/columns.hpp"

#include <algorithm>
#include <utility>

#include "study/words.hpp"

namespace backeddy::study {

const ColumnDefinition* TableDefinition::column(std::string_view wanted) const {
    const auto found = std::ranges::find(columns, wanted, &ColumnDefinition::name);
    return found == columns.end() ? nullptr : &*found;
}

std::string_view TableDefinition::word() const {
    return std::string_view(file).substr(0, file.rfind('.'));
}

std::vector<std::string> TableDefinition::column_names() const {
    std::vector<std::string> out;
    for (const auto& column : columns) {
        out.push_back(column.name);
    }
    return out;
}

namespace {

using Column = ColumnDefinition;

Column text(std::string name, std::string what) {
    return {.name = std::move(name), .what = std::move(what)};
}

Column key(std::string name, Need need, std::string what) {
    return {.name = std::move(name), .kind = CellKind::key, .need = need, .what = std::move(what)};
}

Column moment(std::string name, Need need, std::string what) {
    return {.name = std::move(name), .kind = CellKind::time, .need = need, .what = std::move(what)};
}

// Both strings are moved from, which the check does not see in a template.
template <typename Choice>
// NOLINTNEXTLINE(performance-unnecessary-value-param)
Column word(std::string name, Need need, std::string what, Choice) {
    return {.name = std::move(name),
            .kind = CellKind::word,
            .need = need,
            .what = std::move(what),
            .words = words_of(Choice{})};
}

Column channel(std::string name, Need need, std::string what) {
    return {.name = std::move(name), .kind = CellKind::channel, .need = need, .what = std::move(what)};
}

struct Limits {
    double least = 0.0;
    double most = 0.0;
};

Column number(std::string name, std::string unit, Limits limits, std::string what) {
    return {.name = std::move(name),
            .kind = CellKind::number,
            .unit = std::move(unit),
            .what = std::move(what),
            .least = limits.least,
            .most = limits.most};
}

/// Above `limits.least`, not equal to it.
Column positive(std::string name, std::string unit, Limits limits, std::string what) {
    Column out = number(std::move(name), std::move(unit), limits, std::move(what));
    out.may_equal_least = false;
    return out;
}

Column also_called(Column column, std::vector<std::string> names) {
    column.also = std::move(names);
    return column;
}

Column note() {
    return text("note", "Anything a reader should know.");
}

TableDefinition fish_table() {
    return {
        .name = TableName::fish,
        .file = "fish.csv",
        .what = "One row per fish.",
        .need = Need::required,
        .columns = {
            key("fish", Need::required, "Its name in all other tables."),
            text("species", "In any words; the report prints them."),
            also_called(
                positive(
                    "mass_g", "g", {0.0, 1e6},
                    "Body mass. Empty until it is weighed: uptake is then given in mg/h only, and says so. "
                    "Weighed again: events.csv, weighed."),
                {"weight", "wt", "bw", "body_mass", "body_weight", "fish_mass", "fish_weight", "wet_mass",
                 "wet_weight"}),
            also_called(
                number("mass_uncertainty_g", "g", {0.0, 1e5},
                       "Standard uncertainty of the mass. Empty: a share of it, [uncertainty] mass_percent."),
                {"mass_sd", "mass_se", "mass_error", "weight_sd", "weight_se", "weight_error",
                 "weight_uncertainty"}),
            text("mass_source", "How the mass is known: weighed, length, guessed, live ..."),
            also_called(positive("fork_length_mm", "mm", {0.0, 5000.0}, "Fork length."),
                        {"length", "len", "fl", "fish_length", "body_length"}),
            number("density_kg_per_l", "kg/L", {0.5, 1.5},
                   "Of the fish's body. Empty: [uncertainty] density_kg_per_l."),
            also_called(text("tag", "Tag number, by which a fish met again is known."),
                        {"tag_number", "tag_no", "tag_id", "pit", "pit_tag"}),
            note()}};
}

TableDefinition encounters_table() {
    return {
        .name = TableName::encounters,
        .file = "encounters.csv",
        .what = "One row per capture or collection, by any means. Columns of your own (fight_time_s, bait, "
                "angler ...) are kept as treatments and covariates.",
        .columns = {
            key("encounter", Need::required, "Its name."),
            key("fish", Need::optional, "As in fish.csv; empty when it was lost before it had a name."),
            moment("at", Need::optional, "When."),
            number("at_uncertainty_s", "s", {0.0, 86400.0}, "Standard uncertainty of that time."),
            text("method", "angling, trap, net, hatchery ..."), text("who", "Who caught it."),
            text("where", "Where."), text("rig", "The rig or gear: a treatment."),
            text("unhooking", "How it was unhooked: a treatment."),
            text("landing", "How it was landed: net, hand ..."),
            text("hook_location",
                 "Where the hook sat: upper_jaw, lower_jaw, jaw_corner, roof_of_mouth, tongue, gills, "
                 "gullet, eye or outside; deep and swallowed are the gullet."),
            also_called(number("water_temperature_c", "degC", {-3.0, 45.0}, "Of the water it was caught in."),
                        {"temperature", "temp", "water_temp"}),
            note()}};
}

TableDefinition stays_table() {
    return {
        .name = TableName::stays,
        .file = "stays.csv",
        .what = "One fish's, or a blank's, time in one assembly: one row per role. Rows that follow each "
                "other with the same stay are one stay whose role changes; say how it ended in its last row.",
        .need = Need::required,
        .columns = {key("stay", Need::required, "Its name."),
                    key("fish", Need::optional, "As in fish.csv; empty for a blank or a leak test."),
                    key("assembly", Need::required, "As in assemblies.csv."),
                    word("role", Need::required, "What this stretch is for.", uptake::StayRole{}),
                    moment("from", Need::required, "Start of the role."),
                    moment("to", Need::required, "End of the role."),
                    word("ended", Need::optional, "How the stay ended; empty: done.", StayEnding{}),
                    moment("last_good", Need::optional,
                           "The last instant that may be used, when it ended badly. Empty: up to its end."),
                    note()}};
}

TableDefinition events_table() {
    return {
        .name = TableName::events,
        .file = "events.csv",
        .what =
            "What happened, in any order. Name the stay only for what happened inside the chamber while "
            "it lasted. Inside a sealed spell (from when the chamber closed to the last reading used) "
            "opened, cleaning and sensor_swap make the spell unusable, disturbance and anaesthetic at best "
            "doubtful; one that only at_uncertainty_s brings inside makes it doubtful. A swap that "
            "assemblies.csv tells too, within twice its uncertainty, splits the stay instead. At the "
            "bounds of the stay itself they mark nothing.",
        .columns = {
            moment("at", Need::required, "When."),
            number("at_uncertainty_s", "s", {0.0, 86400.0},
                   "Standard uncertainty of that time. Empty: [uncertainty] event_s."),
            word("event", Need::required, "What.", EventKind{}),
            key("fish", Need::optional, "As in fish.csv."), key("stay", Need::optional, "As in stays.csv."),
            key("assembly", Need::optional,
                "As in assemblies.csv. Of a cleaning, an opening, a swap, a disturbance, an "
                "anaesthetic: where fish, stay and assembly are all empty, all of them are meant."),
            number("value", "as unit says", {-1e12, 1e12},
                   "A number that belongs to it. blood: how much. weighed: the mass, which then "
                   "holds for stays that end later, instead of fish.csv's."),
            text("unit", "Of the value."), text("who", "Who did or saw it."),
            text("rod", "Of lines in and out, bites, hook-ups: which rod. Empty: the one of `who`."),
            text("rig", "What was on it: a treatment. Empty: as at lines_in, or in the fish's encounter."),
            text("photo",
                 "Photos of it: the SHA-256 of each, by which its file in photos/ is named, with blanks "
                 "between them. Deck fills it."),
            note()}};
}

TableDefinition assemblies_table() {
    return {
        .name = TableName::assemblies,
        .file = "assemblies.csv",
        .what =
            "Chamber, loop, pump and sensors that work together, one row per interval in which nothing "
            "of it changed. A swapped sensor is a new row with the same assembly name; no slope crosses it.",
        .need = Need::required,
        .columns = {
            key("assembly", Need::required, "Its name."),
            moment("from", Need::optional, "Empty: from the start."),
            moment("to", Need::optional, "Empty: until further notice."),
            positive("chamber_volume_l", "L", {0.0, 1e5}, "Water it holds without a fish, by filled weight."),
            number("chamber_volume_uncertainty_l", "L", {0.0, 1e4},
                   "Standard uncertainty. Empty: [uncertainty] volume_percent."),
            also_called(number("loop_volume_l", "L", {0.0, 1e4}, "Water in loop, pump and tubing; empty: 0."),
                        {"dead_volume", "tubing_volume"}),
            number("loop_volume_uncertainty_l", "L", {0.0, 1e3}, "Standard uncertainty."),
            also_called(positive("flow_l_per_min", "L/min", {0.0, 1e4},
                                 "Flush flow, measured with bucket and watch."),
                        {"flow_rate", "flush_rate", "flush_flow"}),
            number("flow_uncertainty_l_per_min", "L/min", {0.0, 1e3}, "Standard uncertainty."),
            key("sensor", Need::required, "Name of the oxygen sensor, as in calibrations.csv."),
            channel("oxygen", Need::required,
                    "Its channel, \"trace:channel\" of the brief's [[trace]] names."),
            channel("temperature", Need::optional, "Channel of the water's temperature."),
            channel("pump", Need::optional,
                    "Channel that says flush or sealed: a column, or a log of its own."),
            also_called(
                number("sensor_lag_s", "s", {0.0, 600.0}, "Time constant of the sensor (63.2 % of a step)."),
                {"lag", "response_time", "time_constant"}),
            number(
                "mixing_s", "s", {0.0, 3600.0},
                "How long the chamber takes to mix: a few turnovers of the loop. Empty: [settle] mixing_s."),
            note()}};
}

TableDefinition calibrations_table() {
    return {.name = TableName::calibrations,
            .file = "calibrations.csv",
            .what =
                "What each sensor showed in water without oxygen (zero) and at 100 % air saturation (air), "
                "before and after; between two, drift is taken as straight in time.",
            .columns = {
                key("sensor", Need::required, "As in assemblies.csv."), moment("at", Need::required, "When."),
                word("point", Need::required, "zero, or air (100 % of air saturation).", CalibrationPoint{}),
                number("reading", "as unit says", {-1e6, 1e6}, "What it showed."),
                text("unit", "Of the reading; empty: that of the sensor's channel."),
                also_called(number("temperature_c", "degC", {-3.0, 45.0}, "Of the water."),
                            {"temp", "water_temp", "water_temperature"}),
                also_called(number("pressure_kpa", "kPa", {30.0, 120.0}, "Barometric, at the station."),
                            {"barometric_pressure", "air_pressure", "barometer"}),
                also_called(number("salinity", "practical salinity", {0.0, 50.0}, "Of the water."), {"sal"}),
                number("uncertainty", "as unit says", {0.0, 1e6},
                       "Standard uncertainty of the reading. Empty: [uncertainty] calibration_percent."),
                text("who", "Who did it."), note()}};
}

TableDefinition clock_checks_table() {
    return {
        .name = TableName::clock_checks,
        .file = "clock_checks.csv",
        .what = "What a logger's clock showed, against the true time or against another logger's clock. Two "
                "checks give its drift.",
        .columns = {
            key("clock", Need::required, "A clock that a [[trace]] of the brief names."),
            moment("shown", Need::required, "What it showed, in the logger's own zone."),
            moment("true", Need::required, "The true time, in the study's zone."),
            number("uncertainty_s", "s", {0.0, 86400.0},
                   "Standard uncertainty of the pair. Empty: [uncertainty] event_s."),
            key("reference", Need::optional,
                "Another clock: then \"true\" is what that clock showed when the same physical event passed "
                "in its trace. Empty: the true time."),
            text("how",
                 "Against what: phone, GPS, a warm bottle held to both sensors ... reset: the clock was "
                 "set here, and shown is the first time it showed then; nothing is carried across."),
            note()}};
}

TableDefinition decisions_table() {
    return {
        .name = TableName::decisions,
        .file = "decisions.csv",
        .what = "Human acts on sealed spells. Each names a moment inside the spell it means, so that it is "
                "found again whatever else changes. The report shows the numbers with and without them.",
        .columns = {
            key("stay", Need::required, "As in stays.csv."),
            moment("moment", Need::optional,
                   "Any instant inside the sealed spell; empty: the whole stay, but for spells with a "
                   "decision of their own."),
            word("act", Need::required,
                 "exclude, include, mark (value: good, doubtful, unusable), move_start and move_end (value: "
                 "the "
                 "time of the first or last reading to use), note. A bound moved out of the sealed spell "
                 "would "
                 "reach into a flush: it is refused with a warning and the spell's own bound stays, settling "
                 "included. A start that is not before the end is a complaint, and the spell gives nothing.",
                 DecisionAct{}),
            text("value", "As the act says."), text("reason", "Why; a reviewer will read it."),
            text("author", "Who decided."), moment("at", Need::optional, "When it was decided."),
            word("treatment", Need::optional,
                 "Whether whoever decided could see the fish's treatment: hidden (a report made with "
                 "`backeddy "
                 "run --hide-treatment`) or seen. Findings say how many decisions were made which way.",
                 TreatmentSight{})}};
}

TableDefinition declarations_table() {
    return {
        .name = TableName::declarations,
        .file = "declarations.csv",
        .what =
            "What was asked before the numbers were known: `backeddy declare` adds a row for each question "
            "of the brief that has none in its present form. Rows are never changed or taken out. It is a "
            "record among honest people, no proof: keep it with the study under version control, or lodge "
            "a copy with somebody else.",
        .columns = {
            key("question", Need::required, "Its name, as in study.toml."),
            text("form_sha256", "Of all keys that decide the answer; another one: the question was changed."),
            text("settings_sha256",
                 "Of the settings of the analysis that are not at their default (all sections but [study], "
                 "[water], [plausible], [blood], [permit], [deck] and [report]); another one: settings were "
                 "changed. Empty, or no such column: not recorded."),
            moment("declared_at", Need::required, "When, in UTC."), text("author", "Who declared it."),
            number("fish_met", "fish", {0.0, 1e6},
                   "Rows of fish.csv at that moment. 0: before the first fish was met."),
            word(
                "results_seen", Need::required,
                "Whether results lay in the study's folder results then. Results that were written elsewhere "
                "(run --out) are not seen: say so in the note.",
                YesNo{}),
            note()}};
}

// ---- the fish's condition: what cannot be read of it is left out, and the rest is computed

Column yes_or_no(std::string name, std::string what) {
    return word(std::move(name), Need::optional, std::move(what), YesNo{});
}

Column value_or_limit(std::string name, std::string unit, std::string what) {
    return {.name = std::move(name),
            .kind = CellKind::value_or_limit,
            .unit = std::move(unit),
            .what = std::move(what)};
}

constexpr auto as_in_fish = "As in fish.csv.";

TableDefinition blood_table() {
    return {
        .name = TableName::blood,
        .file = "blood.csv",
        .what = "One row per value. Rows of one fish and one drawn_at are one draw; a draw of which nothing "
                "has been measured yet is one row without an analyte.",
        .faults = Severity::warning,
        .columns = {
            key("fish", Need::required, as_in_fish),
            also_called(moment("drawn_at", Need::required, "When the blood left the fish."),
                        {"bled_at", "drawn", "time", "at"}),
            word("analyte", Need::optional, "What was measured.", condition::Analyte{}),
            value_or_limit(
                "value", "as unit says",
                "The number; below what the assay can tell `<0.5`, above its range `>20`, with the "
                "limit itself: it is kept as such, never as a number."),
            text(
                "unit",
                "Of the value, needed with it. cortisol: ng/mL, ug/L, nmol/L, ug/dL, pg/mL. glucose: mmol/L, "
                "mg/dL, mg/L. lactate: mmol/L, mg/dL, mg/L, where mg are of lactic acid as usual (9.008 "
                "mg/dL "
                "are 1 mmol/L); where a lab counts the ion, 1.1 % lighter, write `mg/dL lactate`. "
                "haematocrit: "
                "%, fraction. osmolality: mOsm/kg. Ions: mmol/L, mEq/L, mg/L, mg/dL."),
            text("device", "Meter or assay. Values of two devices are two kinds of values."),
            also_called(positive("volume_ml", "mL", {0.0, 1000.0},
                                 "Of the whole draw; written in one of its rows. Weighed against [blood] "
                                 "ceiling_ml_per_kg."),
                        {"volume", "blood_volume"}),
            word("matrix", Need::optional,
                 "In what it was measured. Empty: the sample's, if one is named; else plasma.",
                 condition::Matrix{}),
            word("haemolysis", Need::optional, "Red plasma, by eye.", condition::Haemolysis{}),
            key("sample", Need::optional, "The tube it was measured from, as in samples.csv."),
            text("who", "Who drew it: trained, and named on the permit."), note()}};
}

TableDefinition samples_table() {
    return {
        .name = TableName::samples,
        .file = "samples.csv",
        .what = "One row per tube: from its label back to a fish and a minute.",
        .faults = Severity::warning,
        .columns = {
            key("sample", Need::required, "The label, no two alike."),
            key("fish", Need::required, as_in_fish),
            moment("taken_at", Need::required,
                   "When it left the fish: as drawn_at of the blood. Of a part of another sample the same."),
            word("matrix", Need::optional, "What it is.", condition::Matrix{}),
            key("split_of", Need::optional, "The sample of which this one is a part."),
            also_called(positive("volume_ul", "uL", {0.0, 1e6}, "In the tube."), {"volume"}),
            text("freezer", "Where it lies."),
            number("thaws", "times", {0.0, 1000.0}, "How often it was thawed before it was measured."),
            note()}};
}

TableDefinition plates_table() {
    return {
        .name = TableName::plates,
        .file = "plates.csv",
        .what =
            "One row per assay plate that a reader has read. The columns from `rows` on are for a file that "
            "has two readings, or none: `check` then says which of them to fill in.",
        .faults = Severity::warning,
        .columns = {key("plate", Need::required, "Its name, as in wells.csv."),
                    text("file", "What the reader wrote, inside the study folder: raw/plates/p1.csv."),
                    word("analyte", Need::required, "What it measures.", condition::Analyte{}),
                    text("unit", "Of all concentrations of this plate, as in blood.csv."),
                    moment("run_at", Need::optional, "When."), text("who", "Who ran it."),
                    number("rows", "rows", {2.0, 64.0}, "Of the plate. Empty: 8."),
                    number("columns", "columns", {3.0, 96.0}, "Of the plate. Empty: 12."),
                    text("block",
                         "Of a file with several grids or lists: the words above the one to read, or its "
                         "number (a whole number up to 99)."),
                    number("first_line", "line", {1.0, 1e6},
                           "Of a grid without row letters and column numbers: the line of its row A."),
                    text("value_column", "Of a list: the header of its values, or the number of that field."),
                    text("well_column", "Of a list: the header of its wells, or the number of that field."),
                    text("only_column",
                         "Of a list with several plates, wavelengths or reads: the header of the column "
                         "that tells them apart, or its number."),
                    text("only_value", "What that column must hold."),
                    word("delimiter", Need::optional, "What parts the cells.", CellsPartedBy{}),
                    word("decimal", Need::optional, "The decimal mark.", DecimalIs{}), note()}};
}

TableDefinition wells_table() {
    return {
        .name = TableName::wells,
        .file = "wells.csv",
        .what = "The plate maps: one row per well. A well that is not listed counts for nothing, and is told "
                "where the plate's file has a value of it: of one that holds nothing write `empty`.",
        .faults = Severity::warning,
        .columns = {
            key("plate", Need::required, "As in plates.csv."),
            text("well", "Row and column, \"C7\": A to H, 1 to 12, or as large as plates.csv says."),
            word("holds", Need::required,
                 "standard: a known concentration. zero: all reagents, no analyte. blank: the signal without "
                 "the "
                 "reaction. control: the same material on every plate. spiked: a sample to which a known "
                 "amount "
                 "was added.",
                 condition::WellKind{}),
            text("label",
                 "Of a sample or spiked sample its tube, as in samples.csv; of a control its name. The same "
                 "label, holds and dilution in several wells: replicates."),
            number("concentration", "as the plate's", {0.0, 1e12},
                   "Of a standard what it holds; of a control what is expected, if known."),
            positive("dilution", "times", {0.0, 1e9},
                     "20 for one part made up to twenty. Empty: 1, undiluted."),
            positive("added", "as the plate's", {0.0, 1e12},
                     "Of a spiked sample: by how much the spike raises the undiluted concentration."),
            text("excluded", "Why this well does not count (a bubble); empty: it counts."), note()}};
}

TableDefinition fins_table() {
    return {
        .name = TableName::fins,
        .file = "fins.csv",
        .what =
            "One row per fin and occasion, or one of `all` for the whole fish and rows of their own for the "
            "fins that differ: what such a row says goes before what `all` says, cell by cell. An empty cell "
            "was not looked at.",
        .faults = Severity::warning,
        .columns = {key("fish", Need::required, as_in_fish),
                    word("occasion", Need::required, "What holding did is the difference of two.",
                         condition::Occasion{}),
                    word("fin", Need::required, "all: those that [fins] fins names.", ScoredFin{}),
                    text("score", "A level of [fins] scale, by its word or its number from 0."),
                    yes_or_no("split", "Split to the base."), yes_or_no("fray", "Frayed edge."),
                    yes_or_no("net_marks", "Marks of a net."),
                    text("scorer", "Who. Two scorers of one fish show how far scores can be trusted."),
                    moment("at", Need::optional, "When; needed of a fish that was landed twice."), note()}};
}

TableDefinition body_table() {
    return {
        .name = TableName::body,
        .file = "body.csv",
        .what =
            "Scale loss by area, eyes and the hook's wound: one row each, or one of `all` for the six areas "
            "and rows of their own for those that differ. Other marks: as a note.",
        .faults = Severity::warning,
        .columns = {
            key("fish", Need::required, as_in_fish),
            word("occasion", Need::required, "As in fins.csv.", condition::Occasion{}),
            word("area", Need::required, "all: head, back, flanks, belly and tail.", ScoredPart{}),
            text("score",
                 "A level of [body] scale, by its word or its number from 0. Of hook_wound how much it "
                 "bleeds: none, slight, moderate, heavy."),
            text("scorer", "Who."),
            moment("at", Need::optional, "When; needed of a fish that was landed twice."), note()}};
}

TableDefinition reflexes_table() {
    return {
        .name = TableName::reflexes,
        .file = "reflexes.csv",
        .what = "One row per test.",
        .faults = Severity::warning,
        .columns = {key("fish", Need::required, as_in_fish),
                    moment("at", Need::required, "When: the same for all tests of one look."),
                    text("test", "One of [reflexes] tests."),
                    yes_or_no("there", "Whether the fish showed it; empty: not tested, which is not \"no\"."),
                    text("who", "Who."), note()}};
}

TableDefinition fates_table() {
    return {
        .name = TableName::fates,
        .file = "fates.csv",
        .what = "What became of each fish, in any order. `released`, `tagged` and `died` of events.csv, and "
                "stays "
                "that ended `died` or `escaped`, count as well and need not be written again. As strict as "
                "events.csv: with a row left out a dead fish would count as living.",
        .columns = {key("fish", Need::required, as_in_fish),
                    moment("at", Need::required, "When; of dead: when found."),
                    word("what", Need::required,
                         "detected: its tag, by a receiver. recaptured: alive. tag_shed: known to be off "
                         "from then on. "
                         "lost: nobody looks any more. dead: found dead, or killed.",
                         condition::FateKind{}),
                    moment("last_alive", Need::optional,
                           "Of dead and lost: when it was last seen alive. The death lies between the two."),
                    word("stage", Need::optional, "Where in its day it was.", condition::FateStage{}),
                    text("cause", "Of death, in a few fixed words of your own."),
                    text("tag_type", "Of the tag."), text("tag_serial", "Of the tag."),
                    word("tag_place", Need::optional, "Empty: external.", condition::TagPlace{}), note()}};
}

void require(TableDefinition& table, std::string_view column) {
    for (auto& candidate : table.columns) {
        if (candidate.name == column) {
            candidate.need = Need::required;
        }
    }
}

std::vector<TableDefinition> all_tables() {
    std::vector<TableDefinition> out{fish_table(),         encounters_table(), stays_table(),
                                     events_table(),       assemblies_table(), calibrations_table(),
                                     clock_checks_table(), decisions_table(),  declarations_table(),
                                     blood_table(),        samples_table(),    plates_table(),
                                     wells_table(),        fins_table(),       body_table(),
                                     reflexes_table(),     fates_table()};
    require(out[static_cast<std::size_t>(TableName::assemblies)], "chamber_volume_l");
    require(out[static_cast<std::size_t>(TableName::calibrations)], "reading");
    require(out[static_cast<std::size_t>(TableName::declarations)], "form_sha256");
    require(out[static_cast<std::size_t>(TableName::declarations)], "fish_met");
    require(out[static_cast<std::size_t>(TableName::plates)], "file");
    require(out[static_cast<std::size_t>(TableName::plates)], "unit");
    require(out[static_cast<std::size_t>(TableName::wells)], "well");
    require(out[static_cast<std::size_t>(TableName::reflexes)], "test");
    return out;
}

} // namespace

const std::vector<TableDefinition>& tables() {
    static const std::vector<TableDefinition> all = all_tables();
    return all;
}

const TableDefinition& table(TableName name) {
    return tables().at(static_cast<std::size_t>(name));
}

const TableDefinition* table_of_word(std::string_view word) {
    const auto& all = tables();
    const auto found = std::ranges::find_if(all, [&](const auto& each) { return each.word() == word; });
    return found == all.end() ? nullptr : &*found;
}

} // namespace backeddy::study
