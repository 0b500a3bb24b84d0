#include "intake/plate_wells.hpp"

#include <algorithm>
#include <limits>
#include <map>
#include <set>
#include <utility>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "intake/detail/csv_table.hpp"

namespace backeddy::intake {

namespace {

using condition::Well;
using condition::WellKind;
using study::Saying;

using PlaceKey = std::pair<std::size_t, std::size_t>;

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

    PlateWells run(std::span<const study::WellRow> map) {
        for (const auto& row : map) {
            if (is_on_plate(row)) {
                take(row);
            }
        }
        return std::move(out_);
    }

  private:
    void tell(const study::WellRow& row, Saying saying) {
        out_.complaints.push_back(study::warn(row.place, "well", std::move(saying)));
    }

    bool is_on_plate(const study::WellRow& row) {
        if (row.row <= reading_.rows && row.column <= reading_.columns) {
            return true;
        }
        tell(row, {.code = ErrorCode::out_of_range,
                   .found = in_quotes(condition::well_name(row.row, row.column)),
                   .expected =
                       fmt::format("a well of {} rows and {} columns, {} at most", reading_.rows,
                                   reading_.columns, condition::well_name(reading_.rows, reading_.columns)),
                   .remedy = "mend the well, or the plate's rows and columns in plates.csv"});
        return false;
    }

    void take(const study::WellRow& row) {
        Well well{.row = row.row,
                  .column = row.column,
                  .kind = row.kind,
                  .label = row.label,
                  .added = row.added.value_or(0.0),
                  .dilution = row.dilution.value_or(1.0),
                  .excluded = row.excluded};
        if (row.kind == WellKind::standard) {
            well.concentration = row.concentration.value_or(0.0);
        } else if (row.kind == WellKind::control) {
            well.expected = row.concentration;
        }
        if (take_response(row, well)) {
            out_.wells.push_back(std::move(well));
        }
    }

    /// False where the well counts and has none, or holds nothing and has none.
    bool take_response(const study::WellRow& row, Well& well) {
        const auto found = cells_.find({well.row, well.column});
        const PlateCell* cell = found == cells_.end() ? nullptr : found->second;
        if (cell != nullptr && cell->response && (*cell->response >= 0.0 || !well.excluded.empty())) {
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
        if (cell != nullptr && cell->response) {
            tell_of_negative(row, *cell);
            return false;
        }
        tell(row,
             {.code = ErrorCode::bad_relation,
              .found = what_stands(condition::well_name(well.row, well.column), cell),
              .expected = "a number, since the well counts",
              .remedy = "exclude the well and say why, or choose another block or file; until then it is "
                        "left out"});
        return false;
    }

    /// Its logarithm and its weight are none, so that it cannot be in a curve.
    void tell_of_negative(const study::WellRow& row, const PlateCell& cell) {
        tell(row,
             {.code = ErrorCode::out_of_range,
              .found = fmt::format("{} has {} in well {} (line {})", reading_.file, *cell.response,
                                   condition::well_name(row.row, row.column), cell.line),
              .expected = "a response of 0 or more, as read: no blank taken off",
              .remedy = "give the reader's own values, or exclude the well and say why; until then it is "
                        "left out"});
    }

    [[nodiscard]] std::string what_stands(const std::string& well, const PlateCell* cell) const {
        if (cell != nullptr) {
            return fmt::format("{} has {} in well {} (line {})", reading_.file, in_quotes(cell->text), well,
                               cell->line);
        }
        const auto refused = refused_.find(well);
        if (refused != refused_.end()) {
            return fmt::format("{} has {} in well {} (line {}), which was not read", reading_.file,
                               in_quotes(refused->second->raw), well, refused->second->line);
        }
        return fmt::format("{} has no cell of well {}, or an empty one", reading_.file, well);
    }

    const PlateReading& reading_;
    std::map<PlaceKey, const PlateCell*> cells_;
    std::map<std::string, const RefusedCell*, std::less<>> refused_;
    PlateWells out_;
};

} // namespace

PlateWells wells_from(const PlateReading& reading, std::span<const study::WellRow> map) {
    return Join(reading).run(map);
}

std::vector<study::Complaint> unmapped_wells(const PlateReading& reading,
                                             std::span<const study::WellRow> map) {
    std::set<PlaceKey> mapped;
    for (const auto& row : map) {
        mapped.emplace(row.row, row.column);
    }
    std::vector<std::string> names;
    std::optional<std::uint64_t> line;
    for (const auto& cell : reading.wells) {
        if (!mapped.contains({cell.row, cell.column})) {
            names.push_back(condition::well_name(cell.row, cell.column));
            line = std::min(line.value_or(cell.line), cell.line);
        }
    }
    if (names.empty()) {
        return {};
    }
    return {
        study::warn({.file = reading.file, .line = line}, {},
                    {.code = ErrorCode::bad_relation,
                     .found = fmt::format("{} wells with a value that the plate map does not name: {}",
                                          names.size(), fmt::join(names, ", ")),
                     .expected = "a plate map that covers the plate",
                     .remedy = "add a row for each to wells.csv, \"empty\" for a well that holds nothing; "
                               "until then they count for nothing"})};
}

} // namespace backeddy::intake
