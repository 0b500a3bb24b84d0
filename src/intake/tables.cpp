#include "intake/tables.hpp"

#include <algorithm>
#include <utility>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/condition_tables.hpp"
#include "intake/detail/table_cells.hpp"

namespace backeddy::intake {

namespace {

/// One row of stays.csv, before rows are joined.
struct StayRow {
    study::StayId id;
    study::FishId fish;
    study::AssemblyId assembly;
    study::StayPart part;
    std::optional<study::StayEnding> ended;
    std::optional<Instant> last_good;
    std::string note;
    std::vector<study::FreeCell> free;
};

study::Stay first_of(StayRow row) {
    return {.id = row.id,
            .fish = row.fish,
            .assembly = row.assembly,
            .parts = {row.part},
            .ended = row.ended,
            .last_good = row.last_good,
            .note = row.note,
            .free = std::move(row.free),
            .place = row.part.place};
}

/// Puts a further row to its stay; what both rows say must agree.
void join(study::Stay& stay, StayRow row, std::vector<Complaint>& complaints) {
    const auto differs = [&](const std::string& column, const std::string& before, const std::string& now) {
        Place place = row.part.place;
        place.column = column;
        complaints.push_back(
            {Severity::stops_the_run,
             {.code = ErrorCode::bad_relation,
              .found = in_quotes(now),
              .expected = fmt::format("{}, as in line {} of the same stay {}", in_quotes(before),
                                      *stay.place.line, in_quotes(stay.id.text())),
              .remedy = "give it a stay of its own, or correct it",
              .place = place,
              .context = {}}});
    };
    if (row.fish != stay.fish) {
        differs("fish", stay.fish.text(), row.fish.text());
    }
    if (row.assembly != stay.assembly) {
        differs("assembly", stay.assembly.text(), row.assembly.text());
    }
    for (std::size_t i = 0; i < row.free.size(); ++i) {
        if (stay.free[i].value.empty()) {
            stay.free[i].value = row.free[i].value;
        } else if (!row.free[i].value.empty() && row.free[i].value != stay.free[i].value) {
            differs(row.free[i].column, stay.free[i].value, row.free[i].value);
        }
    }
    stay.ended = row.ended ? row.ended : stay.ended;
    stay.last_good = row.last_good ? row.last_good : stay.last_good;
    if (!row.note.empty()) {
        stay.note += (stay.note.empty() ? "" : "; ") + row.note;
    }
    stay.parts.push_back(std::move(row.part));
}

StayRow stay_row(Cells& cells) {
    StayRow row;
    cells.read("stay", row.id);
    cells.read("fish", row.fish);
    cells.read("assembly", row.assembly);
    row.part.role = cells.word<uptake::StayRole>("role").value_or(uptake::StayRole::rest);
    row.part.from = cells.time("from").value_or(Instant());
    row.part.to = cells.time("to").value_or(Instant());
    row.part.place = cells.place();
    row.ended = cells.word<study::StayEnding>("ended");
    row.last_good = cells.time("last_good");
    return row;
}

study::Assembly assembly_row(Cells& cells) {
    study::Assembly row;
    cells.read("assembly", row.id);
    row.from = cells.time("from");
    row.to = cells.time("to");
    row.chamber_volume = Volume::litres(cells.number("chamber_volume_l").value_or(0.0));
    row.chamber_volume_uncertainty = as(cells.number("chamber_volume_uncertainty_l"), &Volume::litres);
    row.loop_volume = Volume::litres(cells.number("loop_volume_l").value_or(0.0));
    row.loop_volume_uncertainty = as(cells.number("loop_volume_uncertainty_l"), &Volume::litres);
    row.flow = as(cells.number("flow_l_per_min"), &Flow::l_per_min);
    row.flow_uncertainty = as(cells.number("flow_uncertainty_l_per_min"), &Flow::l_per_min);
    cells.read("sensor", row.sensor);
    row.oxygen = cells.channel("oxygen");
    row.temperature = cells.channel("temperature");
    row.pump = cells.channel("pump");
    row.sensor_lag_s = cells.number("sensor_lag_s");
    row.mixing_s = cells.number("mixing_s");
    return row;
}

/// The value of a decision by its act.
void read_value(Cells& cells, study::Decision& row, const TableZone& zone) {
    const auto& column = *study::table(study::TableName::decisions).column("value");
    const bool moves = row.act == study::DecisionAct::move_start || row.act == study::DecisionAct::move_end;
    const bool marks = row.act == study::DecisionAct::mark;
    if (row.value.empty() && (moves || marks)) {
        cells.complain(column, {.code = ErrorCode::bad_row,
                                .found = "an empty cell",
                                .expected = moves ? "the time to which the boundary moves"
                                                  : "good, doubtful or unusable",
                                .remedy = "fill it in",
                                .place = {},
                                .context = {}});
    } else if (moves) {
        row.moved_to = cells.time_in(column, row.value, zone);
    } else if (marks) {
        row.mark = cells.word_in<uptake::Mark>(column, row.value);
    }
}

template <typename Row>
void take_over(TablesRead& out, TableRead<Row> read, std::vector<Row>& rows, std::string_view bytes) {
    rows = std::move(read.rows);
    out.complaints.insert(out.complaints.end(), read.complaints.begin(), read.complaints.end());
    out.tables.own_columns[read.summary.file] = read.summary.free_columns;
    read.summary.bytes = bytes.size();
    read.summary.sha256 = sha256_hex(bytes);
    out.summaries.push_back(std::move(read.summary));
}

void read_one(study::TableName name, const std::string& file, std::string_view text,
              const TableContext& context, TablesRead& out) {
    auto& tables = out.tables;
    switch (name) {
    case study::TableName::fish:
        return take_over(out, read_fish(text, file, context), tables.fish, text);
    case study::TableName::encounters:
        return take_over(out, read_encounters(text, file, context), tables.encounters, text);
    case study::TableName::stays:
        return take_over(out, read_stays(text, file, context), tables.stays, text);
    case study::TableName::events:
        return take_over(out, read_events(text, file, context), tables.events, text);
    case study::TableName::assemblies:
        return take_over(out, read_assemblies(text, file, context), tables.assemblies, text);
    case study::TableName::calibrations:
        return take_over(out, read_calibrations(text, file, context), tables.calibrations, text);
    case study::TableName::clock_checks:
        return take_over(out, read_clock_checks(text, file, context), tables.clock_checks, text);
    case study::TableName::decisions:
        return take_over(out, read_decisions(text, file, context), tables.decisions, text);
    case study::TableName::declarations:
        return take_over(out, read_declarations(text, file, context), tables.declarations, text);
    case study::TableName::blood:
        take_over(out, read_blood(text, file, context), tables.sheets.blood, text);
        tables.sheets.blood_refused = out.summaries.back().refused;
        return;
    case study::TableName::samples:
        return take_over(out, read_samples(text, file, context), tables.sheets.samples, text);
    case study::TableName::plates:
        return take_over(out, read_plates(text, file, context), tables.sheets.plates, text);
    case study::TableName::wells:
        return take_over(out, read_wells(text, file, context), tables.sheets.wells, text);
    case study::TableName::fins:
        return take_over(out, read_fins(text, file, context), tables.sheets.fins, text);
    case study::TableName::body:
        return take_over(out, read_body(text, file, context), tables.sheets.body, text);
    case study::TableName::reflexes:
        return take_over(out, read_reflexes(text, file, context), tables.sheets.reflexes, text);
    case study::TableName::fates:
        return take_over(out, read_fates(text, file, context), tables.sheets.fates, text);
    }
}

} // namespace

TableContext context_of(const study::Brief& brief) {
    TableContext out{.zone = brief.study.zone, .clock_zones = {}, .edits = {}};
    for (const auto& trace : brief.traces) {
        if (!trace.zone.empty()) {
            out.clock_zones.emplace(trace.clock_id().text(), trace.zone);
        }
    }
    return out;
}

TableRead<study::Fish> read_fish(std::string_view text, const std::string& file,
                                 const TableContext& context) {
    return read_rows<study::Fish>(study::TableName::fish, text, file, context, [](Cells& cells) {
        study::Fish row;
        cells.read("fish", row.id);
        row.species = cells.text("species");
        row.mass = as(cells.number("mass_g"), &Mass::grams);
        row.mass_uncertainty = as(cells.number("mass_uncertainty_g"), &Mass::grams);
        row.mass_source = cells.text("mass_source");
        row.fork_length_mm = cells.number("fork_length_mm");
        row.density = as(cells.number("density_kg_per_l"), &Density::kg_per_l);
        row.tag = cells.text("tag");
        return row;
    });
}

TableRead<study::Encounter> read_encounters(std::string_view text, const std::string& file,
                                            const TableContext& context) {
    return read_rows<study::Encounter>(study::TableName::encounters, text, file, context, [](Cells& cells) {
        study::Encounter row;
        cells.read("encounter", row.id);
        cells.read("fish", row.fish);
        row.at = cells.time("at");
        row.at_uncertainty = cells.seconds("at_uncertainty_s");
        row.method = cells.text("method");
        row.who = cells.text("who");
        row.where = cells.text("where");
        row.rig = cells.text("rig");
        row.unhooking = cells.text("unhooking");
        row.landing = cells.text("landing");
        row.hook_location = cells.text("hook_location");
        row.water_temperature = as(cells.number("water_temperature_c"), &Temperature::celsius);
        return row;
    });
}

TableRead<study::Stay> read_stays(std::string_view text, const std::string& file,
                                  const TableContext& context) {
    auto lines = read_rows<StayRow>(study::TableName::stays, text, file, context, stay_row);
    TableRead<study::Stay> out{
        .rows = {}, .complaints = std::move(lines.complaints), .summary = std::move(lines.summary)};
    for (auto& line : lines.rows) {
        if (!out.rows.empty() && out.rows.back().id == line.id) {
            join(out.rows.back(), std::move(line), out.complaints);
        } else {
            out.rows.push_back(first_of(std::move(line)));
        }
    }
    study::sort_by_place(out.complaints);
    return out;
}

TableRead<study::Event> read_events(std::string_view text, const std::string& file,
                                    const TableContext& context) {
    return read_rows<study::Event>(study::TableName::events, text, file, context, [](Cells& cells) {
        study::Event row;
        row.at = cells.time("at").value_or(Instant());
        row.at_uncertainty = cells.seconds("at_uncertainty_s");
        row.kind = cells.word<study::EventKind>("event").value_or(study::EventKind::note);
        cells.read("fish", row.fish);
        cells.read("stay", row.stay);
        cells.read("assembly", row.assembly);
        row.value = cells.number("value");
        row.unit = cells.text("unit");
        row.who = cells.text("who");
        row.rod = cells.text("rod");
        row.rig = cells.text("rig");
        row.photo = cells.text("photo");
        return row;
    });
}

TableRead<study::Assembly> read_assemblies(std::string_view text, const std::string& file,
                                           const TableContext& context) {
    return read_rows<study::Assembly>(study::TableName::assemblies, text, file, context, assembly_row);
}

TableRead<study::Calibration> read_calibrations(std::string_view text, const std::string& file,
                                                const TableContext& context) {
    return read_rows<study::Calibration>(
        study::TableName::calibrations, text, file, context, [](Cells& cells) {
            study::Calibration row;
            cells.read("sensor", row.sensor);
            row.at = cells.time("at").value_or(Instant());
            row.point = cells.word<study::CalibrationPoint>("point").value_or(study::CalibrationPoint::air);
            row.reading = cells.number("reading").value_or(0.0);
            row.unit = cells.text("unit");
            row.temperature = as(cells.number("temperature_c"), &Temperature::celsius);
            row.pressure = as(cells.number("pressure_kpa"), &Pressure::kilopascals);
            row.salinity = as(cells.number("salinity"), &Salinity::practical);
            row.uncertainty = cells.number("uncertainty");
            row.who = cells.text("who");
            return row;
        });
}

TableRead<study::ClockCheck> read_clock_checks(std::string_view text, const std::string& file,
                                               const TableContext& context) {
    const auto zone_of = [&](const study::ClockId& clock) {
        const auto found = context.clock_zones.find(clock.text());
        return zone_or_utc(found == context.clock_zones.end() ? context.zone : found->second);
    };
    return read_rows<study::ClockCheck>(
        study::TableName::clock_checks, text, file, context, [&](Cells& cells) {
            study::ClockCheck row;
            cells.read("clock", row.clock);
            cells.read("reference", row.reference);
            row.shown = cells.time("shown", zone_of(row.clock)).value_or(Instant());
            row.true_time =
                (row.reference.is_empty() ? cells.time("true") : cells.time("true", zone_of(row.reference)))
                    .value_or(Instant());
            row.uncertainty = cells.seconds("uncertainty_s");
            row.how = cells.text("how");
            return row;
        });
}

TableRead<study::Decision> read_decisions(std::string_view text, const std::string& file,
                                          const TableContext& context) {
    const TableZone zone = zone_or_utc(context.zone);
    return read_rows<study::Decision>(study::TableName::decisions, text, file, context, [&](Cells& cells) {
        study::Decision row;
        cells.read("stay", row.stay);
        row.moment = cells.time("moment");
        const auto act = cells.word<study::DecisionAct>("act");
        row.act = act.value_or(study::DecisionAct::note);
        row.value = cells.text("value");
        read_value(cells, row, zone);
        row.reason = cells.text("reason");
        row.author = cells.text("author");
        row.at = cells.time("at");
        row.treatment =
            cells.word<study::TreatmentSight>("treatment").value_or(study::TreatmentSight::not_said);
        return row;
    });
}

TableRead<study::Declaration> read_declarations(std::string_view text, const std::string& file,
                                                const TableContext& context) {
    return read_rows<study::Declaration>(
        study::TableName::declarations, text, file, context, [](Cells& cells) {
            study::Declaration row;
            row.question = cells.text("question");
            row.form_sha256 = cells.text("form_sha256");
            row.settings_sha256 = cells.text("settings_sha256");
            row.declared_at = cells.time("declared_at").value_or(Instant());
            row.author = cells.text("author");
            row.fish_met = cells.count("fish_met").value_or(0);
            row.results_seen = cells.word<study::YesNo>("results_seen") == study::YesNo::yes;
            return row;
        });
}

TablesRead read_tables(const std::filesystem::path& folder, const study::Brief& brief,
                       const study::Edits& edits) {
    TablesRead out;
    TableContext context = context_of(brief);
    context.edits = edits;
    for (const auto& definition : study::tables()) {
        auto bytes = read_file(folder / definition.file, most_table_bytes);
        const bool is_missing = !bytes && bytes.error().code == ErrorCode::file_missing;
        const bool is_edited = std::ranges::find(edits, definition.name, &study::Edit::table) != edits.end();
        if (bytes || (is_missing && is_edited)) {
            read_one(definition.name, definition.file, bytes ? *bytes : std::string(), context, out);
            out.summaries.back().exists = bytes.has_value();
            continue;
        }
        TableSummary summary;
        summary.file = definition.file;
        summary.exists = false;
        out.summaries.push_back(std::move(summary));
        const bool is_of_chambers =
            definition.name == study::TableName::assemblies || definition.name == study::TableName::stays;
        const bool may_lack =
            is_of_chambers && brief.traces.empty(); // a study of catch, blood and fates alone
        if (!is_missing || (definition.need == Need::required && !may_lack)) {
            out.complaints.push_back(
                {Severity::stops_the_run,
                 {.code = bytes.error().code,
                  .found = is_missing ? "no such file" : bytes.error().found,
                  .expected = definition.what,
                  .remedy = "`backeddy new` makes an empty one",
                  .place = {.file = definition.file, .line = {}, .column = {}, .byte = {}},
                  .context = {}}});
        }
    }
    return out;
}

} // namespace backeddy::intake
