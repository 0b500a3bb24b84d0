#include "intake/plate_wells.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <string_view>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "intake/detail/csv_table.hpp"
#include "intake/detail/fields.hpp"

namespace backeddy::intake {

namespace {

using condition::Well;
using condition::WellKind;
using condition::WellPlace;
using study::Saying;

constexpr std::array<std::pair<std::string_view, WellKind>, 7> kinds{{{"standard", WellKind::standard},
                                                                      {"zero", WellKind::zero},
                                                                      {"blank", WellKind::blank},
                                                                      {"control", WellKind::control},
                                                                      {"sample", WellKind::sample},
                                                                      {"spiked", WellKind::spiked},
                                                                      {"empty", WellKind::empty}}};

using PlaceKey = std::pair<std::size_t, std::size_t>;

bool is_above_zero(double value) {
    return std::isfinite(value) && value > 0.0;
}

class Join {
  public:
    explicit Join(const PlateReading& reading) : reading_(reading) {
        for (const auto& cell : reading.wells) {
            cells_.emplace(PlaceKey{cell.row, cell.column}, &cell);
        }
        for (const auto& cell : reading.refused) {
            if (!cell.well.empty()) {
                refused_.emplace(cell.well, &cell);
            }
        }
    }

    PlateWells run(std::span<const PlateMapRow> map) {
        for (const auto& row : map) {
            take(row);
        }
        find_unmapped();
        return std::move(out_);
    }

  private:
    void take(const PlateMapRow& row) {
        is_right_ = true;
        const auto place = place_of(row);
        const auto kind = kind_of(row);
        if (!place || !kind) {
            return;
        }
        Well well{.row = place->row,
                  .column = place->column,
                  .kind = *kind,
                  .label = row.label,
                  .dilution = row.dilution.value_or(1.0),
                  .excluded = row.excluded};
        check_label(row, *kind);
        take_concentration(row, well);
        take_added(row, well);
        check_dilution(row, *kind);
        if (take_response(row, well) && is_right_) {
            out_.wells.push_back(std::move(well));
        }
    }

    void stop(const PlateMapRow& row, std::string column, Saying saying) {
        is_right_ = false;
        out_.complaints.push_back(study::stop(row.place, std::move(column), std::move(saying)));
    }

    std::optional<WellPlace> place_of(const PlateMapRow& row) {
        const auto place = condition::well_place(trimmed(row.well));
        if (!place) {
            stop(row, "well",
                 {.code = ErrorCode::bad_row,
                  .found = in_quotes(row.well) + " is no well",
                  .expected = "a row letter and a column number, such as C7",
                  .remedy = "write the well's name"});
            return std::nullopt;
        }
        if (place->row > reading_.rows || place->column > reading_.columns) {
            stop(row, "well",
                 {.code = ErrorCode::out_of_range,
                  .found = in_quotes(row.well),
                  .expected =
                      fmt::format("a well of {} rows and {} columns, {} at most", reading_.rows,
                                  reading_.columns, condition::well_name(reading_.rows, reading_.columns)),
                  .remedy = "mend the well, or the plate's rows and columns"});
            return std::nullopt;
        }
        const auto [known, is_new] = mapped_.emplace(PlaceKey{place->row, place->column}, &row);
        if (!is_new) {
            stop(row, "well",
                 {.code = ErrorCode::duplicate,
                  .found = fmt::format("well {} a second time, after {}", in_quotes(row.well),
                                       study::line_text(known->second->place)),
                  .expected = "each well once",
                  .remedy = "delete or mend one of the two"});
            return std::nullopt;
        }
        return place;
    }

    std::optional<WellKind> kind_of(const PlateMapRow& row) {
        const std::string word = lower_case(trimmed(row.holds));
        std::vector<std::string> names;
        for (const auto& [name, kind] : kinds) {
            if (name == word) {
                return kind;
            }
            names.emplace_back(name);
        }
        const auto near = nearest_name(word, names);
        stop(row, "holds",
             {.code = ErrorCode::unknown_name,
              .found = in_quotes(row.holds),
              .expected = fmt::format("one of {}", fmt::join(names, ", ")),
              .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "use one of these words"});
        return std::nullopt;
    }

    void check_label(const PlateMapRow& row, WellKind kind) {
        const bool needs = kind == WellKind::control || kind == WellKind::sample || kind == WellKind::spiked;
        if (needs && trimmed(row.label).empty()) {
            stop(row, "label",
                 {.code = ErrorCode::bad_row,
                  .found = fmt::format("no label in well {}", row.well),
                  .expected = "the name of what stands there, the same in all its wells",
                  .remedy = "write it"});
        }
    }

    void take_concentration(const PlateMapRow& row, Well& well) {
        const auto& value = row.concentration;
        switch (well.kind) {
        case WellKind::standard:
            if (!value || !is_above_zero(*value)) {
                stop(row, "concentration",
                     {.code = value ? ErrorCode::out_of_range : ErrorCode::bad_row,
                      .found = value ? fmt::format("a standard of {}", *value) : "a standard without one",
                      .expected = "above 0",
                      .remedy = "write it; the standard without any analyte is \"zero\""});
            } else {
                well.concentration = *value;
            }
            break;
        case WellKind::control:
            if (value && !is_above_zero(*value)) {
                stop(row, "concentration",
                     {.code = ErrorCode::out_of_range,
                      .found = fmt::format("{} expected of a control", *value),
                      .expected = "above 0, or an empty cell where nothing is known",
                      .remedy = "mend or empty it"});
            }
            well.expected = value;
            break;
        case WellKind::zero:
            if (value && *value != 0.0) {
                stop(row, "concentration",
                     {.code = ErrorCode::bad_relation,
                      .found = fmt::format("a zero of {}", *value),
                      .expected = "0, or an empty cell",
                      .remedy = "call it \"standard\", or empty the cell"});
            }
            break;
        case WellKind::blank:
        case WellKind::sample:
        case WellKind::spiked:
        case WellKind::empty:
            if (value) {
                out_.complaints.push_back(
                    study::warn(row.place, "concentration",
                                {.code = ErrorCode::bad_relation,
                                 .found = fmt::format("{}, of a well that holds \"{}\"", *value, row.holds),
                                 .expected = "an empty cell: only standards and controls have a known one",
                                 .remedy = "nothing is computed from it; mend \"holds\" or empty the cell"}));
            }
            break;
        }
    }

    void take_added(const PlateMapRow& row, Well& well) {
        if (well.kind == WellKind::spiked) {
            if (!row.added || !is_above_zero(*row.added)) {
                stop(row, "added",
                     {.code = row.added ? ErrorCode::out_of_range : ErrorCode::bad_row,
                      .found = row.added ? fmt::format("{} added", *row.added) : "a spiked sample without it",
                      .expected = "above 0: by how much the spike raises the concentration before dilution",
                      .remedy = "write it, or call the well \"sample\""});
            } else {
                well.added = *row.added;
            }
        } else if (row.added) {
            stop(row, "added",
                 {.code = ErrorCode::bad_relation,
                  .found = fmt::format("{} added to a well that holds \"{}\"", *row.added, row.holds),
                  .expected = "an empty cell, or \"spiked\"",
                  .remedy = "mend \"holds\" or empty the cell"});
        }
    }

    void check_dilution(const PlateMapRow& row, WellKind kind) {
        if (!row.dilution) {
            return;
        }
        const bool has = kind == WellKind::control || kind == WellKind::sample || kind == WellKind::spiked;
        if (!is_above_zero(*row.dilution)) {
            stop(row, "dilution",
                 {.code = ErrorCode::out_of_range,
                  .found = fmt::format("a dilution of {}", *row.dilution),
                  .expected = "above 0: 1 for undiluted, 20 for one part made up to twenty",
                  .remedy = "mend it, or leave it empty for undiluted"});
        } else if (!has && *row.dilution != 1.0) {
            stop(row, "dilution",
                 {.code = ErrorCode::bad_relation,
                  .found =
                      fmt::format("a dilution of {} in a well that holds \"{}\"", *row.dilution, row.holds),
                  .expected = "1 or an empty cell: a standard's concentration is that in the well",
                  .remedy = "write the concentration after dilution, and empty the dilution"});
        }
    }

    /// False where the well counts and has none, or holds nothing and has none.
    bool take_response(const PlateMapRow& row, Well& well) {
        const auto found = cells_.find({well.row, well.column});
        const PlateCell* cell = found == cells_.end() ? nullptr : found->second;
        if (cell != nullptr && cell->response) {
            well.response = *cell->response;
            return true;
        }
        if (!well.excluded.empty()) {
            well.response = std::numeric_limits<double>::quiet_NaN();
            return true;
        }
        if (well.kind == WellKind::empty) {
            return false;
        }
        const std::string name = condition::well_name(well.row, well.column);
        const auto refused = refused_.find(name);
        std::string what = fmt::format("{} has no cell of well {}, or an empty one", reading_.file, name);
        if (cell != nullptr) {
            what = fmt::format("{} has {} in well {} (line {})", reading_.file, in_quotes(cell->text), name,
                               cell->line);
        } else if (refused != refused_.end()) {
            what = fmt::format("{} has {} in well {} (line {}), which was not read", reading_.file,
                               in_quotes(refused->second->raw), name, refused->second->line);
        }
        stop(row, "well",
             {.code = ErrorCode::bad_relation,
              .found = std::move(what),
              .expected = "a number, since the well counts",
              .remedy = "exclude the well and say why, or choose another block or file"});
        return false;
    }

    void find_unmapped() {
        std::vector<std::string> names;
        std::optional<std::uint64_t> line;
        for (const auto& cell : reading_.wells) {
            if (!mapped_.contains({cell.row, cell.column})) {
                names.push_back(condition::well_name(cell.row, cell.column));
                line = std::min(line.value_or(cell.line), cell.line);
            }
        }
        if (names.empty()) {
            return;
        }
        out_.complaints.push_back(
            study::stop({.file = reading_.file, .line = line}, {},
                        {.code = ErrorCode::bad_relation,
                         .found = fmt::format("{} wells with a value that the plate map does not name: {}",
                                              names.size(), fmt::join(names, ", ")),
                         .expected = "a plate map that covers the plate",
                         .remedy = "add a row for each; \"empty\" for a well that holds nothing"}));
    }

    const PlateReading& reading_;
    std::map<PlaceKey, const PlateCell*> cells_;
    std::map<std::string, const RefusedCell*, std::less<>> refused_;
    std::map<PlaceKey, const PlateMapRow*> mapped_;
    PlateWells out_;
    bool is_right_ = true; ///< of the row at hand
};

} // namespace

PlateWells wells_from(const PlateReading& reading, std::span<const PlateMapRow> map) {
    return Join(reading).run(map);
}

} // namespace backeddy::intake
