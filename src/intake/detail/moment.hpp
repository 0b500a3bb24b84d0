#pragma once
// Dates and clocks as people and loggers write them, to nanoseconds. No zone here: a moment without an offset
// is local.

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>

#include "intake/dialect.hpp"

namespace backeddy::intake {

inline constexpr std::int64_t nanoseconds_per_second = 1'000'000'000;
inline constexpr std::int64_t nanoseconds_per_day = 86'400 * nanoseconds_per_second;

/// A date as written: three parts, of which one may be a month's name. `certain` when the writing alone tells
/// the order: a year of four digits in front, or a month's name.
struct WrittenDate {
    int parts[3] = {0, 0, 0};
    int digits[3] = {0, 0, 0};
    int named_month = -1; ///< which part is a month's name, or -1
    char separator = '-';

    [[nodiscard]] bool is_certain() const { return named_month >= 0 || digits[0] == 4; }
};

/// The parts of "2026-06-14", "14.6.26", "6/14/2026", "14-Jun-2026", "Jun 14, 2026", "Sun 14 June 2026",
/// "20260614".
[[nodiscard]] std::optional<WrittenDate> written_date(std::string_view text);

/// Days since 1970-01-01 of a date read in `order` (which a certain date does not need), or nothing where
/// there is no such day. A year of two digits is 1970-2069.
[[nodiscard]] std::optional<std::int64_t> day_number(const WrittenDate& date, DateOrder order);

/// A clock, with what follows it.
struct WrittenClock {
    std::int64_t nanoseconds = 0; ///< since midnight; 24:00:00 is a whole day
    std::optional<int> offset_minutes;
    bool twelve_hour = false;
};

/// "9:05", "21:05:03", "21:05:03.25" or ",25", "9:05:03 pm", "210503", each with "Z", "UTC" or an offset if
/// it has one.
[[nodiscard]] std::optional<WrittenClock> written_clock(std::string_view text);

/// Where date and clock stand in one text: "2026-06-14T21:05:03", "14.06.2026 21:05", "21:05 14/06/2026",
/// "20260614T210503", "2026-06-14" (clock empty: midnight).
struct DateAndClock {
    std::string_view date;
    std::string_view clock;
};
[[nodiscard]] std::optional<DateAndClock> parted(std::string_view text);

/// Nanoseconds of "h:mm:ss", "mm:ss" is not one; hours may exceed 24.
[[nodiscard]] std::optional<std::int64_t> elapsed_clock(std::string_view text);

/// "Z", "UTC", "GMT", "+01:00", "+0100", "+01", "UTC+1": minutes east of UTC.
[[nodiscard]] std::optional<int> offset_minutes_from(std::string_view text);

/// "14 June 2026": for complaints that name readings.
[[nodiscard]] std::string day_in_words(std::int64_t day_number);

/// a - b. Times of garbage may lie centuries apart: what would not fit into 64 bits is held at their end.
[[nodiscard]] inline std::int64_t time_between(std::int64_t a, std::int64_t b) {
    std::int64_t out = 0;
    if (__builtin_sub_overflow(a, b, &out)) {
        return a < b ? std::numeric_limits<std::int64_t>::min() : std::numeric_limits<std::int64_t>::max();
    }
    return out;
}

} // namespace backeddy::intake
