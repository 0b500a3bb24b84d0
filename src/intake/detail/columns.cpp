#include "intake/detail/columns.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "base/lower_case.hpp"
#include "base/number_text.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/header_words.hpp"
#include "intake/detail/moment.hpp"
#include "intake/detail/number.hpp"
#include "intake/detail/words.hpp"

namespace backeddy::intake {

std::vector<ColumnLook> look_at_columns(const SampleRows& rows, const Layout& layout,
                                        const ReadSettings& settings) {
    std::vector<ColumnLook> looks(layout.fields);
    std::vector<std::vector<double>> steps(layout.fields);
    std::vector<std::optional<double>> last(layout.fields);
    const char mark = layout.decimal.value == DecimalMark::comma ? ',' : '.';
    Fields fields;
    for (const auto row : rows) {
        fields.split(row, layout.delimiter.value, layout.quoting.value);
        for (std::size_t i = 0; i < std::min(fields.size(), looks.size()); ++i) {
            auto& look = looks[i];
            const auto cell = fields[i];
            if (look.values.size() <= 64) {
                look.values.emplace(cell);
            }
            const auto form = form_of(cell);
            if (form == CellForm::empty || form == CellForm::missing) {
                continue;
            }
            ++look.filled;
            look.calendars += form == CellForm::calendar ? 1 : 0;
            look.dates += form == CellForm::date ? 1 : 0;
            look.clocks += form == CellForm::clock ? 1 : 0;
            look.half_days += form == CellForm::half_day ? 1 : 0;
            look.pump_words += pump_value(cell, settings.flush_words, settings.sealed_words) ? 1 : 0;
            const auto number = decimal_number(cell, mark);
            if (!number) {
                continue;
            }
            look.compact_dates += cell.size() == 8 && *number > 1.9e7 && *number < 2.2e7 &&
                                          written_date(cell) &&
                                          day_number(*written_date(cell), DateOrder::year_month_day)
                                      ? 1
                                      : 0;
            look.smallest = look.numbers == 0 ? *number : std::min(look.smallest, *number);
            look.largest = look.numbers == 0 ? *number : std::max(look.largest, *number);
            look.has_decimals = look.has_decimals || cell.find(mark) != std::string_view::npos;
            ++look.numbers;
            if (last[i]) {
                look.is_ascending = look.is_ascending && *number >= *last[i];
                if (*number > *last[i]) {
                    steps[i].push_back(*number - *last[i]);
                }
            }
            last[i] = number;
        }
    }
    for (std::size_t i = 0; i < looks.size(); ++i) {
        if (!steps[i].empty()) {
            const auto middle = steps[i].begin() + static_cast<std::ptrdiff_t>(steps[i].size() / 2);
            std::nth_element(steps[i].begin(), middle, steps[i].end());
            looks[i].typical_step = *middle;
        }
    }
    return looks;
}

namespace {

std::string range_words(const ColumnLook& look) {
    return fmt::format("values from {} to {}", significant_text(look.smallest, 4),
                       significant_text(look.largest, 4));
}

ColumnKind kind_for(ColumnUse use, Unit unit) {
    switch (use) {
    case ColumnUse::oxygen:
        return unit == Unit::percent_air                        ? ColumnKind::oxygen_percent_air
               : unit >= Unit::kilopascal && unit <= Unit::mmhg ? ColumnKind::oxygen_kpa
                                                                : ColumnKind::oxygen_mg_per_l;
    case ColumnUse::temperature:
        return ColumnKind::temperature_celsius;
    case ColumnUse::pressure:
        return ColumnKind::pressure_kpa;
    case ColumnUse::salinity:
        return ColumnKind::salinity_practical;
    case ColumnUse::conductivity:
        return ColumnKind::conductivity_ms_per_cm;
    default:
        return ColumnKind::pump;
    }
}

struct UnitGuess {
    std::optional<Unit> unit;
    std::string why; ///< the evidence, or why there is none
};

// A unit that the header does not name, where the values allow only one.
UnitGuess unit_by_values(ColumnUse use, const ColumnLook& look) {
    const auto because = [&](Unit unit, std::string_view others) {
        return UnitGuess{unit, fmt::format("no unit named; {} {}", range_words(look), others)};
    };
    const auto open = [&](std::string_view readings) {
        return UnitGuess{std::nullopt,
                         fmt::format("no unit named; {} may be {}", range_words(look), readings)};
    };
    const double low = look.smallest;
    const double high = look.largest;
    if (look.numbers == 0) {
        return {std::nullopt, "no unit named and no numbers in the sample"};
    }
    switch (use) {
    case ColumnUse::temperature:
        if (low > -5.0 && high < 30.0) {
            return because(Unit::celsius, "can be water in degC only");
        }
        if (low > 45.0 && high < 115.0) {
            return because(Unit::fahrenheit, "can be water in degF only");
        }
        if (low > 265.0 && high < 320.0) {
            return because(Unit::kelvin, "can be water in K only");
        }
        return open("degC, degF or K");
    case ColumnUse::pressure:
        if (low > 85.0 && high < 110.0) {
            return because(Unit::kilopascal, "can be air pressure in kPa only");
        }
        if (low > 850.0 && high < 1100.0) {
            return because(Unit::hectopascal, "can be air pressure in hPa only");
        }
        return open("kPa, hPa, mmHg, bar, inHg or psi");
    case ColumnUse::salinity:
        return because(Unit::practical_salinity, "are taken as practical salinity, which has no unit");
    case ColumnUse::conductivity:
        return open("mS/cm, uS/cm or S/m");
    case ColumnUse::pump:
        return {Unit::pump_word, "words or 1 and 0"};
    default:
        return open("mg/L, umol/L, mL/L, % air saturation, kPa, hPa or mmHg");
    }
}

class ColumnFinder {
  public:
    ColumnFinder(const Layout& layout, const std::vector<ColumnLook>& looks, const ReadSettings& settings,
                 const std::string& file)
        : layout_(layout), looks_(looks), settings_(settings), file_(file) {}

    Expected<Columns> find() {
        name_columns();
        if (auto matched = match_settings(); !matched) {
            return fail(std::move(matched).error());
        }
        if (auto time = find_time(); !time) {
            return fail(std::move(time).error());
        }
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            if (auto done = find_use(i); !done) {
                return fail(std::move(done).error());
            }
        }
        find_chamber();
        name_channels();
        const bool any = std::any_of(out_.columns.begin(), out_.columns.end(),
                                     [](const ColumnFinding& c) { return c.is_reading(); });
        if (!any) {
            return fail(first_problem_ ? std::move(*first_problem_) : no_reading());
        }
        return std::move(out_);
    }

  private:
    void name_columns() {
        for (std::size_t i = 0; i < layout_.fields; ++i) {
            const bool named = i < layout_.header.size() && !layout_.header[i].empty();
            out_.columns.push_back(
                {.index = i + 1, .header = named ? layout_.header[i] : fmt::format("column {}", i + 1)});
            words_.push_back(header_words(named ? layout_.header[i] : std::string_view{},
                                          i < layout_.units.size() ? std::string_view(layout_.units[i])
                                                                   : std::string_view{}));
            settled_.push_back(nullptr);
        }
        // A date and a clock under one name ("Time" over "2026-06-14 10:00:00" in a file parted by spaces).
        if (layout_.header.size() + 1 == layout_.usual_fields) {
            for (std::size_t i = 0; i + 1 < layout_.usual_fields; ++i) {
                if (looks_[i].mostly(looks_[i].dates) && looks_[i + 1].mostly(looks_[i + 1].clocks)) {
                    for (std::size_t k = layout_.usual_fields - 1; k > i + 1; --k) {
                        out_.columns[k].header = layout_.header[k - 1];
                        words_[k] =
                            header_words(layout_.header[k - 1],
                                         k - 1 < layout_.units.size() ? layout_.units[k - 1] : std::string());
                    }
                    out_.columns[i + 1].header = layout_.header[i] + " (clock)";
                    words_[i + 1] = words_[i];
                    return;
                }
            }
        }
    }

    Expected<void> match_settings() {
        for (const auto& setting : settings_.columns) {
            std::optional<std::size_t> field;
            if (setting.index) {
                if (*setting.index >= 1 && *setting.index <= out_.columns.size()) {
                    field = *setting.index - 1;
                }
            } else {
                const std::string wanted = lower_case(trimmed(setting.header));
                for (std::size_t i = 0; i < out_.columns.size() && !field; ++i) {
                    if (lower_case(out_.columns[i].header) == wanted) {
                        field = i;
                    }
                }
                for (std::size_t i = 0; i < out_.columns.size() && !field; ++i) {
                    if (lower_case(trimmed(words_[i].without_unit)) == wanted) {
                        field = i;
                    }
                }
            }
            if (!field) {
                return fail(no_such_column(setting));
            }
            settled_[*field] = &setting;
            if (setting.use) {
                out_.columns[*field].use = *setting.use;
                out_.columns[*field].origin = Origin::set;
                out_.columns[*field].evidence = "set";
            }
        }
        return {};
    }

    [[nodiscard]] Error no_such_column(const ColumnSetting& setting) const {
        std::vector<std::string> names;
        for (const auto& column : out_.columns) {
            names.push_back(column.header);
        }
        const auto near = nearest_name(setting.header, names);
        return {.code = ErrorCode::unknown_name,
                .found = setting.index ? fmt::format("there is no column {}", *setting.index)
                                       : fmt::format("there is no column \"{}\"", setting.header),
                .expected = fmt::format("one of the {} columns: {}", names.size(), fmt::join(names, ", ")),
                .remedy = near ? fmt::format("did you mean \"{}\"?", *near)
                               : "mend header or index in [[trace.column]]",
                .place = {.file = file_}};
    }

    [[nodiscard]] std::optional<std::size_t> set_as(ColumnUse use) const {
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            if (out_.columns[i].use == use && out_.columns[i].origin == Origin::set) {
                return i;
            }
        }
        return std::nullopt;
    }

    [[nodiscard]] bool is_free(std::size_t i) const {
        return out_.columns[i].origin != Origin::set && out_.columns[i].use == ColumnUse::ignore;
    }

    void use_as(std::size_t i, ColumnUse use, std::string why) {
        if (out_.columns[i].origin != Origin::set) {
            out_.columns[i].use = use;
            out_.columns[i].evidence = std::move(why);
        }
    }

    Expected<void> find_time() {
        if (const auto i = set_as(ColumnUse::time)) {
            return time_in(*i);
        }
        const auto date_set = set_as(ColumnUse::date);
        const auto clock_set = set_as(ColumnUse::time_of_day);
        if (date_set || clock_set) {
            return pair_of(date_set, clock_set);
        }
        std::optional<std::size_t> best;
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            if (!is_free(i) || !looks_[i].mostly(looks_[i].calendars)) {
                continue;
            }
            if (!best || (!says_utc(words_[*best]) && says_utc(words_[i])) ||
                (!names_time(words_[*best]) && names_time(words_[i]))) {
                best = i;
            }
        }
        if (best) {
            return time_in(*best);
        }
        std::optional<std::size_t> date;
        std::optional<std::size_t> clock;
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            const bool is_date =
                looks_[i].mostly(looks_[i].dates) ||
                (looks_[i].mostly(looks_[i].compact_dates) && words_[i].has_any({"date", "day"}));
            if (is_free(i) && !date && is_date) {
                date = i;
            }
            if (is_free(i) && !clock && looks_[i].mostly(looks_[i].clocks)) {
                clock = i;
            }
        }
        if (date && clock) {
            return pair_of(date, clock);
        }
        for (std::size_t i = 0; i < out_.columns.size() && !best; ++i) {
            const bool can_be = looks_[i].mostly(looks_[i].numbers) || looks_[i].mostly(looks_[i].clocks) ||
                                looks_[i].mostly(looks_[i].dates);
            if (is_free(i) && names_time(words_[i]) && can_be) {
                best = i;
            }
        }
        if (!best && layout_.header.empty()) {
            // No names: an ascending first column in the range of an epoch or of day numbers.
            const auto& look = looks_.front();
            const bool day_number =
                look.smallest > 20'000 && look.largest < 80'000 && look.typical_step < 0.5;
            if (is_free(0) && look.mostly(look.numbers) && look.is_ascending &&
                (look.smallest > 3e8 || day_number)) {
                best = 0;
            }
        }
        if (best) {
            return time_in(*best);
        }
        return fail({.code = ErrorCode::missing_column,
                     .found = "no column looks like a time",
                     .expected = fmt::format(
                         "a header like \"time\" or \"date\", or cells that are times, among {} columns",
                         out_.columns.size()),
                     .remedy = "say which it is in [[trace.column]]: index = 1, use = \"time\"",
                     .place = {.file = file_}});
    }

    Expected<void> pair_of(std::optional<std::size_t> date, std::optional<std::size_t> clock) {
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            if (!clock && i != date && is_free(i) && looks_[i].mostly(looks_[i].clocks)) {
                clock = i;
            }
            if (!date && i != clock && is_free(i) &&
                (looks_[i].mostly(looks_[i].dates) || looks_[i].mostly(looks_[i].compact_dates))) {
                date = i;
            }
        }
        if (!date || !clock) {
            return fail(
                {.code = ErrorCode::missing_column,
                 .found = date ? "a column of dates without one of clocks"
                               : "a column of clocks without one of dates",
                 .expected = "both, or one column with the whole time",
                 .remedy =
                     "say in [[trace.column]] which columns are use = \"date\" and use = \"time_of_day\"",
                 .place = {.file = file_}});
        }
        use_as(*date, ColumnUse::date, "cells are dates");
        use_as(*clock, ColumnUse::time_of_day, "cells are clocks");
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            if (is_free(i) && looks_[i].mostly(looks_[i].half_days)) {
                use_as(i, ColumnUse::half_day, "cells are am and pm");
            }
        }
        out_.time_field = *date;
        out_.header_says_utc = says_utc(words_[*date]) || says_utc(words_[*clock]);
        out_.time_form = {.value = TimeForm::calendar, .evidence = "a column of dates and one of clocks"};
        if (settings_.time_form && *settings_.time_form != TimeForm::calendar) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("time_form = \"{}\"", word_of(*settings_.time_form)),
                         .expected = "calendar, as date and clock have columns of their own",
                         .remedy = "leave time_form out, or say which column is use = \"time\"",
                         .place = {.file = file_}});
        }
        return {};
    }

    Expected<void> time_in(std::size_t i) {
        out_.time_field = i;
        out_.header_says_utc = says_utc(words_[i]);
        use_as(i, ColumnUse::time, "");
        if (settings_.time_form) {
            out_.time_form = {.value = *settings_.time_form, .origin = Origin::set, .evidence = "set"};
        } else if (auto form = form_by_cells(i); form) {
            out_.time_form = std::move(*form);
        } else {
            return fail(std::move(form).error());
        }
        if (out_.columns[i].evidence.empty()) {
            out_.columns[i].evidence = out_.time_form.evidence;
        }
        return {};
    }

    Expected<Finding<TimeForm>> form_by_cells(std::size_t i) {
        const auto& look = looks_[i];
        const auto& column = out_.columns[i];
        const auto is = [](TimeForm form, std::string why) {
            return Finding<TimeForm>{.value = form, .origin = Origin::guessed, .evidence = std::move(why)};
        };
        if (look.mostly(look.calendars) || look.mostly(look.dates)) {
            return is(TimeForm::calendar, "cells are dates with clocks");
        }
        if (look.mostly(look.clocks)) {
            const bool from_zero = !look.values.empty() && elapsed_clock(*look.values.begin()) &&
                                   *elapsed_clock(*look.values.begin()) < 60 * nanoseconds_per_second;
            if (words_[i].has_any({"elapsed", "duration", "since", "run"}) || from_zero) {
                return is(TimeForm::elapsed_clock,
                          from_zero ? "clocks that begin at zero" : "the header names elapsed time");
            }
            return fail(
                {.code = ErrorCode::ambiguous_time,
                 .found = fmt::format("clocks like \"{}\" and no column of dates", *look.values.begin()),
                 .expected = "times of day have a date; elapsed times have a start",
                 .remedy = "say which column is use = \"date\", or set time_form = \"elapsed_clock\"",
                 .place = {.file = file_, .column = column.header}});
        }
        if (!look.mostly(look.numbers)) {
            return fail(
                {.code = ErrorCode::bad_time,
                 .found = fmt::format("cells like \"{}\"", look.values.empty() ? "" : *look.values.rbegin()),
                 .expected = "times; no form that is known here fits most of them",
                 .remedy = "set time_form, or say in [[trace.column]] which column is the time",
                 .place = {.file = file_, .column = column.header}});
        }
        const auto elapsed = elapsed_form(words_[i]);
        if (look.mostly(look.compact_dates) && !elapsed) {
            return is(TimeForm::calendar, "numbers of eight digits that are dates");
        }
        if (look.smallest > 3e11 && look.largest < 5e12) {
            return is(TimeForm::epoch_milliseconds, range_words(look) + ": milliseconds since 1970");
        }
        if (look.smallest > 3e8 && look.largest < 5e9) {
            return is(TimeForm::epoch_seconds, range_words(look) + ": seconds since 1970");
        }
        if (elapsed) {
            return is(*elapsed, "the header names the unit");
        }
        if (look.smallest > 20'000 && look.largest < 80'000 && look.typical_step < 0.5 && look.has_decimals) {
            return is(TimeForm::spreadsheet_days, range_words(look) + ": days since 1899-12-30");
        }
        return fail({.code = ErrorCode::ambiguous_time,
                     .found = fmt::format("{} may be seconds, minutes or hours", range_words(look)),
                     .expected = "a unit in the header, such as \"time (s)\"",
                     .remedy = "set time_form = \"elapsed_seconds\", \"elapsed_minutes\" or another",
                     .place = {.file = file_, .column = column.header}});
    }

    Expected<void> find_use(std::size_t i) {
        auto& column = out_.columns[i];
        const auto* setting = settled_[i];
        const auto& words = words_[i];
        const bool has_header = i < layout_.header.size() || !words.words.empty();
        if (setting != nullptr && !setting->unit.empty() && !setting->use) {
            // a unit alone: the use follows from both
            HeaderWords with = words;
            with.unit = unit_from(setting->unit);
            with.unit_text = setting->unit;
            if (const auto use = reading_use(with)) {
                column.use = *use;
                column.origin = Origin::set;
            }
        }
        if (column.origin == Origin::set && !column.is_reading()) {
            return {};
        }
        if (column.origin != Origin::set) {
            if (column.use != ColumnUse::ignore) {
                return {};
            }
            const auto use = has_header ? reading_use(words) : pump_by_values(i);
            if (!use) {
                column.evidence = has_header ? "its header names no reading" : "nothing names it";
                return {};
            }
            if (*use == ColumnUse::pump && !looks_[i].mostly(looks_[i].pump_words)) {
                column.evidence = "its cells are no words for flush and sealed";
                return {};
            }
            column.use = *use;
        }
        return find_unit(i);
    }

    [[nodiscard]] std::optional<ColumnUse> pump_by_values(std::size_t i) const {
        const auto& look = looks_[i];
        return look.mostly(look.pump_words) && look.numbers == 0 ? std::optional(ColumnUse::pump)
                                                                 : std::nullopt;
    }

    Expected<UnitGuess> set_unit(const ColumnSetting& setting, const ColumnFinding& column) const {
        const auto unit = unit_from(setting.unit);
        if (unit && fits(*unit, kind_for(column.use, *unit))) {
            return UnitGuess{unit, "unit set"};
        }
        const auto near = nearest_name(setting.unit, unit_names());
        return fail(
            {.code = ErrorCode::bad_unit,
             .found = unit ? fmt::format("unit \"{}\" is none of {}", setting.unit, word_of(column.use))
                           : fmt::format("unit \"{}\" is not known", setting.unit),
             .expected = fmt::format("one of {}", fmt::join(unit_names(), ", ")),
             .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "mend unit in [[trace.column]]",
             .place = {.file = file_, .column = column.header}});
    }

    Expected<UnitGuess> unit_of(std::size_t i) const {
        const auto& column = out_.columns[i];
        const auto* setting = settled_[i];
        const auto& words = words_[i];
        const auto& look = looks_[i];
        if (column.use == ColumnUse::pump) {
            return UnitGuess{Unit::pump_word, "the cells are the pump's states"};
        }
        if (setting != nullptr && !setting->unit.empty()) {
            return set_unit(*setting, column);
        }
        if (words.unit && fits(*words.unit, kind_for(column.use, *words.unit))) {
            if (words.unit_text == "%" && look.numbers > 0 && look.largest < 30.0) {
                return UnitGuess{
                    std::nullopt,
                    fmt::format("\"%\" and {} may be % of air saturation or % of gas", range_words(look))};
            }
            return UnitGuess{words.unit,
                             fmt::format("the header names {} and {}", word_of(column.use), words.unit_text)};
        }
        if (words.has_any({"saturation", "airsat"}) && column.use == ColumnUse::oxygen &&
            look.largest > 30.0) {
            return UnitGuess{Unit::percent_air,
                             fmt::format("the header names saturation; {} are %", range_words(look))};
        }
        // A unit that is named and not known is no reason to guess another.
        if (!words.unit_text.empty() && !words.unit && column.use != ColumnUse::salinity) {
            return UnitGuess{std::nullopt, fmt::format("unit \"{}\" is not known", words.unit_text)};
        }
        return unit_by_values(column.use, look);
    }

    Expected<void> find_unit(std::size_t i) {
        auto& column = out_.columns[i];
        const bool was_set = column.origin == Origin::set;
        const auto guess = unit_of(i);
        if (!guess) {
            return fail(guess.error());
        }
        if (!guess->unit) {
            Error problem{
                .code = ErrorCode::bad_unit,
                .found = guess->why,
                .expected = fmt::format("a unit of {}", word_of(column.use)),
                .remedy = fmt::format("set unit in [[trace.column]] for header = \"{}\", or use = \"ignore\"",
                                      column.header),
                .place = {.file = file_, .column = column.header}};
            if (was_set) {
                return fail(std::move(problem));
            }
            column.use = ColumnUse::ignore;
            column.evidence = "not read: " + guess->why;
            first_problem_ = first_problem_ ? std::move(first_problem_) : std::move(problem);
            return {};
        }
        column.unit = *guess->unit;
        column.kind = kind_for(column.use, column.unit);
        column.evidence = was_set ? "set; " + guess->why : guess->why;
        return {};
    }

    void find_chamber() {
        if (set_as(ColumnUse::chamber)) {
            return;
        }
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            const auto& look = looks_[i];
            const bool few = !look.values.empty() && look.values.size() <= 64 && !look.has_decimals;
            if (is_free(i) && names_chamber(words_[i]) && few && !words_[i].unit) {
                use_as(i, ColumnUse::chamber,
                       fmt::format("the header names a chamber; {} in the sample: {}", look.values.size(),
                                   fmt::join(look.values, ", ")));
                return;
            }
        }
    }

    void name_channels() {
        for (std::size_t i = 0; i < out_.columns.size(); ++i) {
            auto& column = out_.columns[i];
            if (!column.is_reading()) {
                continue;
            }
            column.channel = settled_[i] != nullptr && !settled_[i]->channel.empty() ? settled_[i]->channel
                                                                                     : column.header;
            for (std::size_t k = 0; k < i; ++k) {
                if (out_.columns[k].is_reading() && out_.columns[k].channel == column.channel) {
                    column.channel += fmt::format(" (column {})", column.index);
                    break;
                }
            }
        }
    }

    [[nodiscard]] Error no_reading() const {
        return {.code = ErrorCode::missing_column,
                .found = layout_.header.empty() ? "there is no header, so nothing tells what the columns are"
                                                : fmt::format("none of the headers names a reading: {}",
                                                              fmt::join(layout_.header, ", ")),
                .expected = "oxygen, temperature, pressure, salinity, conductivity or pump, with a unit",
                .remedy = "say what the columns are in [[trace.column]]: index, use and unit",
                .place = {.file = file_}};
    }

    const Layout& layout_;
    const std::vector<ColumnLook>& looks_;
    const ReadSettings& settings_;
    const std::string& file_;
    Columns out_;
    std::vector<HeaderWords> words_;
    std::vector<const ColumnSetting*> settled_;
    std::optional<Error> first_problem_;
};

} // namespace

Expected<Columns> find_columns(const Layout& layout, const std::vector<ColumnLook>& looks,
                               const ReadSettings& settings, const std::string& file) {
    return ColumnFinder(layout, looks, settings, file).find();
}

} // namespace backeddy::intake
