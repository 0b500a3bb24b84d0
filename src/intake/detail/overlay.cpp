#include "intake/detail/overlay.hpp"

#include <algorithm>
#include <optional>

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
            withdrawn_.push_back(*at);
        } else {
            set(table_->rows[*at], edit);
        }
    }

    /// Rows leave only now, so that places hold while edits are laid.
    void finish() {
        std::ranges::sort(withdrawn_);
        withdrawn_.erase(std::unique(withdrawn_.begin(), withdrawn_.end()), withdrawn_.end());
        for (auto at = withdrawn_.rbegin(); at != withdrawn_.rend(); ++at) {
            table_->rows.erase(table_->rows.begin() + static_cast<std::ptrdiff_t>(*at));
        }
    }

  private:
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
        for (auto& at : withdrawn_) {
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

    void set(CsvRow& row, const Edit& edit) {
        for (const auto& [column, change] : edit.cells) {
            const auto at = index(column);
            const std::string there = at ? row.cells[*at] : std::string();
            if (there == written(column, change.was) || there == change.was) {
                put(row, column, change.now);
            } else {
                complain(edit, column, fmt::format("{} holds {} now", row_name(row), in_quotes(there)),
                         fmt::format("{}, which the edit replaced by {}: the cell was left as it is",
                                     in_quotes(change.was), in_quotes(change.now)));
            }
        }
    }

    [[nodiscard]] std::string row_name(const CsvRow& row) const {
        return row.is_added ? fmt::format("the row of entry {}", row.line)
                            : fmt::format("{} line {}", table_->file, row.line);
    }

    CsvTable* table_;
    const study::TableDefinition* definition_;
    const CellText* cell_text_;
    std::vector<Edit> added_;
    std::vector<std::size_t> withdrawn_;
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
