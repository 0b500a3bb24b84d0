#pragma once
// A dialect made ready for reading rows: which field is what.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "intake/detail/text_source.hpp"
#include "intake/detail/zone.hpp"
#include "intake/dialect.hpp"

namespace backeddy::intake {

struct ReadingField {
    std::size_t field = 0; ///< from 0
    Unit unit = Unit::mg_per_l;
    ColumnHeader header;
    std::string name; ///< the column's header, for messages
};

struct Plan {
    std::string file;
    std::uint32_t source = 0;
    TextForm form;
    Delimiter delimiter = Delimiter::comma;
    Quoting quoting = Quoting::none;
    char decimal = '.';
    std::size_t fields = 0;
    std::size_t fewest_fields = 0;
    std::size_t last_used = 0; ///< field of the last column that is read
    TimeForm time_form = TimeForm::calendar;
    DateOrder date_order = DateOrder::year_month_day;
    bool has_zone = false;
    Zone zone;
    std::int64_t start_ns = 0;
    std::optional<std::size_t> time;
    std::optional<std::size_t> date;
    std::optional<std::size_t> time_of_day;
    std::optional<std::size_t> half_day;
    std::optional<std::size_t> chamber;
    std::vector<ReadingField> readings;
    Dialect dialect; ///< for messages and words

    [[nodiscard]] const std::string& name_of_field(std::size_t field) const {
        return dialect.columns[field].header;
    }
};

/// Fails where the dialect has no time, no reading, or a zone that is none.
[[nodiscard]] Expected<Plan> make_plan(std::string file, const ReadSettings& settings,
                                       const Dialect& dialect);

/// "(guessed)" or "(set)".
[[nodiscard]] std::string_view in_brackets(Origin origin);

} // namespace backeddy::intake
