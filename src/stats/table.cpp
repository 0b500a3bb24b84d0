#include "stats/table.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>

namespace backeddy::stats {

namespace {

/// Levels that rows have, in the order of `levels`, and the codes that go with them.
Factor only_used(const Factor& factor, const std::vector<bool>& is_missing) {
    std::vector<bool> used(factor.levels.size(), false);
    for (std::size_t i = 0; i < factor.codes.size(); ++i) {
        if (is_missing.empty() || !is_missing[i]) {
            used[factor.codes[i]] = true;
        }
    }
    Factor out;
    std::vector<std::size_t> place(factor.levels.size(), 0);
    for (std::size_t k = 0; k < factor.levels.size(); ++k) {
        if (used[k]) {
            place[k] = out.levels.size();
            out.levels.push_back(factor.levels[k]);
        }
    }
    for (const std::size_t code : factor.codes) {
        out.codes.push_back(place[code]);
    }
    return out;
}

} // namespace

const Table::Column* Table::find(std::string_view name) const {
    const auto at = std::find_if(columns_.begin(), columns_.end(),
                                 [&](const Column& column) { return column.name == name; });
    return at == columns_.end() ? nullptr : &*at;
}

Expected<void> Table::may_add(const std::string& name, std::size_t cells) const {
    if (find(name) != nullptr) {
        return fail({.code = ErrorCode::duplicate,
                     .found = fmt::format("two columns named \"{}\"", name),
                     .expected = "each name once"});
    }
    if (cells != rows_.size()) {
        return fail({.code = ErrorCode::bad_row,
                     .found = fmt::format("{} cells in \"{}\" for {} rows", cells, name, rows_.size()),
                     .expected = "one cell a row"});
    }
    return {};
}

Expected<void> Table::add_numbers(std::string name, std::vector<double> values) {
    if (auto fine = may_add(name, values.size()); !fine) {
        return fine;
    }
    for (std::size_t i = 0; i < values.size(); ++i) {
        if (!std::isfinite(values[i])) {
            return fail(
                {.code = ErrorCode::out_of_range,
                 .found = fmt::format("\"{}\" of {} is {}", name, rows_[i],
                                      std::isnan(values[i]) ? "not a number" : "infinite"),
                 .expected = "a finite number (the logarithm of zero and a division by zero are not)",
                 .remedy =
                     "mend the value, or leave its cell empty: the row is then left out and said to be"});
        }
    }
    columns_.push_back({.name = std::move(name), .numbers = std::move(values)});
    return {};
}

Expected<void> Table::add_numbers(std::string name, std::span<const std::optional<double>> cells) {
    std::vector<double> values;
    std::vector<bool> is_missing;
    for (const auto& cell : cells) {
        values.push_back(cell.value_or(0.0));
        is_missing.push_back(!cell.has_value());
    }
    if (auto added = add_numbers(std::move(name), std::move(values)); !added) {
        return added;
    }
    if (std::find(is_missing.begin(), is_missing.end(), true) != is_missing.end()) {
        columns_.back().is_missing = std::move(is_missing);
    }
    return {};
}

Expected<void> Table::add_factor(std::string name, const std::vector<std::string>& cells,
                                 std::vector<std::string> levels) {
    const std::vector<std::optional<std::string>> all(cells.begin(), cells.end());
    return add_factor(std::move(name), all, std::move(levels));
}

Expected<void> Table::add_factor(std::string name, std::span<const std::optional<std::string>> cells,
                                 std::vector<std::string> levels) {
    if (auto fine = may_add(name, cells.size()); !fine) {
        return fine;
    }
    if (levels.empty()) {
        for (const auto& cell : cells) {
            if (cell) {
                levels.push_back(*cell);
            }
        }
        std::sort(levels.begin(), levels.end());
        levels.erase(std::unique(levels.begin(), levels.end()), levels.end());
    }
    std::map<std::string, std::size_t> place;
    for (std::size_t k = 0; k < levels.size(); ++k) {
        place.emplace(levels[k], k);
    }
    Factor all{.levels = levels};
    std::vector<bool> is_missing;
    for (std::size_t i = 0; i < cells.size(); ++i) {
        is_missing.push_back(!cells[i].has_value());
        const auto at = cells[i] ? place.find(*cells[i]) : place.begin();
        if (at == place.end() && cells[i]) {
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("\"{}\" of {} is \"{}\"", name, rows_[i], *cells[i]),
                         .expected = fmt::format("one of {}", fmt::join(levels, ", ")),
                         .remedy = "add it to the levels, or mend the cell"});
        }
        all.codes.push_back(at == place.end() ? 0 : at->second);
    }
    Factor used = only_used(all, is_missing);
    if (used.levels.empty()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("no row has a value in \"{}\"", name),
                     .expected = "at least one"});
    }
    const bool none_missing = std::find(is_missing.begin(), is_missing.end(), true) == is_missing.end();
    columns_.push_back({.name = std::move(name),
                        .factor = std::move(used),
                        .is_missing = none_missing ? std::vector<bool>{} : std::move(is_missing)});
    return {};
}

Expected<Table> Table::with_reference(std::string_view factor, std::string_view level) const {
    if (auto there = require(factor); !there) {
        return fail(std::move(there).error());
    }
    Table out = *this;
    for (auto& column : out.columns_) {
        if (column.name != factor) {
            continue;
        }
        auto& levels = column.factor.levels;
        const auto at = std::find(levels.begin(), levels.end(), level);
        if (at == levels.end()) {
            return fail({.code = ErrorCode::unknown_name,
                         .found = fmt::format("\"{}\" as the reference level of \"{}\"", level, factor),
                         .expected = levels.empty() ? "a factor: this column holds numbers"
                                                    : fmt::format("one of {}", fmt::join(levels, ", "))});
        }
        const auto place = static_cast<std::size_t>(at - levels.begin());
        std::rotate(levels.begin(), at, at + 1);
        for (auto& code : column.factor.codes) {
            code = code == place ? 0 : (code < place ? code + 1 : code);
        }
    }
    return out;
}

Expected<Table::Complete> Table::complete_rows(const std::vector<std::string>& columns) const {
    std::vector<const Column*> asked;
    for (const auto& name : columns) {
        if (auto there = require(name); !there) {
            return fail(std::move(there).error());
        }
        asked.push_back(find(name));
    }
    Complete out;
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < rows(); ++i) {
        const auto lacking = std::find_if(asked.begin(), asked.end(), [&](const Column* column) {
            return !column->is_missing.empty() && column->is_missing[i];
        });
        if (lacking == asked.end()) {
            kept.push_back(i);
            out.table.rows_.push_back(rows_[i]);
        } else {
            out.left_out.push_back({.row = rows_[i], .column = (*lacking)->name});
        }
    }
    if (kept.empty()) {
        return fail({.code = ErrorCode::too_few,
                     .found = fmt::format("no row has a value in each of {}", fmt::join(columns, ", ")),
                     .expected = "complete rows",
                     .remedy = "ask of fewer columns, or fill in the cells"});
    }
    for (const auto& column : columns_) {
        Column part{.name = column.name};
        for (const std::size_t i : kept) {
            if (column.is_factor()) {
                part.factor.codes.push_back(column.factor.codes[i]);
            } else {
                part.numbers.push_back(column.numbers[i]);
            }
            if (!column.is_missing.empty()) {
                part.is_missing.push_back(column.is_missing[i]);
            }
        }
        if (std::find(part.is_missing.begin(), part.is_missing.end(), true) == part.is_missing.end()) {
            part.is_missing.clear();
        }
        if (column.is_factor()) {
            part.factor.levels = column.factor.levels;
            part.factor = only_used(part.factor, part.is_missing);
        }
        // A factor that none of these rows has a value of is of no use to anybody.
        if (part.is_factor() || !column.is_factor()) {
            out.table.columns_.push_back(std::move(part));
        }
    }
    return out;
}

std::vector<std::string> Table::names() const {
    std::vector<std::string> out;
    for (const auto& column : columns_) {
        out.push_back(column.name);
    }
    return out;
}

Expected<void> Table::require(std::string_view name) const {
    if (has(name)) {
        return {};
    }
    const auto all = names();
    const auto near = nearest_name(name, all);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("no column is named \"{}\"", name),
                 .expected = fmt::format("one of {}", fmt::join(all, ", ")),
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""});
}

bool Table::is_factor(std::string_view name) const {
    const Column* column = find(name);
    return column != nullptr && column->is_factor();
}

bool Table::has_missing(std::string_view name) const {
    const Column* column = find(name);
    return column != nullptr && !column->is_missing.empty();
}

std::span<const double> Table::numbers(std::string_view name) const {
    const Column* column = find(name);
    return column != nullptr ? std::span<const double>(column->numbers) : std::span<const double>();
}

const Factor& Table::factor(std::string_view name) const {
    static const Factor none;
    const Column* column = find(name);
    return column != nullptr ? column->factor : none;
}

Expected<Table> with_nested(const Table& table, std::string_view outer, std::string_view inner,
                            std::string name) {
    for (const auto& column : {outer, inner}) {
        if (auto there = table.require(column); !there) {
            return fail(std::move(there).error());
        }
        if (!table.is_factor(column) || table.has_missing(column)) {
            return fail({.code = ErrorCode::bad_relation,
                         .found = fmt::format("\"{}\" holds numbers or has empty cells", column),
                         .expected = "a factor with a level in every row"});
        }
    }
    const Factor& whole = table.factor(outer);
    const Factor& part = table.factor(inner);
    std::vector<std::string> cells;
    for (std::size_t i = 0; i < table.rows(); ++i) {
        cells.push_back(fmt::format("{} / {}", whole.levels[whole.codes[i]], part.levels[part.codes[i]]));
    }
    Table out = table;
    if (auto added = out.add_factor(std::move(name), cells); !added) {
        return fail(std::move(added).error());
    }
    return out;
}

} // namespace backeddy::stats
