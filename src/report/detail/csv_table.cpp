#include "report/detail/csv_table.hpp"

#include <cmath>

#include <fmt/format.h>

#include "base/number_text.hpp"
#include "report/tables.hpp"

namespace backeddy::report::detail {

void CsvTable::end_row() {
    rows_ += "\n";
    has_header_ = true;
}

void CsvTable::text(std::string_view name, std::string_view value) {
    cell(name, text_cell(value));
}

void CsvTable::plain(std::string_view name, double value) {
    cell(name, exact_text(value));
}

void CsvTable::plain(std::string_view name, const std::optional<double>& value) {
    cell(name, value ? exact_text(*value) : std::string{});
}

void CsvTable::count(std::string_view name, std::uint64_t value) {
    cell(name, fmt::format("{}", value));
}

void CsvTable::moment(std::string_view name, const std::optional<Instant>& value) {
    cell(name, value ? iso_text(*value) : std::string{});
}

void CsvTable::limits(std::string_view stem, std::string_view unit, const Number& value) {
    const auto interval = value.interval.value_or(Interval{.low = std::nan(""), .high = std::nan("")});
    plain(fmt::format("{}_low_95{}", stem, unit), interval.low);
    plain(fmt::format("{}_high_95{}", stem, unit), interval.high);
}

void CsvTable::measured(std::string_view stem, std::string_view unit, const Number& value) {
    plain(fmt::format("{}{}", stem, unit), value.value);
    plain(fmt::format("{}_uncertainty{}", stem, unit), value.standard_uncertainty);
    limits(stem, unit, value);
}

void CsvTable::limited(std::string_view stem, std::string_view unit, const Number& value) {
    plain(fmt::format("{}{}", stem, unit), value.value);
    limits(stem, unit, value);
}

void CsvTable::cell(std::string_view name, const std::string& value) {
    if (!has_header_) {
        header_ += (is_first_cell_ ? "" : ",") + text_cell(name);
    }
    rows_ += (is_first_cell_ ? "" : ",") + value;
    is_first_cell_ = false;
}

} // namespace backeddy::report::detail
