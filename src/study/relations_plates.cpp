// Assay plates and their maps.

#include <algorithm>
#include <iterator>
#include <optional>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "condition/blood.hpp"
#include "condition/plate.hpp"
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

void check_plate(SheetFaults& faults, const PlateRow& row, const Tables& tables) {
    auto unit = condition::converted(row.analyte, 1.0, row.unit, condition::usual_unit(row.analyte));
    if (!unit) {
        return faults.leave_out(row.place, "unit", std::move(unit).error());
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

void check_place(SheetFaults& faults, const WellRow& row) {
    constexpr condition::PlateSettings plate;
    if (row.row > plate.rows || row.column > plate.columns) {
        faults.leave_out(
            row.place, "well",
            Saying{.code = ErrorCode::out_of_range,
                   .found = "the well " + name_of(row),
                   .expected = fmt::format("a well of {} x {}: A1 to {}", plate.rows, plate.columns,
                                           condition::well_name(plate.rows, plate.columns)),
                   .remedy = "correct it"});
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
    if (row.kind == WellKind::spiked && !row.added) {
        return CellFault{"added", "a spiked sample without what was added",
                         "by how much the spike raises the concentration"};
    }
    if (row.added && row.kind != WellKind::spiked) {
        return CellFault{"added", what + " to which something was added",
                         "spiked in holds, or no amount added"};
    }
    return std::nullopt;
}

void check_well(SheetFaults& faults, const WellRow& row, const Tables& tables) {
    if (tables.sheets.find(row.plate) == nullptr) {
        faults.leave_out(unknown(
            row.place, "plate", row.plate.text(), tables.sheets.plates,
            [](const PlateRow& plate) { return plate.id.text(); }, "plates.csv"));
    }
    check_place(faults, row);
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
    }
    check_any_sample(faults, sheets);
}

} // namespace backeddy::study
