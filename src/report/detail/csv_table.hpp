#pragma once
// Comma-separated rows under construction.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "report/number.hpp"
#include "series/instant.hpp"

namespace backeddy::report::detail {

/// The first row decides the columns: the name given with each cell becomes the header; later rows must give
/// the same names in the same order (a mistake of ours, so it is asserted by a test, not at run time).
class CsvTable {
  public:
    void begin_row() { is_first_cell_ = true; }
    void end_row();
    void text(std::string_view name, std::string_view value);
    void plain(std::string_view name, double value);
    void plain(std::string_view name, const std::optional<double>& value);
    void count(std::string_view name, std::uint64_t value);
    void moment(std::string_view name, const std::optional<Instant>& value);
    void truth(std::string_view name, bool value) { cell(name, value ? "yes" : "no"); }
    void number(std::string_view name, const Number& value) { plain(name, value.value); }
    /// Value, standard uncertainty, and the limits of its interval: `stem` + `unit`, `stem_uncertainty` +
    /// `unit`, ...
    void measured(std::string_view stem, std::string_view unit, const Number& value);
    /// The same without an uncertainty.
    void limited(std::string_view stem, std::string_view unit, const Number& value);

    [[nodiscard]] std::string take() && { return header_ + "\n" + rows_; }
    /// Of a table without rows: the row written only decided the columns.
    [[nodiscard]] std::string take_header() && { return header_ + "\n"; }
    [[nodiscard]] bool is_empty() const { return !has_header_; }

  private:
    void cell(std::string_view name, const std::string& value);
    void limits(std::string_view stem, std::string_view unit, const Number& value);

    std::string header_;
    std::string rows_;
    bool has_header_ = false;
    bool is_first_cell_ = true;
};

} // namespace backeddy::report::detail
