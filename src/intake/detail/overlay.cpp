#include "intake/detail/overlay.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <tuple>
#include <utility>

#include <fmt/format.h>

namespace backeddy::intake {

namespace {

using study::Edit;
using study::RowText;

class Overlay {
  public:
    Overlay(CsvTable& table, const study::TableDefinition& definition, const CellText& cell_text)
        : table_(&table), definition_(&definition), cell_text_(&cell_text) {
        // Rows of the file are found by what stands there, whatever earlier edits have made of them.
        for (auto& row : table.rows) {
            row.in_file = row.cells;
        }
    }

    void take(const Edit& edit) {
        if (edit.act == Edit::Act::add) {
            add(edit);
            return;
        }
        const auto at = find(edit);
        if (!at) {
            return;
        }
        if (edit.act == Edit::Act::withdraw) {
            withdrawn_.emplace_back(*at, &edit);
        } else if (const auto gone = std::ranges::find(withdrawn_, *at, &Withdrawn::first);
                   gone != withdrawn_.end()) {
            complain(edit, {},
                     fmt::format("{} does not count any more: {} took it out", row_name(table_->rows[*at]),
                                 by(*gone->second)),
                     fmt::format("the row that {} changes: nothing was changed", by(edit)));
        } else {
            set(table_->rows[*at], edit);
        }
    }

    /// Rows leave only now, so that places hold while edits are laid.
    void finish() {
        std::set<std::size_t> rows;
        for (const auto& [at, edit] : withdrawn_) {
            rows.insert(at);
        }
        for (auto at = rows.rbegin(); at != rows.rend(); ++at) {
            table_->rows.erase(table_->rows.begin() + static_cast<std::ptrdiff_t>(*at));
        }
    }

  private:
    using Withdrawn = std::pair<std::size_t, const Edit*>;

    void complain(const Edit& edit, std::string column, std::string found, std::string expected) {
        table_->complaints.push_back(
            {study::Severity::warning,
             {.code = ErrorCode::bad_relation,
              .found = std::move(found),
              .expected = std::move(expected),
              .remedy = "look at the row: undo this edit, or make it again from what stands there now",
              .place = {.file = study::journal_name, .line = edit.number, .column = std::move(column)}}});
    }

    [[nodiscard]] std::optional<std::size_t> index(const std::string& column) const {
        for (std::size_t i = 0; i < table_->header.size(); ++i) {
            if (table_->header[i] == column || plain_name(table_->header[i]) == column) {
                return i;
            }
        }
        return std::nullopt;
    }

    std::size_t index_made(const std::string& column) {
        if (const auto at = index(column)) {
            return *at;
        }
        table_->header.push_back(column);
        for (auto& row : table_->rows) {
            row.cells.emplace_back();
        }
        return table_->header.size() - 1;
    }

    [[nodiscard]] std::string written(const std::string& column, const std::string& cell) const {
        const auto* known = definition_->column(column);
        return known == nullptr ? cell : (*cell_text_)(*known, cell);
    }

    void put(CsvRow& row, const std::string& column, const std::string& cell) {
        const std::size_t at = index_made(column); // may widen the row
        row.cells[at] = written(column, cell);
    }

    void add(const Edit& edit) {
        for (const auto& [column, cell] : edit.row) {
            if (!cell.empty()) {
                index_made(column);
            }
        }
        CsvRow row{.line = edit.number, .is_added = true};
        row.cells.resize(table_->header.size());
        for (const auto& [column, cell] : edit.row) {
            if (!cell.empty()) {
                put(row, column, cell);
            }
        }
        // At the end, but for the parts of one stay, which stand together.
        auto place = table_->rows.size();
        if (const auto key = definition_->name == study::TableName::stays ? index("stay") : std::nullopt) {
            for (std::size_t i = 0; i < table_->rows.size(); ++i) {
                place = table_->rows[i].cells[*key] == row.cells[*key] ? i + 1 : place;
            }
        }
        table_->rows.insert(table_->rows.begin() + static_cast<std::ptrdiff_t>(place), std::move(row));
        for (auto& [at, by_whom] : withdrawn_) {
            at += at >= place ? 1 : 0;
        }
        added_.push_back(edit);
    }

    [[nodiscard]] bool holds(const CsvRow& row, const RowText& cells) const {
        return !row.is_added && std::ranges::all_of(cells, [&](const auto& cell) {
            const auto at = index(cell.first);
            const bool is_there = at && *at < row.in_file.size();
            return (is_there ? row.in_file[*at] : std::string()) == cell.second;
        });
    }

    std::optional<std::size_t> find(const Edit& edit) {
        if (!edit.added_by.empty()) {
            const auto adding = std::ranges::find(added_, edit.added_by, &Edit::id);
            for (std::size_t i = 0; adding != added_.end() && i < table_->rows.size(); ++i) {
                if (table_->rows[i].is_added && table_->rows[i].line == adding->number) {
                    return i;
                }
            }
            // Its adding was undone: the change has nothing to change, and needs no word.
            return std::nullopt;
        }
        std::optional<std::size_t> out;
        for (std::size_t i = 0; i < table_->rows.size(); ++i) {
            if (!holds(table_->rows[i], edit.row)) {
                continue;
            }
            if (out) {
                complain(edit, {},
                         fmt::format("lines {} and {} of {} are both the row it changes",
                                     table_->rows[*out].line, table_->rows[i].line, table_->file),
                         "one row: nothing was changed");
                return std::nullopt;
            }
            out = i;
        }
        if (!out) {
            std::string cells;
            for (const auto& [column, cell] : edit.row) {
                cells += (cells.empty() ? "" : ", ") + column + " = " + in_quotes(cell);
            }
            complain(edit, {},
                     fmt::format("the row it changes ({}) is not in {} any more", cells, table_->file),
                     "the row as it was then: nothing was changed");
        }
        return out;
    }

    // Of two who changed one cell without knowing of each other the first stands, and the other is told:
    // which of them is right, neither the clocks nor the order know.
    void set(CsvRow& row, const Edit& edit) {
        for (const auto& [column, change] : edit.cells) {
            const auto at = index(column);
            const std::string there = at ? row.cells[*at] : std::string();
            if (there == written(column, change.was) || there == change.was) {
                put(row, column, change.now);
                changed_by_[cell_of(row, column)] = &edit;
            } else if (there != written(column, change.now)) {
                complain_of_rival(row, edit, column, there);
            }
        }
    }

    void complain_of_rival(const CsvRow& row, const Edit& edit, const std::string& column,
                           const std::string& there) {
        const auto& change = edit.cells.at(column);
        const Edit* first = last_at(row, column);
        complain(edit, column,
                 fmt::format("{} holds {} now{}", row_name(row), in_quotes(there),
                             first == nullptr ? "" : ", by " + by(*first)),
                 fmt::format("{}, which {} replaced by {}: the cell was left as it is", in_quotes(change.was),
                             by(edit), in_quotes(change.now)));
    }

    /// A cell, whatever rows are added meanwhile.
    using Cell = std::tuple<bool, std::uint64_t, std::size_t>;
    [[nodiscard]] Cell cell_of(const CsvRow& row, const std::string& column) const {
        return {row.is_added, row.line, index(column).value_or(table_->header.size())};
    }

    /// Nullptr: the file has what stands there.
    [[nodiscard]] const Edit* last_at(const CsvRow& row, const std::string& column) const {
        if (const auto changed = changed_by_.find(cell_of(row, column)); changed != changed_by_.end()) {
            return changed->second;
        }
        const auto adding = std::ranges::find(added_, row.line, &Edit::number);
        return row.is_added && adding != added_.end() ? &*adding : nullptr;
    }

    [[nodiscard]] static std::string by(const Edit& edit) {
        return fmt::format("{} (entry {})", edit.author.empty() ? "somebody" : edit.author, edit.id);
    }

    [[nodiscard]] std::string row_name(const CsvRow& row) const {
        return row.is_added ? fmt::format("the row of entry {}", row.line)
                            : fmt::format("{} line {}", table_->file, row.line);
    }

    CsvTable* table_;
    const study::TableDefinition* definition_;
    const CellText* cell_text_;
    std::vector<Edit> added_;
    std::vector<Withdrawn> withdrawn_;
    std::map<Cell, const Edit*> changed_by_; ///< who put there what stands in a cell
};

} // namespace

void lay_over(CsvTable& table, const study::TableDefinition& definition, const study::Edits& edits,
              const CellText& cell_text) {
    if (table.header.empty()) {
        table.header = definition.column_names();
    }
    Overlay overlay(table, definition, cell_text);
    for (const auto& edit : edits) {
        if (edit.table == definition.name) {
            overlay.take(edit);
        }
    }
    overlay.finish();
}

} // namespace backeddy::intake
