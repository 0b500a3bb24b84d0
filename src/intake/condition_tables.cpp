#include "intake/condition_tables.hpp"

#include <functional>
#include <optional>
#include <set>
#include <string>
#include <utility>

#include "base/lower_case.hpp"
#include "intake/detail/table_cells.hpp"

namespace backeddy::intake {

namespace {

void read_well_place(Cells& cells, study::WellRow& row) {
    const auto text = cells.text("well");
    const auto place = condition::well_place(text);
    if (place) {
        row.row = place->row;
        row.column = place->column;
    } else if (!text.empty()) {
        cells.refuse_cell("well", {.code = ErrorCode::unknown_name,
                                   .found = in_quotes(text),
                                   .expected = "a well: row and column, \"C7\"",
                                   .remedy = "write it so",
                                   .place = {},
                                   .context = {}});
    }
}

study::PlateFileHelp help_in(Cells& cells) {
    study::PlateFileHelp out;
    out.rows = cells.count("rows").value_or(out.rows);
    out.columns = cells.count("columns").value_or(out.columns);
    out.block = cells.text("block");
    out.first_line = cells.count("first_line");
    out.value_column = cells.text("value_column");
    out.well_column = cells.text("well_column");
    out.only_column = cells.text("only_column");
    out.only_value = cells.text("only_value");
    out.delimiter = cells.word<study::CellsPartedBy>("delimiter");
    out.decimal = cells.word<study::DecimalIs>("decimal");
    return out;
}

/// Nothing where the cell says that the test was not done.
std::optional<bool> is_there_in(Cells& cells) {
    static const std::set<std::string, std::less<>> untested{"na", "n/a", "?", "-", "nt", "not tested"};
    const bool is_untested = untested.contains(lower_case(cells.text("there")));
    return is_untested ? std::nullopt : cells.yes_or_no("there");
}

/// Nothing where the row names no tag.
std::optional<condition::Tag> tag_of(Cells& cells) {
    condition::Tag tag{.type = cells.text("tag_type"), .serial = cells.text("tag_serial")};
    const auto place = cells.word<condition::TagPlace>("tag_place");
    tag.place = place.value_or(condition::TagPlace::external);
    const bool is_named = place || !tag.type.empty() || !tag.serial.empty();
    return is_named ? std::optional(std::move(tag)) : std::nullopt;
}

} // namespace

TableRead<study::BloodRow> read_blood(std::string_view text, const std::string& file,
                                      const TableContext& context) {
    return read_rows<study::BloodRow>(study::TableName::blood, text, file, context, [](Cells& cells) {
        study::BloodRow row;
        cells.read("fish", row.fish);
        row.drawn_at = cells.time("drawn_at").value_or(Instant());
        row.analyte = cells.word<condition::Analyte>("analyte");
        row.value = cells.value_or_limit("value");
        row.unit = cells.text("unit");
        row.device = cells.text("device");
        row.volume_ml = cells.number("volume_ml");
        row.matrix = cells.word<condition::Matrix>("matrix");
        row.haemolysis =
            cells.word<condition::Haemolysis>("haemolysis").value_or(condition::Haemolysis::not_said);
        cells.read("sample", row.sample);
        row.who = cells.text("who");
        return row;
    });
}

TableRead<study::SampleRow> read_samples(std::string_view text, const std::string& file,
                                         const TableContext& context) {
    return read_rows<study::SampleRow>(study::TableName::samples, text, file, context, [](Cells& cells) {
        study::SampleRow row;
        cells.read("sample", row.id);
        cells.read("fish", row.fish);
        row.taken_at = cells.time("taken_at").value_or(Instant());
        row.matrix = cells.word<condition::Matrix>("matrix");
        cells.read("split_of", row.split_of);
        row.volume_ul = cells.number("volume_ul");
        row.freezer = cells.text("freezer");
        row.thaws = cells.count("thaws");
        return row;
    });
}

TableRead<study::PlateRow> read_plates(std::string_view text, const std::string& file,
                                       const TableContext& context) {
    return read_rows<study::PlateRow>(study::TableName::plates, text, file, context, [](Cells& cells) {
        study::PlateRow row;
        cells.read("plate", row.id);
        row.file = cells.text("file");
        row.analyte = cells.word<condition::Analyte>("analyte").value_or(condition::Analyte::cortisol);
        row.unit = cells.text("unit");
        row.run_at = cells.time("run_at");
        row.who = cells.text("who");
        row.help = help_in(cells);
        return row;
    });
}

TableRead<study::WellRow> read_wells(std::string_view text, const std::string& file,
                                     const TableContext& context) {
    return read_rows<study::WellRow>(study::TableName::wells, text, file, context, [](Cells& cells) {
        study::WellRow row;
        cells.read("plate", row.plate);
        read_well_place(cells, row);
        row.kind = cells.word<condition::WellKind>("holds").value_or(condition::WellKind::empty);
        row.label = cells.text("label");
        row.concentration = cells.number("concentration");
        row.dilution = cells.number("dilution");
        row.added = cells.number("added");
        row.excluded = cells.text("excluded");
        return row;
    });
}

TableRead<study::FinRow> read_fins(std::string_view text, const std::string& file,
                                   const TableContext& context) {
    return read_rows<study::FinRow>(study::TableName::fins, text, file, context, [](Cells& cells) {
        study::FinRow row;
        cells.read("fish", row.fish);
        row.occasion = cells.word<condition::Occasion>("occasion").value_or(condition::Occasion::landing);
        row.fin = cells.word<study::ScoredFin>("fin").value_or(study::ScoredFin::all);
        row.score = cells.text("score");
        row.is_split = cells.yes_or_no("split");
        row.is_frayed = cells.yes_or_no("fray");
        row.has_net_marks = cells.yes_or_no("net_marks");
        row.scorer = cells.text("scorer");
        row.at = cells.time("at");
        return row;
    });
}

TableRead<study::BodyRow> read_body(std::string_view text, const std::string& file,
                                    const TableContext& context) {
    return read_rows<study::BodyRow>(study::TableName::body, text, file, context, [](Cells& cells) {
        study::BodyRow row;
        cells.read("fish", row.fish);
        row.occasion = cells.word<condition::Occasion>("occasion").value_or(condition::Occasion::landing);
        row.part = cells.word<study::ScoredPart>("area").value_or(study::ScoredPart::all);
        row.score = cells.text("score");
        row.scorer = cells.text("scorer");
        row.at = cells.time("at");
        return row;
    });
}

TableRead<study::ReflexRow> read_reflexes(std::string_view text, const std::string& file,
                                          const TableContext& context) {
    return read_rows<study::ReflexRow>(study::TableName::reflexes, text, file, context, [](Cells& cells) {
        study::ReflexRow row;
        cells.read("fish", row.fish);
        row.at = cells.time("at").value_or(Instant());
        row.test = cells.text("test");
        row.is_there = is_there_in(cells);
        row.who = cells.text("who");
        return row;
    });
}

TableRead<study::FateRow> read_fates(std::string_view text, const std::string& file,
                                     const TableContext& context) {
    return read_rows<study::FateRow>(study::TableName::fates, text, file, context, [](Cells& cells) {
        study::FateRow row;
        cells.read("fish", row.fish);
        row.at = cells.time("at").value_or(Instant());
        row.what = cells.word<condition::FateKind>("what").value_or(condition::FateKind::seen_alive);
        row.last_alive = cells.time("last_alive");
        row.stage = cells.word<condition::FateStage>("stage");
        row.cause = cells.text("cause");
        row.tag = tag_of(cells);
        return row;
    });
}

} // namespace backeddy::intake
