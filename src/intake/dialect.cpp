#include "intake/dialect.hpp"

#include <array>
#include <span>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace backeddy::intake {

namespace {

template <typename Choice>
struct Word {
    Choice value;
    std::string_view word;
};

constexpr std::array encodings{
    Word{Encoding::utf8, "utf8"},
    Word{Encoding::utf16_le, "utf16_le"},
    Word{Encoding::utf16_be, "utf16_be"},
    Word{Encoding::latin1, "latin1"},
};
constexpr std::array line_ends{Word{LineEnd::lf, "lf"}, Word{LineEnd::cr, "cr"}};
constexpr std::array delimiters{
    Word{Delimiter::comma, "comma"},
    Word{Delimiter::semicolon, "semicolon"},
    Word{Delimiter::tab, "tab"},
    Word{Delimiter::spaces, "spaces"},
};
constexpr std::array decimal_marks{Word{DecimalMark::point, "point"}, Word{DecimalMark::comma, "comma"}};
constexpr std::array quotings{
    Word{Quoting::none, "none"},
    Word{Quoting::fields, "fields"},
    Word{Quoting::open_lines, "open_lines"},
};
constexpr std::array date_orders{
    Word{DateOrder::year_month_day, "year_month_day"},
    Word{DateOrder::day_month_year, "day_month_year"},
    Word{DateOrder::month_day_year, "month_day_year"},
};
constexpr std::array time_forms{
    Word{TimeForm::calendar, "calendar"},
    Word{TimeForm::spreadsheet_days, "spreadsheet_days"},
    Word{TimeForm::epoch_seconds, "epoch_seconds"},
    Word{TimeForm::epoch_milliseconds, "epoch_milliseconds"},
    Word{TimeForm::elapsed_seconds, "elapsed_seconds"},
    Word{TimeForm::elapsed_minutes, "elapsed_minutes"},
    Word{TimeForm::elapsed_hours, "elapsed_hours"},
    Word{TimeForm::elapsed_clock, "elapsed_clock"},
};
constexpr std::array column_uses{
    Word{ColumnUse::time, "time"},
    Word{ColumnUse::date, "date"},
    Word{ColumnUse::time_of_day, "time_of_day"},
    Word{ColumnUse::half_day, "half_day"},
    Word{ColumnUse::chamber, "chamber"},
    Word{ColumnUse::oxygen, "oxygen"},
    Word{ColumnUse::temperature, "temperature"},
    Word{ColumnUse::pressure, "pressure"},
    Word{ColumnUse::salinity, "salinity"},
    Word{ColumnUse::conductivity, "conductivity"},
    Word{ColumnUse::pump, "pump"},
    Word{ColumnUse::ignore, "ignore"},
};

template <typename Choice>
std::string_view word_among(std::span<const Word<Choice>> words, Choice value) {
    for (const auto& entry : words) {
        if (entry.value == value) {
            return entry.word;
        }
    }
    return "";
}

template <typename Choice>
Expected<Choice> choice_among(std::span<const Word<Choice>> words, std::string_view wanted) {
    std::vector<std::string> names;
    for (const auto& entry : words) {
        if (entry.word == wanted) {
            return entry.value;
        }
        names.emplace_back(entry.word);
    }
    const auto near = nearest_name(wanted, names);
    return fail({.code = ErrorCode::bad_setting,
                 .found = fmt::format("\"{}\" is none of the words known here", wanted),
                 .expected = fmt::format("one of {}", fmt::join(names, ", ")),
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : "use one of these words"});
}

} // namespace

std::string_view word_of(Encoding value) {
    return word_among<Encoding>(encodings, value);
}
std::string_view word_of(LineEnd value) {
    return word_among<LineEnd>(line_ends, value);
}
std::string_view word_of(Delimiter value) {
    return word_among<Delimiter>(delimiters, value);
}
std::string_view word_of(DecimalMark value) {
    return word_among<DecimalMark>(decimal_marks, value);
}
std::string_view word_of(Quoting value) {
    return word_among<Quoting>(quotings, value);
}
std::string_view word_of(DateOrder value) {
    return word_among<DateOrder>(date_orders, value);
}
std::string_view word_of(TimeForm value) {
    return word_among<TimeForm>(time_forms, value);
}
std::string_view word_of(ColumnUse value) {
    return word_among<ColumnUse>(column_uses, value);
}

template <>
Expected<Encoding> choice_from(std::string_view word) {
    return choice_among<Encoding>(encodings, word);
}
template <>
Expected<Delimiter> choice_from(std::string_view word) {
    return choice_among<Delimiter>(delimiters, word);
}
template <>
Expected<DecimalMark> choice_from(std::string_view word) {
    return choice_among<DecimalMark>(decimal_marks, word);
}
template <>
Expected<DateOrder> choice_from(std::string_view word) {
    return choice_among<DateOrder>(date_orders, word);
}
template <>
Expected<TimeForm> choice_from(std::string_view word) {
    return choice_among<TimeForm>(time_forms, word);
}
template <>
Expected<ColumnUse> choice_from(std::string_view word) {
    return choice_among<ColumnUse>(column_uses, word);
}

} // namespace backeddy::intake
