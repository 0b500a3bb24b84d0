// Assay plates and their maps.

#include <algorithm>
#include <filesystem>
#include <iterator>
#include <optional>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "condition/blood.hpp"
#include "study/detail/sheet_faults.hpp"
#include "study/words.hpp"

namespace backeddy::study {

namespace {

using condition::WellKind;

std::string name_of(const WellRow& row) {
    return condition::well_name(row.row, row.column);
}

bool is_of_sample(const WellRow& row) {
    return row.kind == WellKind::sample || row.kind == WellKind::spiked;
}

/// So that the study can be given away whole.
bool is_inside_folder(const std::string& file) {
    const std::filesystem::path path = file;
    return !path.empty() && !path.is_absolute() &&
           std::ranges::none_of(path, [](const auto& part) { return part == ".."; });
}

void check_plate(SheetFaults& faults, const PlateRow& row, const Tables& tables) {
    auto unit = condition::converted(row.analyte, 1.0, row.unit, condition::usual_unit(row.analyte));
    if (!unit) {
        return faults.leave_out(row.place, "unit", std::move(unit).error());
    }
    if (!is_inside_folder(row.file)) {
        return faults.leave_out(
            row.place, "file",
            Saying{.code = ErrorCode::bad_setting,
                   .found = quote(row.file),
                   .expected = "a file inside the study folder, such as raw/plates/p1.csv",
                   .remedy = "copy the file into the folder; a path may not be absolute or "
                             "hold \"..\""});
    }
    const bool has_wells =
        std::ranges::any_of(tables.sheets.wells, [&](const WellRow& well) { return well.plate == row.id; });
    if (!has_wells) {
        faults.leave_out(row.place, "plate",
                         Saying{.code = ErrorCode::too_few,
                                .found = "no well of the plate " + quote(row.id.text()) + " is in wells.csv",
                                .expected = "its map: what each well holds",
                                .remedy = "fill in wells.csv"});
    }
}

/// Of a plate that plates.csv does not have: of the usual size.
void check_place(SheetFaults& faults, const WellRow& row, const PlateRow* of) {
    const PlateFileHelp plate = of == nullptr ? PlateFileHelp() : of->help;
    if (row.row > plate.rows || row.column > plate.columns) {
        faults.leave_out(
            row.place, "well",
            Saying{.code = ErrorCode::out_of_range,
                   .found = "the well " + name_of(row),
                   .expected = fmt::format("a well of {} x {}: A1 to {}", plate.rows, plate.columns,
                                           condition::well_name(plate.rows, plate.columns)),
                   .remedy = "correct it, or the plate's rows and columns in plates.csv"});
    }
}

/// A cell that what the well holds cannot do without, or cannot have.
struct CellFault {
    std::string column;
    std::string found;
    std::string expected;
};

std::optional<CellFault> cell_fault(const WellRow& row) {
    const auto what = word_of(row.kind);
    const bool has_amount = row.concentration && *row.concentration > 0.0;
    switch (row.kind) {
    case WellKind::standard:
        if (!has_amount) {
            return CellFault{"concentration", "a standard without a concentration above 0",
                             "what it holds; of 0, write zero into holds"};
        }
        break;
    case WellKind::empty:
    case WellKind::zero:
    case WellKind::blank:
        if (has_amount) {
            return CellFault{"concentration",
                             what + " with a concentration of " + exact_text(*row.concentration), "none"};
        }
        break;
    case WellKind::control:
    case WellKind::sample:
    case WellKind::spiked:
        if (row.label.empty()) {
            return CellFault{"label", what + " without a label",
                             row.kind == WellKind::control ? "its name" : "the tube, as in samples.csv"};
        }
        break;
    }
    if (row.kind == WellKind::control && row.concentration && !has_amount) {
        return CellFault{"concentration", "a control that should hold " + exact_text(*row.concentration),
                         "a value above 0, or an empty cell where it is not known"};
    }
    if (row.kind == WellKind::spiked && !(row.added && *row.added > 0.0)) {
        return CellFault{"added",
                         row.added ? "a spiked sample to which " + exact_text(*row.added) + " was added"
                                   : "a spiked sample without what was added",
                         "by how much the spike raises the concentration"};
    }
    if (row.added && row.kind != WellKind::spiked) {
        return CellFault{"added", what + " to which something was added",
                         "spiked in holds, or no amount added"};
    }
    const bool is_diluted = row.kind == WellKind::control || is_of_sample(row);
    if (row.dilution && *row.dilution != 1.0 && !is_diluted) {
        return CellFault{"dilution", what + " with a dilution of " + exact_text(*row.dilution),
                         "1 or an empty cell: a standard's concentration is that in the well"};
    }
    return std::nullopt;
}

/// Nothing reads it; the row counts all the same.
void tell_of_unread(SheetFaults& faults, const WellRow& row) {
    if (is_of_sample(row) && row.concentration) {
        faults.tell(row.place, "concentration",
                    {.code = ErrorCode::bad_relation,
                     .found = fmt::format("{}: {} with a concentration of {}", name_of(row),
                                          word_of(row.kind), exact_text(*row.concentration)),
                     .expected = "an empty cell: only standards and controls have a known one",
                     .remedy = "nothing is computed from it; correct holds or empty the cell"});
    }
}

void check_well(SheetFaults& faults, const WellRow& row, const Tables& tables) {
    const PlateRow* plate = tables.sheets.find(row.plate);
    if (plate == nullptr) {
        faults.leave_out(unknown(
            row.place, "plate", row.plate.text(), tables.sheets.plates,
            [](const PlateRow& one) { return one.id.text(); }, "plates.csv"));
    }
    check_place(faults, row, plate);
    tell_of_unread(faults, row);
    if (auto fault = cell_fault(row)) {
        faults.leave_out(row.place, fault->column,
                         Saying{.code = ErrorCode::bad_row,
                                .found = name_of(row) + ": " + fault->found,
                                .expected = std::move(fault->expected),
                                .remedy = "correct the row"});
    } else if (is_of_sample(row) && !tables.sheets.samples.empty() &&
               tables.sheets.find(SampleId(row.label)) == nullptr) {
        faults.leave_out(unknown(
            row.place, "label", row.label, tables.sheets.samples,
            [](const SampleRow& sample) { return sample.id.text(); }, "samples.csv"));
    }
}

/// One control has one expected value on a plate, and one spiked sample one amount added: against the first
/// row of the same.
void check_one_amount(SheetFaults& faults, const WellRow& row, const ConditionSheets& sheets) {
    if (row.label.empty() || (row.kind != WellKind::control && row.kind != WellKind::spiked)) {
        return;
    }
    const bool is_control = row.kind == WellKind::control;
    const auto amount = [&](const WellRow& well) { return is_control ? well.concentration : well.added; };
    const auto text = [](const std::optional<double>& value) {
        return value ? exact_text(*value) : std::string("none");
    };
    const auto& first = *std::ranges::find_if(sheets.wells, [&](const WellRow& well) {
        return well.plate == row.plate && well.kind == row.kind && well.label == row.label;
    });
    if (amount(first) != amount(row)) {
        faults.leave_out(
            row.place, is_control ? "concentration" : "added",
            Saying{.code = ErrorCode::bad_relation,
                   .found = fmt::format("{}: {} with {}, in {} it is {}", name_of(row), quote(row.label),
                                        text(amount(row)), name_of(first), text(amount(first))),
                   .expected = "one amount for one label on a plate",
                   .remedy = "correct one, or give them two labels"});
    }
}

/// Possible, and nearly always one part in ten written as a share: told once of each plate.
void tell_of_shares(SheetFaults& faults, const ConditionSheets& sheets) {
    const auto is_share = [](const WellRow& row) { return row.dilution && *row.dilution < 1.0; };
    std::vector<PlateId> told;
    for (const auto& row : sheets.wells) {
        if (!is_share(row) || std::ranges::find(told, row.plate) != told.end()) {
            continue;
        }
        told.push_back(row.plate);
        const auto wells = std::ranges::count_if(
            sheets.wells, [&](const WellRow& other) { return other.plate == row.plate && is_share(other); });
        faults.tell(
            row.place, "dilution",
            {.code = ErrorCode::out_of_range,
             .found = fmt::format(
                 "{}: a dilution of {}, below 1; {} of plate {} so", name_of(row), exact_text(*row.dilution),
                 wells == 1 ? "one well" : fmt::format("{} wells", wells), quote(row.plate.text())),
             .expected = "a factor of 1 or more: by how much the result is greater than what the well "
                         "holds",
             .remedy = "write 10 for one part in ten; below 1 is right only for a sample that was "
                       "concentrated"});
    }
}

/// Without samples.csv no well has a fish: told once.
void check_any_sample(SheetFaults& faults, const ConditionSheets& sheets) {
    std::vector<Place> places;
    for (const auto& row : sheets.wells) {
        if (is_of_sample(row)) {
            places.push_back(row.place);
        }
    }
    if (sheets.samples.empty() && !places.empty()) {
        faults.leave_out(places, "label",
                         {.code = ErrorCode::too_few,
                          .found = fmt::format("{} wells of samples, and none in samples.csv", places.size()),
                          .expected = "each tube with its fish and the minute it was taken",
                          .remedy = "fill in samples.csv"});
    }
}

} // namespace

void check_plates(SheetFaults& faults, const Tables& tables) {
    const auto& sheets = tables.sheets;
    faults.leave_out_repeated(
        sheets.plates, "plate", [](const PlateRow& r) { return r.id.text(); },
        [](const PlateRow& r) { return "the plate " + quote(r.id.text()); });
    for (const auto& row : sheets.plates) {
        check_plate(faults, row, tables);
    }
    faults.leave_out_repeated(
        sheets.wells, "well", [](const WellRow& r) { return std::tuple(r.plate, r.row, r.column); },
        [](const WellRow& r) { return fmt::format("{} of {}", name_of(r), quote(r.plate.text())); });
    for (const auto& row : sheets.wells) {
        check_well(faults, row, tables);
        check_one_amount(faults, row, sheets);
    }
    tell_of_shares(faults, sheets);
    check_any_sample(faults, sheets);
}

} // namespace backeddy::study
