#include "intake/detail/moment.hpp"

#include <algorithm>
#include <array>
#include <chrono>

#include <fmt/format.h>

#include "base/lower_case.hpp"
#include "intake/detail/fields.hpp"
#include "intake/detail/number.hpp"

namespace backeddy::intake {

namespace {

constexpr std::array<std::string_view, 12> months{"january",   "february", "march",    "april",
                                                  "may",       "june",     "july",     "august",
                                                  "september", "october",  "november", "december"};
constexpr std::array<std::string_view, 7> weekdays{"monday", "tuesday",  "wednesday", "thursday",
                                                   "friday", "saturday", "sunday"};

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}
bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

// Index of the name of which `word` is the whole or the first three letters or more, or -1.
template <std::size_t N>
int name_index(const std::array<std::string_view, N>& names, std::string_view word) {
    if (word.size() < 3) {
        return -1;
    }
    const std::string wanted = lower_case(word);
    for (std::size_t i = 0; i < N; ++i) {
        if (names[i].starts_with(wanted) || (wanted == "sept" && names[i] == "september")) {
            return static_cast<int>(i);
        }
    }
    return -1;
}

std::string_view take_letters(std::string_view& text) {
    std::size_t n = 0;
    while (n < text.size() && is_letter(text[n])) {
        ++n;
    }
    const auto word = text.substr(0, n);
    text.remove_prefix(n);
    return word;
}

// Up to `most` digits; their count goes to `digits`.
int take_number(std::string_view& text, std::size_t most, int& digits) {
    int value = 0;
    std::size_t n = 0;
    while (n < text.size() && n < most && is_digit(text[n])) {
        value = (value * 10) + (text[n] - '0');
        ++n;
    }
    digits = static_cast<int>(n);
    text.remove_prefix(n);
    return value;
}

} // namespace

std::optional<WrittenDate> written_date(std::string_view text) {
    text = trimmed(text);
    WrittenDate date;
    if (text.size() == 8 && std::all_of(text.begin(), text.end(), is_digit)) {
        date.parts[0] = take_number(text, 4, date.digits[0]);
        date.parts[1] = take_number(text, 2, date.digits[1]);
        date.parts[2] = take_number(text, 2, date.digits[2]);
        return date;
    }
    if (!text.empty() && is_letter(text.front())) { // a weekday in front says nothing new
        auto rest = text;
        if (name_index(weekdays, take_letters(rest)) >= 0) {
            while (!rest.empty() && (rest.front() == ' ' || rest.front() == ',' || rest.front() == '.')) {
                rest.remove_prefix(1);
            }
            text = rest;
        }
    }
    for (int part = 0; part < 3; ++part) {
        if (part > 0) {
            if (text.empty()) {
                return std::nullopt;
            }
            const char separator = text.front();
            if (separator != '-' && separator != '/' && separator != '.' && separator != ' ' &&
                separator != ',') {
                return std::nullopt;
            }
            if (part == 2 && separator != date.separator && date.named_month < 0) {
                return std::nullopt; // 14-06/2026
            }
            date.separator = separator;
            text.remove_prefix(1);
            if (separator != '-' && separator != '/') {
                while (!text.empty() && text.front() == ' ') { // "Jun 14, 2026", "14. June 2026"
                    text.remove_prefix(1);
                }
            }
        }
        if (!text.empty() && is_letter(text.front())) {
            const int month = name_index(months, take_letters(text));
            if (month < 0 || date.named_month >= 0) {
                return std::nullopt;
            }
            date.parts[part] = month + 1;
            date.named_month = part;
            continue;
        }
        date.parts[part] = take_number(text, 4, date.digits[part]);
        if (date.digits[part] == 0 || date.digits[part] == 3) {
            return std::nullopt;
        }
    }
    if (!text.empty() || date.digits[1] > 2 || (date.digits[0] == 4 && date.digits[2] == 4)) {
        return std::nullopt;
    }
    if (date.separator == ' ' && date.named_month < 0) {
        return std::nullopt; // three bare numbers are no date
    }
    return date;
}

std::optional<std::int64_t> day_number(const WrittenDate& date, DateOrder order) {
    int year_at = 2;
    int month_at = 1;
    int day_at = 0;
    if (date.named_month >= 0) {
        month_at = date.named_month;
        year_at = date.digits[0] == 4 ? 0 : 2;
        day_at = 3 - month_at - year_at;
        if (year_at == month_at) {
            return std::nullopt;
        }
    } else if (date.digits[0] == 4 || (date.digits[2] != 4 && order == DateOrder::year_month_day)) {
        year_at = 0;
        month_at = 1;
        day_at = 2;
    } else if (order == DateOrder::month_day_year) {
        month_at = 0;
        day_at = 1;
    } else if (order == DateOrder::year_month_day) {
        return std::nullopt; // the year of four digits stands at the end
    }
    if (date.digits[day_at] > 2 || (date.digits[year_at] != 2 && date.digits[year_at] != 4)) {
        return std::nullopt;
    }
    int year = date.parts[year_at];
    if (date.digits[year_at] == 2) {
        year += year < 70 ? 2000 : 1900;
    }
    const std::chrono::year_month_day day{std::chrono::year(year),
                                          std::chrono::month(static_cast<unsigned>(date.parts[month_at])),
                                          std::chrono::day(static_cast<unsigned>(date.parts[day_at]))};
    // 1700 to 2200: what nanoseconds in 64 bits can hold, with room for an offset
    if (!day.ok() || year < 1700 || year > 2200) {
        return std::nullopt;
    }
    return std::chrono::sys_days(day).time_since_epoch().count();
}

std::optional<int> offset_minutes_from(std::string_view text) {
    text = trimmed(text);
    if (text == "Z" || text == "z") {
        return 0;
    }
    const std::string folded = lower_case(text.substr(0, 3));
    if (folded == "utc" || folded == "gmt") {
        text = trimmed(text.substr(3));
        if (text.empty()) {
            return 0;
        }
    }
    if (text.empty() || (text.front() != '+' && text.front() != '-')) {
        return std::nullopt;
    }
    const int sign = text.front() == '+' ? 1 : -1;
    text.remove_prefix(1);
    int digits = 0;
    const int hours = take_number(text, 2, digits);
    if (digits == 0 || hours > 18) {
        return std::nullopt;
    }
    if (text.empty()) {
        return sign * hours * 60;
    }
    if (text.front() == ':') {
        text.remove_prefix(1);
    }
    int minute_digits = 0;
    const int minutes = take_number(text, 2, minute_digits);
    if (digits != 2 || minute_digits != 2 || minutes > 59 || !text.empty()) {
        return std::nullopt;
    }
    return sign * ((hours * 60) + minutes);
}

namespace {

// Decimals of a second; more than nine are cut, as no clock means them.
std::optional<std::int64_t> take_decimals(std::string_view& text) {
    std::int64_t value = 0;
    std::int64_t place = nanoseconds_per_second / 10;
    std::size_t n = 0;
    while (n < text.size() && is_digit(text[n])) {
        value += place * (text[n] - '0');
        place /= 10;
        ++n;
    }
    text.remove_prefix(n);
    return n == 0 ? std::nullopt : std::optional(value);
}

enum class HalfDay : std::uint8_t { none, before_noon, after_noon };

HalfDay take_half_day(std::string_view& text) {
    const std::string folded = lower_case(text.substr(0, 4));
    for (const auto& [word, half] : {std::pair<std::string_view, HalfDay>{"a.m.", HalfDay::before_noon},
                                     {"p.m.", HalfDay::after_noon},
                                     {"am", HalfDay::before_noon},
                                     {"pm", HalfDay::after_noon}}) {
        if (folded.starts_with(word)) {
            text.remove_prefix(word.size());
            return half;
        }
    }
    return HalfDay::none;
}

struct ClockNumbers {
    int hours = 0;
    int minutes = 0;
    int seconds = 0;
    std::int64_t decimals = 0;
};

std::optional<ClockNumbers> take_clock_numbers(std::string_view& text, std::size_t most_hour_digits) {
    ClockNumbers clock;
    int digits = 0;
    const std::size_t run = std::min(text.find_first_not_of("0123456789"), text.size());
    if (run == 4 || run == 6) { // 2105, 210503
        clock.hours = take_number(text, 2, digits);
        clock.minutes = take_number(text, 2, digits);
        clock.seconds = run == 6 ? take_number(text, 2, digits) : 0;
    } else {
        clock.hours = take_number(text, most_hour_digits, digits);
        if (digits == 0 || text.empty() || text.front() != ':') {
            return std::nullopt;
        }
        text.remove_prefix(1);
        clock.minutes = take_number(text, 2, digits);
        if (digits != 2) {
            return std::nullopt;
        }
        if (!text.empty() && text.front() == ':') {
            text.remove_prefix(1);
            clock.seconds = take_number(text, 2, digits);
            if (digits != 2) {
                return std::nullopt;
            }
        }
    }
    if (!text.empty() && (text.front() == '.' || text.front() == ',')) {
        text.remove_prefix(1);
        const auto decimals = take_decimals(text);
        if (!decimals) {
            return std::nullopt;
        }
        clock.decimals = *decimals;
    }
    return clock.minutes > 59 || clock.seconds > 59 ? std::nullopt : std::optional(clock);
}

std::int64_t nanoseconds_of(const ClockNumbers& clock) {
    const std::int64_t seconds =
        (((static_cast<std::int64_t>(clock.hours) * 60) + clock.minutes) * 60) + clock.seconds;
    return (seconds * nanoseconds_per_second) + clock.decimals;
}

} // namespace

std::optional<WrittenClock> written_clock(std::string_view text) {
    text = trimmed(text);
    auto numbers = take_clock_numbers(text, 2);
    if (!numbers) {
        return std::nullopt;
    }
    text = trimmed(text);
    WrittenClock clock;
    const HalfDay half = take_half_day(text);
    text = trimmed(text);
    if (half != HalfDay::none) {
        if (numbers->hours < 1 || numbers->hours > 12) {
            return std::nullopt;
        }
        numbers->hours = (numbers->hours % 12) + (half == HalfDay::after_noon ? 12 : 0);
        clock.twelve_hour = true;
    }
    clock.nanoseconds = nanoseconds_of(*numbers);
    if (clock.nanoseconds > nanoseconds_per_day) { // 24:00:00 itself is the end of the day
        return std::nullopt;
    }
    if (!text.empty()) {
        clock.offset_minutes = offset_minutes_from(text);
        if (!clock.offset_minutes) {
            return std::nullopt;
        }
    }
    return clock;
}

std::optional<DateAndClock> parted(std::string_view text) {
    text = trimmed(text);
    const auto colon = text.find(':');
    if (colon == std::string_view::npos) {
        // 20260614T210503 or 20260614210503, or a date alone
        const std::size_t run = std::min(text.find_first_not_of("0123456789"), text.size());
        if (run == 8 && text.size() > 9 && (text[8] == 'T' || text[8] == ' ')) {
            return DateAndClock{text.substr(0, 8), text.substr(9)};
        }
        if (run == 14) {
            return DateAndClock{text.substr(0, 8), text.substr(8)};
        }
        return DateAndClock{text, {}};
    }
    std::size_t begin = colon;
    while (begin > 0 && is_digit(text[begin - 1])) {
        --begin;
    }
    if (colon - begin == 0 || colon - begin > 2) {
        return std::nullopt;
    }
    if (begin > 0) {
        std::string_view date = text.substr(0, begin);
        if (date.back() == 'T' || date.back() == 't') {
            date.remove_suffix(1);
        } else if (date.back() != ' ' && date.back() != '\t') {
            return std::nullopt;
        }
        date = trimmed(date);
        if (!date.empty() && date.back() == ',') {
            date.remove_suffix(1);
        }
        return DateAndClock{date, text.substr(begin)};
    }
    // The clock in front: it ends at the first blank that no am or pm follows.
    std::size_t end = text.find(' ');
    if (end == std::string_view::npos) {
        return std::nullopt;
    }
    auto rest = trimmed(text.substr(end));
    const std::size_t before = rest.size();
    if (take_half_day(rest) != HalfDay::none) {
        end = text.size() - before + (before - rest.size());
    }
    return DateAndClock{trimmed(text.substr(end)), text.substr(0, end)};
}

std::optional<std::int64_t> elapsed_clock(std::string_view text) {
    text = trimmed(text);
    const auto colons = std::count(text.begin(), text.end(), ':');
    if (colons != 2) {
        return std::nullopt;
    }
    const auto numbers = take_clock_numbers(text, 6);
    return numbers && text.empty() ? std::optional(nanoseconds_of(*numbers)) : std::nullopt;
}

std::string day_in_words(std::int64_t day_number) {
    const std::chrono::year_month_day day{
        std::chrono::sys_days(std::chrono::days(static_cast<int>(day_number)))};
    std::string month(months[static_cast<unsigned>(day.month()) - 1]);
    month.front() = static_cast<char>(month.front() - 'a' + 'A');
    return fmt::format("{} {} {}", static_cast<unsigned>(day.day()), month, static_cast<int>(day.year()));
}

} // namespace backeddy::intake
