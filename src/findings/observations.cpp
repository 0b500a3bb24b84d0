#include "findings/observations.hpp"

#include <algorithm>

namespace backeddy::findings {

bool ObservedColumn::is_words() const {
    return std::none_of(cells.begin(), cells.end(), [](const Cell& cell) {
        return std::holds_alternative<Value>(cell) || std::holds_alternative<Within>(cell);
    });
}

bool ObservedColumn::is_empty() const {
    return std::all_of(cells.begin(), cells.end(),
                       [](const Cell& cell) { return std::holds_alternative<Absent>(cell); });
}

std::size_t Observations::add_row(std::string label, std::string fish, std::string series) {
    labels_.push_back(std::move(label));
    fish_.push_back(std::move(fish));
    series_.push_back(std::move(series));
    for (auto& column : columns_) {
        column.cells.emplace_back(Absent{});
    }
    return labels_.size() - 1;
}

void Observations::set(std::size_t row, const std::string& column, Cell cell) {
    column_of(column).cells[row] = std::move(cell);
}

void Observations::tell(std::size_t row, const std::string& column, const std::string& text) {
    auto& told = column_of(column).told[row];
    told += (told.empty() ? "" : "; ") + text;
}

void Observations::describe(const std::string& column, std::string title, std::string unit, Stage stage) {
    auto& described = column_of(column);
    described.title = std::move(title);
    described.unit = std::move(unit);
    described.stage = stage;
}

ObservedColumn& Observations::column_of(const std::string& name) {
    const auto [place, is_new] = places_.try_emplace(name, columns_.size());
    if (is_new) {
        columns_.push_back(
            {.name = name, .title = name, .cells = std::vector<Cell>(labels_.size(), Cell(Absent{}))});
    }
    return columns_[place->second];
}

const ObservedColumn* Observations::column(std::string_view name) const {
    const auto found = places_.find(name);
    return found == places_.end() ? nullptr : &columns_[found->second];
}

std::vector<std::string> Observations::names() const {
    std::vector<std::string> out;
    for (const auto& column : columns_) {
        out.push_back(column.name);
    }
    return out;
}

} // namespace backeddy::findings
